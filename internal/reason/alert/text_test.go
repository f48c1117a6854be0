package alert

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof/caution"
	"dewcase/internal/testkit/readability"
)

// everySaying is every text that a household can be sent.
func everySaying() map[string]Saying {
	out := map[string]Saying{}
	for _, c := range Conditions() {
		a := &Alert{Condition: c, Value: 23, Facts: Facts{Words: "under the slates", Nights: 5, Seen: 7}}
		out[string(c)] = Words(a)
		out[string(c)+" over"] = overWords(a)
		if c == SurfaceWet {
			b := *a
			b.Facts.Frozen = true
			out["frost"] = Words(&b)
			b.Facts.WetHours = 30
			out["old frost"] = Words(&b)
			b.Facts.Frozen = false
			out["old water"] = Words(&b)
			for _, k := range []Kind{Weekly, Evening, Note} {
				out[string(k)] = PlainWords(k, []*Alert{a}, Chance{P: 0.7, Known: true})
			}
		}
	}
	return out
}

// TestAChildOfTwelveReadsEverySentence holds every sentence to the
// Flesch-Kincaid grade of a reader of twelve (grade 7), and leaves a single
// short one two grades of play, because one long word weighs much in it.
func TestAChildOfTwelveReadsEverySentence(t *testing.T) {
	for name, s := range everySaying() {
		all := ""
		for _, lines := range [][]string{{s.Subject + "."}, s.Lines, s.Do, s.Care} {
			for _, line := range lines {
				all += line + " "
				for _, one := range readability.Sentences(line) {
					assert.LessOrEqual(t, readability.Grade(one), 9.0, "%s: %s", name, one)
				}
			}
		}
		assert.LessOrEqual(t, readability.Grade(all), 7.0, name)
		for _, jargon := range []string{"condens", "dew point", "margin", "humidity", "vapour", "logger ", "index",
			"coverage"} {
			assert.NotContains(t, all, jargon, name)
		}
	}
}

func TestHouseholdCautionsStandOnTheTradesList(t *testing.T) {
	for key, c := range household {
		assert.True(t, slices.Contains(caution.Hazards(), c.hazard), key)
	}
	for name, s := range everySaying() {
		switch name {
		case string(SurfaceWet), string(FrostMelting), string(SuddenWetting), "weekly", "evening":
			assert.NotEmpty(t, s.Care, "%s carries its caution", name)
		}
	}
	assert.Contains(t, Words(&Alert{Condition: SuddenWetting}).Care[0], "power off")
}
