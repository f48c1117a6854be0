package words_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof/caution"
	"dewcase/internal/testkit/readability"
	"dewcase/internal/words"
)

func homeAlert(condition string, change ...func(*words.Alert)) words.Alert {
	a := words.Alert{Condition: condition, Where: "under the slates", Nights: 5, Seen: 7, WoodPct: 23}
	for _, c := range change {
		c(&a)
	}
	return a
}

func frozen(a *words.Alert) { a.Frozen = true }
func old(a *words.Alert)    { a.WetHours = 30 }

// sayings is every text that a household can be sent, with its golden first
// lines.
func sayings() map[string]struct {
	said words.Saying
	want string
} {
	type row = struct {
		said words.Saying
		want string
	}
	named := words.Cause{Finding: "ceiling_leakage", Strength: words.Probable}
	out := map[string]row{
		"wet": {homeAlert(words.SurfaceWet).Home(), "Water has begun to form under the slates."},
		"frost": {homeAlert(words.SurfaceWet, frozen).Home(),
			"Frost has begun to form under the slates. It may drip when it melts."},
		"old water": {homeAlert(words.SurfaceWet, old).Home(), "There is water under the slates now."},
		"old frost": {homeAlert(words.SurfaceWet, old, frozen).Home(),
			"There is frost under the slates now. It may drip when it melts."},
		"nowhere": {words.Alert{Condition: words.SurfaceWet}.Home(), "Water has begun to form in the roof."},
		"nights": {homeAlert(words.WetNights).Home(), "Water formed under the slates on 5 of the last 7 nights. It will " +
			"come back on cold nights until the roof is put right."},
		"melting": {homeAlert(words.FrostMelting).Home(), "Frost under the slates is melting. It may drip for some " +
			"hours. It may do so after each hard frost."},
		"mould": {homeAlert(words.MouldRising).Home(),
			"It has been damp and mild under the slates for so long that mould may grow there."},
		"timber": {homeAlert(words.TimberWet).Home(),
			"The wood in the roof holds about 23 % water. Over 20 % for long can harm it."},
		"leak": {homeAlert(words.SuddenWetting).Home(), "The air in the roof got much damper at once. The cold does not " +
			"explain it. It may be a leak from a pipe, a tank or the rain."},
		"failing": {homeAlert(words.RepairFailing).Home(), "The roof has got wetter again since the work."},
		"logger":  {homeAlert(words.LoggerSilent).Home(), "One of the loggers needs a look. Your roof consultant knows."},
		"nights over": {homeAlert(words.WetNights).Over(),
			"The last nights were dry under the slates. Some water may come again on a cold night. We will write if it " +
				"is more than that. There is nothing you need to do."},
		"leak over":    {homeAlert(words.SuddenWetting).Over(), "The damp that came at once has gone down."},
		"failing over": {homeAlert(words.RepairFailing).Over(), "The roof stays drier again since the work."},
		"standing": {homeAlert(words.SurfaceWet).Standing(words.Cause{Finding: words.Undetermined}),
			"Water still forms under the slates on cold nights. It will go " +
				"on until the roof is put right. We will not write each time. We write again in two months, " +
				"and sooner if there is much more of it."},
		"standing with a cause": {homeAlert(words.SurfaceWet).Standing(named), "Water still forms under the slates on cold " +
			"nights. The water probably comes from damp air from the rooms that gets into the loft. It will go on until the " +
			"roof is put right. We will not write each time. We write again in two months, and sooner if there is much more " +
			"of it."},
		"note": {homeAlert(words.SurfaceWet).Note(words.Cause{Finding: words.Undetermined}), "Some water forms under the " +
			"slates on cold or clear nights. It may be dew, which does no harm. It may also come from the house. We cannot " +
			"tell yet. It will come again, so we will not write each time. We will write if it turns out to be more than dew."},
		"note with a cause": {homeAlert(words.SurfaceWet).Note(named), "Some water forms under the slates on cold or clear " +
			"nights. The water probably comes from damp air from the rooms that gets into the loft. It will come again, so we " +
			"will not write each time. We will write if it gets worse."},
	}
	return out
}

