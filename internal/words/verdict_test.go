package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/testkit/readability"
	"dewcase/internal/words"
)

func change(what string, pct, low, high float64) words.Change {
	return words.Change{What: what, Pct: &pct, Low: &low, High: &high}
}

func wet(pct, low, high float64) words.Change  { return change(words.WetHours, pct, low, high) }
func risk(pct, low, high float64) words.Change { return change(words.RiskHours, pct, low, high) }

func TestAChangeIsSaidWithItsWayAndInterval(t *testing.T) {
	for want, c := range map[string]words.Change{
		"wet hours fell by 71 % in like weather; with 95 % certainty between 39 and 93 %": wet(71, 39, 93),
		"wet hours rose by 40 % in like weather; with 95 % certainty between 12 and 70 %": wet(-40, -70, -12),
		"wet hours fell by 56 % in like weather; with 95 % certainty between a rise of 1 % and a fall of 80 %, " +
			"which takes in no change": wet(56, -1, 80),
		"wet hours did not change in like weather; with 95 % certainty between a rise of 3 % and a fall of 4 %, " +
			"which takes in no change": wet(-0.3, -3, 4),
		"wet hours did not change in like weather; with 95 % certainty between no change and a fall of 4 %, " +
			"which takes in no change": wet(0.3, 0, 4),
		"wet hours rose by 12 % in like weather; with 95 % certainty between a rise of 30 % and a fall of 5 %, " +
			"which takes in no change": wet(-12, -30, 5),
		"": {What: words.WetHours},
	} {
		assert.Equal(t, want, c.Clause().String())
	}
}

func TestEveryVerdictHasItsSentence(t *testing.T) {
	at := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name, want, brief, home string
		v                       words.Verdict
	}{
		{"worked, wet hours sure",
			"The repair of 2 October 2026 worked under the covering: wet hours fell by 71 % in like " +
				"weather; with 95 % certainty between 39 and 93 %.", "worked, wet hours fell by 71 % (95 %: 39 to 93 %)",
			"The work of 2 October helped: of ten wet hours it took away about four to nine.",
			words.Verdict{Kind: words.Worked, Wet: wet(71, 39, 93), Risk: risk(60, 30, 70)}},
		{"worked by the hours at risk alone", "The repair of 2 October 2026 worked under the covering: hours at risk fell " +
			"by 41 % in like weather; with 95 % certainty between 13 and 62 %. Wet hours fell by 56 %; with 95 % certainty " +
			"between a rise of 1 % and a fall of 80 %, which takes in no change.",
			"worked, hours at risk fell by 41 % (95 %: 13 to 62 %)",
			"The work of 2 October helped: of ten wet hours it took away up to eight.",
			words.Verdict{Kind: words.Worked, Wet: wet(56, -1, 80), Risk: risk(41, 13, 62)}},
		{"worked, no wet hours known",
			"The repair of 2 October 2026 worked under the covering: hours at risk fell by 41 % " +
				"in like weather; with 95 % certainty between 13 and 62 %.",
			"worked, hours at risk fell by 41 % (95 %: 13 to 62 %)",
			"The work of 2 October helped.",
			words.Verdict{Kind: words.Worked, Risk: risk(41, 13, 62)}},
		{"worked, no figure", "The repair of 2 October 2026 worked under the covering.", "worked",
			"The work of 2 October helped.", words.Verdict{Kind: words.Worked}},
		{"got worse", "The repair of 2 October 2026 made it worse under the covering: wet hours rose by 40 % in like " +
			"weather; with 95 % certainty between 12 and 70 %.",
			"got worse, wet hours rose by 40 % (95 %: 12 to 70 %)",
			"The roof has got wetter since the work of 2 October. Your roof consultant should look at it.",
			words.Verdict{Kind: words.GotWorse, Wet: wet(-40, -70, -12)}},
		{"no change shown, fell", "The repair of 2 October 2026 has shown no change under the covering so far; the best " +
			"estimate is that wet hours fell by 8 % in like weather; with 95 % certainty between a rise of 20 % and a fall " +
			"of 31 %, which takes in no change.",
			"no change shown, wet hours fell by 8 % (95 %: a rise of 20 % to a fall of 31 %)",
			"The work of 2 October has made no change so far that we can see.",
			words.Verdict{Kind: words.NoChangeShown, Wet: wet(8, -20, 31)}},
		{"no change shown, rose", "The repair of 2 October 2026 has shown no change under the covering so far; the best " +
			"estimate is that wet hours rose by 8 % in like weather; with 95 % certainty between a rise of 31 % and a fall " +
			"of 20 %, which takes in no change.",
			"no change shown, wet hours rose by 8 % (95 %: a rise of 31 % to a fall of 20 %)",
			"The work of 2 October has made no change so far that we can see.",
			words.Verdict{Kind: words.NoChangeShown, Wet: wet(-8, -31, 20)}},
		{"no change shown, same", "The repair of 2 October 2026 has shown no change under the covering so far; the best " +
			"estimate is that wet hours did not change in like weather; with 95 % certainty between a rise of 9 % and a fall " +
			"of 8 %, which takes in no change.",
			"no change shown, wet hours did not change (95 %: a rise of 9 % to a fall of 8 %)",
			"The work of 2 October has made no change so far that we can see.",
			words.Verdict{Kind: words.NoChangeShown, Wet: wet(-0.3, -9, 8)}},
		{"no change shown, no figure", "The repair of 2 October 2026 has shown no change under the covering so far.",
			"no change shown", "The work of 2 October has made no change so far that we can see.",
			words.Verdict{Kind: words.NoChangeShown}},
		{"too early", "It is too early to say whether the repair of 2 October 2026 worked under the covering.", "too early",
			"It is too early to say what the work of 2 October has done. We need more cold nights.",
			words.Verdict{Kind: words.TooEarly, Wet: wet(8, -20, 31)}},
		{"too early, with what is needed", "It is too early to say whether the repair of 2 October 2026 worked under the " +
			"covering. Needed: about 15 more cold nights.", "too early",
			"It is too early to say what the work of 2 October has done. We need more cold nights.",
			words.Verdict{Kind: words.TooEarly, Needs: "about 15 more cold nights"}},
	} {
		c.v.At, c.v.Where = at, "under the covering"
		assert.Equal(t, c.want, c.v.Sentence().String(), c.name)
		assert.Equal(t, c.brief, c.v.Brief(), c.name)
		assert.Equal(t, c.home, c.v.Home(), c.name)
		assert.LessOrEqual(t, readability.Grade(c.v.Home()), 7.0, c.home)
	}
}

