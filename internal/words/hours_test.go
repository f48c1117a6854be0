package words_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

func hours(x float64) *float64 { return &x }

func TestNightsAreToldBeforeARepairAndSinceAndNeverTogether(t *testing.T) {
	span := func(wet, briefly, observed, missed int) words.Span {
		return words.Span{Nights: words.Nights{Wet: wet, Briefly: briefly, Observed: observed, Missed: missed}}
	}
	for want, r := range map[string]words.SurfaceRecord{
		"No night was observed well enough to say whether it was wet under the covering.": {Spans: []words.Span{span(0, 0,
			0, 3)}},
		"It stayed dry under the covering on 58 nights observed.": {Spans: []words.Span{span(0, 0, 58,
			0)}},
		"It was wet under the covering on 33 of 58 nights observed, briefly wet on 4 more; 2 nights not observed.": {
			Spans: []words.Span{span(33, 4, 58, 2)}},
		"It was briefly wet under the covering on 14 of 14 nights observed, on none for an hour, 1 night not observed.": {
			Spans: []words.Span{span(0, 14, 14, 1)}},
		"Before the repair of 2 October it was wet under the covering on 60 of 61 nights observed; since then on 33 of 58, " +
			"briefly wet on 4 more.": {Repair: "2 October", Spans: []words.Span{span(60, 0, 61, 0), span(33, 4, 58, 0)}},
		"Before the repair of 2 October no night was observed well enough to say whether it was wet under the covering; " +
			"since then on 3 of 5.": {Repair: "2 October", Spans: []words.Span{span(0, 0, 0, 0), span(3, 0, 5, 0)}},
		"Before the repair of 2 October it was wet under the covering on 60 of 61 nights observed; since then no night was " +
			"observed well enough.": {Repair: "2 October", Spans: []words.Span{span(60, 0, 61, 0), span(0, 0, 0, 1)}},
	} {
		r.Where = "under the covering"
		assert.Equal(t, want, r.Nights())
	}
}

func TestHoursAreToldWithTheirIntervalSpanBySpan(t *testing.T) {
	whole := words.Span{At: "surfaces.0.", ObservedH: 2834, WetH: hours(1234), LowH: hours(310), HighH: hours(1750),
		FrostH: hours(327), AtRiskH: hours(1984)}
	one := words.SurfaceRecord{Spans: []words.Span{whole}}.Hours()
	assert.Equal(t, "In all wet for 1,234 h (310 to 1,750 h with the loggers’ accuracy, 95 %) of 2,834 h observed; "+
		"frost for "+
		"327 h; at risk for 1,984 h.", one[0].String())
	paths := map[string]string{}
	for _, r := range one[0] {
		if r.From != "" {
			paths[r.From] = r.Words
		}
	}
	assert.Equal(t, map[string]string{"surfaces.0.hours_condensing": "1,234", "surfaces.0.hours_condensing_low": "310",
		"surfaces.0.hours_condensing_high": "1,750", "surfaces.0.hours_observed": "2,834", "surfaces.0.frost_hours": "327",
		"surfaces.0.hours_at_risk": "1,984"}, paths)
	two := words.SurfaceRecord{Repair: "2 October", Spans: []words.Span{whole, {ObservedH: 40, WetH: hours(0.02)}}}.Hours()
	assert.Equal(t, "Before the repair wet for 1,234 h", two[0].String()[:33])
	assert.Equal(t, "Since the repair wet for under 0.1 h (how sure cannot be said: a logger’s accuracy is not in the "+
		"case "+
		"file) of 40.0 h observed.", two[1].String())
	assert.Empty(t, words.SurfaceRecord{Spans: []words.Span{{}}}.Hours())
}

func TestNightsAreCountedByTheirState(t *testing.T) {
	var n words.Nights
	for _, s := range []words.NightState{words.NotSeen, words.DryNight, words.BrieflyWet, words.WetNight} {
		n.Add(s, true)
	}
	assert.Equal(t, words.Nights{Wet: 1, Frost: 1, Briefly: 1, Observed: 3, Missed: 1}, n)
	for want, night := range map[string]words.Night{"wet": {State: words.WetNight},
		"frost": {State: words.WetNight, Frost: true}, "briefly wet": {State: words.BrieflyWet}} {
		assert.Equal(t, want, night.Consultant())
	}
}

func TestModelAndReadingsAreToldApart(t *testing.T) {
	n := func(x float64) *float64 { return &x }
	m := words.ModelHours{Where: "under the covering", WetH: 520.4, LowH: 240, HighH: 1120, CountedLowH: n(300),
		CountedHighH: n(400), Logger: "k4-void", Quantity: "humidity", CheckBy: "±1 %RH over a salt"}
	assert.Equal(t, "By a model of this roof fitted to the readings it was wet under the covering for 520 h (240 to "+
		"1,120 h, 95 %).", m.Sentence().String())
	m.CountedHighH, m.CountedLowH, m.When = n(200), n(90), words.SinceIt
	assert.Equal(t, "By a model of this roof fitted to the readings it was wet under the covering for 520 h (240 to "+
		"1,120 h, 95 %), since the repair. Model and readings differ by more than their intervals: a check of the humidity "+
		"of k4-void (±1 %RH over a salt) would settle it.", m.Sentence().String())
	m.Logger = ""
	assert.Contains(t, m.Sentence().String(), "differ by more than their intervals.")
	m.CountedLowH = nil
	assert.False(t, m.Apart(), "without an interval nothing is said to differ")
	assert.Equal(t, "no wet hours by the model: it would need 14 well-observed nights (1 night is usable)",
		words.NoHours(words.FewNightsForHours(1, 14)))
	assert.Equal(t, "no wet hours by the model: it would need readings that follow the usual physics of this roof (it "+
		"misses the air’s dew point by 0.9 K, and 0.8 K is the limit): check logger places",
		words.NoHours(words.Astray(0.92, 0.8)))
}