func TestEverySayingReadsAsAgreed(t *testing.T) {
	for name, s := range sayings() {
		assert.Equal(t, s.want, strings.Join(s.said.Lines, " "), name)
	}
}

// Every sentence is held to the Flesch-Kincaid grade of a reader of twelve (grade
// 7); a single short one has two grades of play, because one long word weighs
// much in it.
func TestAChildOfTwelveReadsEverySaying(t *testing.T) {
	for name, x := range sayings() {
		all, s := "", x.said
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
	trades := caution.For(caution.LookInLoft, caution.LiftCover, caution.CutOpenings, caution.SealCeiling,
		caution.FitLogger, caution.WorkOutside)
	for key, c := range words.HomeCautions {
		assert.True(t, slices.ContainsFunc(trades, func(t caution.Caution) bool { return t.Hazard == c.Hazard }), key)
	}
	for _, name := range []string{"wet", "melting", "leak", "standing"} {
		assert.NotEmpty(t, sayings()[name].said.Care, "%s carries its caution", name)
	}
	assert.Contains(t, homeAlert(words.SuddenWetting).Home().Care[0], "power off")
}

func TestSayingsAreJoinedWithoutSayingAnythingTwice(t *testing.T) {
	a, b := homeAlert(words.SurfaceWet).Home(), homeAlert(words.WetNights).Home()
	both := a.Join(b)
	assert.Equal(t, a.Subject, both.Subject)
	assert.Len(t, both.Lines, 3)
	assert.Equal(t, append(slices.Clone(a.Do), "Tell your roof consultant."), both.Do)
	assert.Equal(t, a.Care, both.Care)
	assert.Len(t, a.Lines, 1, "what was joined to stays as it was")
	letter := both.HomeLetter(time.Date(2026, 12, 1, 20, 5, 0, 0, time.UTC), time.UTC)
	assert.Contains(t, letter, "\n\nWhat to do: Keep bath")
	assert.Contains(t, letter, "\n\nTake care: Do not go")
	assert.True(t, strings.HasSuffix(letter, "\n\nWritten on Tuesday 1 December at 20:05."))
}

func TestTheConsultantReadsOneLineAnAlert(t *testing.T) {
	at := time.Date(2026, 12, 1, 20, 5, 0, 0, time.UTC)
	for want, a := range map[string]words.Alert{
		"Surface wet now, under the covering (slate): margin −0.3 K, wet for 42 minutes, since Tue 1 Dec 2026 20:05.": {
			Condition: words.SurfaceWet, Spot: "under the covering (slate)", Detail: "margin −0.3 K, wet for 42 minutes",
			Since: at},
		"Run of wet nights, under the covering (slate), raised Tue 1 Dec 2026 20:05.": {Condition: words.WetNights,
			Spot: "under the covering (slate)", Since: at},
		"Logger silent (k4).":        {Condition: words.LoggerSilent, Position: "k4"},
		"Trouble with this program.": {Condition: words.DaemonTrouble},
	} {
		assert.Equal(t, want, a.Line())
	}
	assert.Equal(t, "seen", words.AlertState("acknowledged", at, nil))
	assert.Equal(t, "quiet until Tue 1 Dec 20:05", words.AlertState("snoozed", at, nil))
	assert.Equal(t, "raised", words.AlertState("raised", at, nil))
	assert.Contains(t, words.Unanswered(false), "names no mail address of the household")
	assert.Contains(t, words.Unanswered(true), "has not said that it has seen it")
}

func TestChancesAreWordsAtBothEnds(t *testing.T) {
	for p, want := range map[float64]string{0.01: "less than 1 in 10 nights like this one",
		0.7: "about 7 in 10 nights like this one", 0.99: "more than 9 in 10 nights like this one"} {
		assert.Equal(t, want, words.Chance(p))
	}
}
