package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

func TestAllHousesInSentences(t *testing.T) {
	morning := time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)
	for _, c := range []struct{ want, got string }{
		{"88 of 305 houses observed were wet on 3 or more of the last 7 nights; 7 houses were not observed.",
			words.HousesSweat(88, 305, 312)},
		{"1 of 2 houses observed was wet on 3 or more of the last 7 nights.", words.HousesSweat(1, 2, 2)},
		{"None of 1 house observed was wet on 3 or more of the last 7 nights; 1 house was not observed.",
			words.HousesSweat(0, 1, 2)},
		{"No house was observed in its last 7 nights.", words.HousesSweat(0, 0, 4)},
		{"31 of 39 repairs that can be judged worked; on 20 it is too early to say.",
			words.HousesRepaired(31, 5, 3, 20)},
		{"No repair can be judged yet; on 2 it is too early to say.", words.HousesRepaired(0, 0, 0, 2)},
		{"No house has a repair that was assessed.", words.HousesRepaired(0, 0, 0, 0)},
		{"No logger is silent.", words.HousesSilent(0, 0)},
		{"A logger or more is silent in 9 houses, and in 2 of them every logger.", words.HousesSilent(2, 7)},
		{"A logger or more is silent in 1 house.", words.HousesSilent(0, 1)},
		{"1,204 houses as of 30 November 2026, 07:00 UTC: 31 need a look, 88 sweat.", words.InstanceCounted(
			words.Counted{Houses: 1204, NeedALook: 31, Sweating: 88, At: morning}, "")},
		{"1 house as of 30 November 2026, 07:00 UTC: 0 need a look, 1 sweat. It does not answer now, so these older " +
			"figures are counted: it answered 503.", words.InstanceCounted(words.Counted{Houses: 1, Sweating: 1, At: morning},
			"it answered 503")},
		{"Counted over all 3 instances.", words.InstancesPooled(0, 3)},
		{"Counted over 2 of 3 instances: more houses are at 1 instance that did not answer.", words.InstancesPooled(1, 3)},
		{"Did not answer, and its houses are not counted: it is away.", words.InstanceCounted(words.Counted{}, "it is away")},
	} {
		assert.Equal(t, c.want, c.got)
	}
	for _, k := range roof.HouseNeeds() {
		assert.NotEmpty(t, words.HouseNeed(k), k)
	}
}
