package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

func TestAHousesFirstPageNamesCauseAndVerdict(t *testing.T) {
	worked := words.Verdict{Kind: words.Worked, At: time.Date(2027, 1, 12, 9, 0, 0, 0, time.UTC), Zone: time.UTC,
		Where: "under the covering"}
	early := worked
	early.Kind = words.TooEarly
	for _, row := range []struct {
		cause words.Cause
		work  *words.Verdict
		want  string
	}{
		{words.Cause{Finding: "ceiling_leakage", Strength: words.Probable}, nil,
			"Probably house air through a leaky ceiling."},
		{words.Cause{Finding: "unvented_batten_void", Strength: words.Strong}, &worked,
			"Vapour that passed the underlay and could not leave the batten void. " +
				"The repair of 12 January 2027 worked under the covering."},
		{words.Cause{Finding: words.Undetermined}, &early, "The cause cannot be told yet. " +
			"It is too early to say whether the repair of 12 January 2027 worked under the covering."},
		{words.Cause{}, nil, "The cause cannot be told yet."},
	} {
		assert.Equal(t, row.want, words.Headline(row.cause, row.work))
	}
}

func TestThePlainRatioStandsWithItsOwnInterval(t *testing.T) {
	p := words.Plain{What: words.RiskHours, MeasuredH: 502.6, UnrepairedH: 1082.1, Before: 54, After: 105,
		Measured: &words.Fall{Pct: 53.6, Low: 31.4, High: 68.8}, Model: &words.Fall{Pct: 59.4, Low: 32.5, High: 90.6}}
	assert.Equal(t, "Hours at risk: 503 h measured, 1,082 h unrepaired in like weather; they fell by 54 % (95 %: 31 to "+
		"69 %). By the model they fell by 59 % (95 %: 32 to 91 %). 54 nights before and 105 after count.", p.Sentence())
	p.Measured, p.Model = &words.Fall{Pct: 6, Low: -104, High: 58}, nil
	assert.Contains(t, p.Sentence(), "they fell by 6 % (95 %: a rise of 104 % to a fall of 58 %). 54 nights")
	p.Measured = &words.Fall{Pct: -30, Low: -60, High: -10}
	assert.Contains(t, p.Sentence(), "they rose by 30 % (95 %: 10 to 60 %)")
	p.Measured = nil
	assert.Contains(t, p.Sentence(), "unrepaired in like weather. 54 nights")
}

func TestTheRunnerUpSpeaksAgainstTheCause(t *testing.T) {
	c := words.Cause{Finding: "unvented_batten_void", Parts: []words.Part{{Cause: "unvented_batten_void", Share: 0.81},
		{Cause: "ceiling_leakage", Share: 0.12}}}
	assert.Equal(t, "House air through a leaky ceiling has 12 of 100 of the evidence. What speaks most for it: ceiling "+
		"not sealed.", c.Rival("ceiling not sealed"))
	c.Parts[1].Share = 0.03
	assert.Empty(t, c.Rival("ceiling not sealed"))
	c.Finding = words.Undetermined
	assert.Empty(t, c.Rival(""))
}

func TestAnExchangeInBriefNeverSpeaksOfWetHours(t *testing.T) {
	times := func(x float64) *float64 { return &x }
	for want, x := range map[string]words.Exchange{
		"Exchange of the void with outdoor air: changed, about 88 times as before (95 %: 11 to 690).": {
			What: "void_ventilation", Kind: words.Changed, Factor: times(88), Low: times(11), High: times(690)},
		"Exchange of the loft with outdoor air: no change shown after 70 nights.": {What: "loft_ventilation",
			Kind: words.ExchangeUnshown, Nights: 70},
		"Air through the ceiling: too early to say.": {What: "ceiling", Kind: words.ExchangeEarly},
		"Exchange of the void with outdoor air: changed, but not credited to the work.": {What: "void_ventilation",
			Kind: words.Changed, Noticed: true},
	} {
		assert.Equal(t, want, x.Brief().String())
	}
}

func TestUnderTheHourOfAWetNightNothingIsPrintedAsOne(t *testing.T) {
	assert.Equal(t, "under 1", words.NightHours(words.BrieflyWet, 0.97))
	assert.Equal(t, "0.9", words.NightHours(words.BrieflyWet, 0.94))
	assert.Equal(t, "1.0", words.NightHours(words.WetNight, 1.0))
}

func TestAHousesTrendIsItsTwoWeeks(t *testing.T) {
	at := "under the covering"
	for want, of := range map[string][2]words.Nights{
		"Under the covering wet on 2 of 7 nights observed in the last week, less than in the week before (5 of 7).": {
			{Wet: 2, Observed: 7}, {Wet: 5, Observed: 7}},
		"Under the covering wet on 1 of 2 nights observed in the last week, more than in the week before (3 of 7).": {
			{Wet: 1, Observed: 2}, {Wet: 3, Observed: 7}},
		"Under the covering wet on 0 of 1 night observed in the last week, as in the week before (0 of 7).": {
			{Observed: 1}, {Observed: 7}},
		"Under the covering wet on 3 of 7 nights observed in the last week; the week before was not observed.": {
			{Wet: 3, Observed: 7}, {Missed: 7}},
		"Under the covering not observed well enough in the last week to say.": {{Missed: 7}, {Wet: 3, Observed: 7}},
	} {
		assert.Equal(t, want, words.Weeks(at, of[0], of[1], false))
	}
	assert.Equal(t, "Under the covering wet on 2 of 7 nights observed in the last week of its record, less than in the "+
		"week before (5 of 7).", words.Weeks(at, words.Nights{Wet: 2, Observed: 7}, words.Nights{Wet: 5, Observed: 7}, true))
}

func TestAHouseIsListedWithItsSharesIntervalAndNights(t *testing.T) {
	c := words.Cause{Finding: "ceiling_leakage", Strength: words.Probable,
		Parts: []words.Part{{Cause: "ceiling_leakage", Share: 0.7}}}
	assert.Equal(t, "probably house air through a leaky ceiling (70 of 100)", c.Listed())
	c.Repair = time.Date(2026, 10, 2, 8, 0, 0, 0, time.UTC)
	assert.Equal(t, "probably house air through a leaky ceiling (70 of 100, before the repair)", c.Listed())
	assert.Equal(t, "cause not told yet", words.Cause{}.Listed())
	pct := func(x float64) *float64 { return &x }
	v := words.Verdict{Kind: words.Worked, Wet: words.Change{What: "wet hours", Pct: pct(61), Low: pct(15), High: pct(94)}}
	assert.Equal(t, "worked, wet hours fell by 61 % (95 %: 15 to 94 %); 54 nights before and 105 after count",
		v.Listed(54, 105))
	v = words.Verdict{Kind: words.TooEarly}
	assert.Equal(t, "too early; 54 nights before and 1 after count", v.Listed(54, 1))
}
