package words

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestThreeAnswersStandInOneOrderEachWithItsOwnInterval(t *testing.T) {
	all := Three{What: "hours at risk", Measured: &Fall{59.2, 20, 80}, Model: &Fall{64, 39, 93}, Like: &Fall{63, 11, 75},
		LikeNights: 26}
	assert.Equal(t, "Fall of the hours at risk, with 95 % intervals: measured against unrepaired 59 % (20 to 80), by the "+
		"model 64 % (39 to 93), on 26 like nights 63 % (11 to 75).", all.String())
	all.Like, all.Disagree, all.Measured.Low = nil, true, -4
	assert.Equal(t, "Fall of the hours at risk, with 95 % intervals: measured against unrepaired 59 % (−4 to 80), by the "+
		"model 64 % (39 to 93).", all.String())
	assert.Equal(t, "Under the covering, the answers on the hours at risk differ by more than their intervals: weigh the "+
		"verdict with that. "+all.String(), all.Apart("under the covering"))
	all.Disagree = false
	assert.Empty(t, all.Apart("under the covering"))
	assert.Empty(t, Three{What: "wet hours"}.String())
	assert.Equal(t, "Rise of the wet hours, with 95 % intervals: measured against unrepaired 297 % (138 to 514), by the "+
		"model 277 % (−12 to 3,947).", Three{What: "wet hours", Measured: &Fall{-297, -514, -138},
		Model: &Fall{-277, -3947, 12}}.String())
}

func TestTheCorrectionIsOneLineWithItsFactorAndSource(t *testing.T) {
	assert.Equal(t, "Not in these figures: beyond the model, roofs were found to react by a factor of 1.3 (0.4 to 2.2) "+
		"on the logarithm of the change (simulated roofs). With it the wet hours would have fallen by 88 %. It widens the "+
		"intervals.", Correction(1.3, 0.4, 2.2, 88.1, "simulated roofs"))
	assert.Contains(t, Correction(1.5, 0.3, 2.7, -620, "simulated roofs"), "would have risen by 620 %.")
}

func TestASumOfWeightsIsSaidAsOdds(t *testing.T) {
	for sum, want := range map[float64]string{0.95: "2.6 times as likely as the other",
		-0.7: "the other is 2.0 times as likely", 9: "over a thousand times as likely as the other"} {
		assert.Equal(t, want, Odds(sum))
	}
}
