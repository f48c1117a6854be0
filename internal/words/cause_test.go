package words_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/reason/cause"
	"dewcase/internal/testkit/readability"
	"dewcase/internal/words"
)

func TestEveryCauseHasItsSentenceAtEveryStrength(t *testing.T) {
	for _, c := range []struct{ key, strong, probable, home string }{
		{"ceiling_leakage", "Strongly supported: house air through a leaky ceiling (90 of 100).",
			"Probably house air through a leaky ceiling (90 of 100).",
			"The water probably comes from damp air from the rooms that gets into the loft."},
		{"unvented_batten_void",
			"Strongly supported: vapour that passed the underlay and could not leave the batten void (90 of 100).",
			"Probably vapour that passed the underlay and could not leave the batten void (90 of 100).",
			"The water probably comes from damp air that gets in under the covering and cannot get out."},
		{"night_sky_cooling",
			"Strongly supported: dew from outdoor air on clear nights, which is no defect (90 of 100).",
			"Probably dew from outdoor air on clear nights, which is no defect (90 of 100).",
			"The water is probably dew from the air outside. Dew does no harm on a sound roof."},
		{"water_ingress", "Strongly supported: water getting in, by rain or plumbing (90 of 100).",
			"Probably water getting in, by rain or plumbing (90 of 100).",
			"The water probably comes from rain or a pipe that lets water in."},
		{"construction_moisture", "Strongly supported: a building that is still drying out (90 of 100).",
			"Probably a building that is still drying out (90 of 100).",
			"The water probably comes from a building that is still drying out."},
		{"blocked_ventilation", "Strongly supported: ventilation openings that do not work (90 of 100).",
			"Probably ventilation openings that do not work (90 of 100).",
			"The water probably comes from damp air that stays in the loft, as its openings do not work."},
		{"none_found", "Strongly supported: no condensation problem (90 of 100).",
			"Probably no condensation problem (90 of 100).", "We have found nothing wrong with the roof so far."},
	} {
		f := words.Cause{Finding: c.key, Strength: words.Strong, Parts: []words.Part{{Cause: c.key, Share: 0.9}}}
		assert.Equal(t, c.strong, f.Sentence().String())
		assert.NotContains(t, f.Home(), "probably")
		assert.LessOrEqual(t, readability.Grade(f.Home()), 9.0, f.Home())
		f.Strength = words.Probable
		assert.Equal(t, c.probable, f.Sentence().String())
		assert.Equal(t, c.home, f.Home())
		assert.LessOrEqual(t, readability.Grade(f.Home()), 9.0, f.Home())
	}
	for _, named := range append(cause.Named(), cause.Undetermined) {
		assert.NotEmpty(t, words.CauseName(string(named)), "the method's causes all have words")
	}
}

func TestTheRunnerUpStandsInTheHeadline(t *testing.T) {
	parts := func(a, b float64) []words.Part {
		return []words.Part{{Cause: "unvented_batten_void", Share: a}, {Cause: "ceiling_leakage", Share: b}}
	}
	at := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	for want, c := range map[string]words.Cause{
		"Probably vapour that passed the underlay and could not leave the batten void (70 of 100). Second: house air " +
			"through a leaky ceiling (27).": {Finding: "unvented_batten_void", Strength: words.Probable,
			Parts: parts(0.7, 0.27)},
		"Before the repair of 2 October 2026, probably vapour that passed the underlay and could not leave the batten " +
			"void (70 of 100). Second: house air through a leaky ceiling (27).": {Finding: "unvented_batten_void",
			Strength: words.Probable, Parts: parts(0.7, 0.27), Repair: at},
		"Probably vapour that passed the underlay and could not leave the batten void, possibly together with house air " +
			"through a leaky ceiling (54 of 100). Second: house air through a leaky ceiling (40).": {
			Finding: "unvented_batten_void", Strength: words.Probable, Parts: parts(0.54, 0.4), With: "ceiling_leakage"},
		"Strongly supported: vapour that passed the underlay and could not leave the batten void (over 99 of 100).": {
			Finding: "unvented_batten_void", Strength: words.Strong, Parts: parts(0.996, 0.004)},
		"The cause cannot be told yet: none has half of the evidence.": {Finding: words.Undetermined,
			Parts: parts(0.41, 0.38)},
		"The cause cannot be told yet. Most of the evidence is for vapour that passed the underlay and could not leave " +
			"the batten void (55 of 100). Second: house air through a leaky ceiling (38).": {Finding: words.Undetermined,
			Parts: parts(0.55, 0.38)},
		"Before the repair of 2 October 2026, the cause cannot be told yet: none has half of the evidence.": {
			Finding: words.Undetermined, Parts: parts(0.41, 0.38), Repair: at},
		"The cause cannot be told yet.": {Finding: words.Undetermined},
	} {
		assert.Equal(t, want, c.Sentence().String())
	}
	assert.Equal(t, "We cannot tell yet where the water comes from.", words.Cause{Finding: words.Undetermined}.Home())
	assert.Equal(t, "We have found nothing wrong with the roof.",
		words.Cause{Finding: words.NoneFound, Strength: words.Strong}.Home())
}

func TestAListNamesTheCauseShortly(t *testing.T) {
	for want, c := range map[string]words.Cause{
		"cause not told yet":                         {Finding: words.Undetermined},
		"no condensation problem":                    {Finding: words.NoneFound, Strength: words.Strong},
		"probably house air through a leaky ceiling": {Finding: "ceiling_leakage", Strength: words.Probable},
	} {
		assert.Equal(t, want, c.Brief())
	}
}

func ExampleCause_Sentence() {
	fmt.Println(words.Cause{Finding: "water_ingress", Strength: words.Probable,
		Parts: []words.Part{{Cause: "water_ingress", Share: 0.7}, {Cause: "ceiling_leakage", Share: 0.27}}}.Sentence())
	// Output: Probably water getting in, by rain or plumbing (70 of 100). Second: house air through a leaky ceiling (27).
}