func TestAHouseholdReadsARangeInTenths(t *testing.T) {
	for want, c := range map[string]words.Change{
		"The work of 2 October helped: of ten wet hours it took away about seven.":         wet(71, 68, 74),
		"The work of 2 October helped: of ten wet hours it took away less than one.":       wet(2, 1, 4),
		"The work of 2 October helped: of ten wet hours it took away about eight or more.": wet(90, 81, 99),
		"The work of 2 October helped: of ten wet hours it took away about one or more.":   wet(61, 5, 98),
		"The work of 2 October helped: of ten wet hours it took away about ten.":           wet(99, 97, 100),
		"The work of 2 October helped.":                                                    wet(-4, -20, 31),
	} {
		v := words.Verdict{Kind: words.Worked, At: time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC), Wet: c}
		assert.Equal(t, want, v.Home())
	}
}

// The report prints the assessment's own figures: each remembers where it stands
// and with which sign it is printed.
func TestFiguresOfAVerdictRememberWhereTheyStand(t *testing.T) {
	v := words.Verdict{Kind: words.GotWorse, Wet: wet(-40, -70, -12), Where: "here"}
	v.Wet.From = [3]string{"pct", "low", "high"}
	found := map[string]string{}
	for _, r := range v.Sentence() {
		if r.From != "" {
			assert.Equal(t, -1.0, r.Scale)
			found[r.From] = r.Words
		}
	}
	assert.Equal(t, map[string]string{"pct": "40", "low": "70", "high": "12"}, found)
}

func TestTheQuantityThatTheVerdictRestsOnComesFirst(t *testing.T) {
	v := words.Verdict{Wet: wet(1, 0, 2), Risk: risk(3, 2, 4), Water: words.Change{What: words.Water}}
	assert.Equal(t, []words.Change{v.Risk, v.Wet, v.Water}, v.Falls())
}
