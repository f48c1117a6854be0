package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

func TestEveryExchangeHasItsSentence(t *testing.T) {
	at := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	f := func(x float64) *float64 { return &x }
	figures := func(what string, kind words.ExchangeKind, factor, low, high float64) words.Exchange {
		return words.Exchange{What: what, Kind: kind, Credited: true, Factor: f(factor), Low: f(low), High: f(high), Since: 8,
			Nights: 34}
	}
	early := func(what string, want words.ExchangeWant) words.Exchange {
		return words.Exchange{What: what, Kind: words.ExchangeEarly, Want: want}
	}
	with := func(x words.Exchange, change func(*words.Exchange)) words.Exchange {
		change(&x)
		return x
	}
	const void, loft, ceiling, leak = "void_ventilation", "loft_ventilation", "ceiling", "water_entry"
	const tooEarlyVoid = "It is too early to say what the work of 2 October 2026 did to the exchange of the void with " +
		"outdoor air: "
	for _, c := range []struct {
		name string
		x    words.Exchange
		want string
	}{
		{"void opened", with(figures(void, words.Changed, 15.2, 4.21, 57), func(x *words.Exchange) {
			x.Before, x.After = f(0), f(0.12)
		}), "Since the work of 2 October 2026 the void exchanges about 15 times as much air with outdoors as before " +
			"(at least " +
			"4.2 times), sure since night 8: outdoor air's share in the void's temperature went from under 0.01 to 0.12. " +
			"Whether fewer hours are wet is another question. It holds if the void's logger sits where it sat before."},
		{"void shut", with(figures(void, words.Changed, 0.071, 0.02, 0.25), func(x *words.Exchange) {
			x.Place = "the batten void (void-2)"
		}), "Since the work of 2 October 2026 the batten void (void-2) exchanges only about 0.07 times as much air with " +
			"outdoors as before (at most 0.25 times), sure since night 8. Whether fewer hours are wet is another " +
			"question. It " +
			"holds if the void's logger sits where it sat before."},
		{"loft opened, with the ceiling", with(figures(loft, words.Changed, 4.4, 1.3, 14.6), func(x *words.Exchange) {
			x.Together = true
		}), "Since the work of 2 October 2026 the loft exchanges more air with outdoors than before, sure since night " +
			"8; how " +
			"much more is known only roughly (about 4.4 times, 95 %: 1.3 to 15). Whether fewer hours are wet is another " +
			"question. Loft and ceiling were changed at one time: read the two together."},
		{"loft blocked", figures(loft, words.Changed, 0.24, 0.03, 2), "Since the work of 2 October 2026 the loft " +
			"exchanges " +
			"less air with outdoors than before, sure since night 8; how much less is known only roughly (about 0.24 " +
			"times, " +
			"95 %: 0.03 to 2.0). Whether fewer hours are wet is another question."},
		{"ceiling opened a little", figures(ceiling, words.Changed, 1.9, 0.8, 4.5), "Since the work of 2 October 2026 " +
			"the " +
			"ceiling lets more air through than before, sure since night 8; how much more is known only roughly (about 1.9 " +
			"times, 95 %: 0.80 to 4.5). Whether fewer hours are wet is another question."},
		{"ceiling sealed", figures(ceiling, words.Changed, 0.12, 0.031, 0.48), "Since the work of 2 October 2026 the " +
			"ceiling " +
			"lets through only about 0.12 times as much air as before (at most 0.48 times), sure since night 8. Whether " +
			"fewer " +
			"hours are wet is another question."},
		{"changed, without a figure", words.Exchange{What: loft, Kind: words.Changed, Since: 8}, "The exchange of the " +
			"loft " +
			"with outdoor air changed with the work of 2 October 2026, sure since night 8. Whether fewer hours are wet is " +
			"another question."},
		{"noticed", with(figures(void, words.ExchangeEarly, 15.2, 4.21, 57), func(x *words.Exchange) {
			x.Noticed, x.Credited = true, false
		}), "Noticed, not caused: Since the work of 2 October 2026 the void exchanges about 15 times as much air with " +
			"outdoors as before (at least 4.2 times), sure since night 8. The case file does not credit the work with " +
			"it, so " +
			"it may have come of the weather, the household or another change."},
		{"void unchanged", figures(void, words.ExchangeUnshown, 1.1, 0.4, 3), "No change of the exchange of the void " +
			"with " +
			"outdoor air is shown after 34 nights: a change by a factor of five or more is excluded. If the work was " +
			"meant to " +
			"open it, look whether it is cut through."},
		{"loft unchanged", figures(loft, words.ExchangeUnshown, 1.1, 0.3, 5), "No change of the exchange of the loft " +
			"with " +
			"outdoor air is shown after 34 nights. Of vents that gave a loft four times the air or more this method finds " +
			"about half, of blocked ones hardly any."},
		{"ceiling unchanged", with(figures(ceiling, words.ExchangeUnshown, 1.1, 0.4, 3), func(x *words.Exchange) {
			x.LessHeat = true
		}), "No change of the air through the ceiling is shown after 34 nights: a change by a factor of four or more is " +
			"excluded. Less heat comes through the ceiling; whether less air does is not shown."},
		{"no covering", with(early(void, words.WantPlace), func(x *words.Exchange) {
			x.Missing = "under the covering (slate)"
		}), tooEarlyVoid + "needed is a temperature logger under the covering (slate)."},
		{"nothing outdoors", with(early(void, words.WantPlace), func(x *words.Exchange) { x.Missing = words.Outdoors }),
			tooEarlyVoid + "needed is outdoor temperature, which the imported series of a weather station gives as well " +
				"(page Files), for the past too."},
		{"opened, nothing outdoors", words.Exchange{What: void, Kind: words.Changed, Since: 8, Blind: true, More: true},
			"Since the work of 2 October 2026 the void exchanges more air with outdoors than before, sure since night 8, by " +
				"the temperatures of void, covering and loft alone; how much more cannot be told without outdoor air. " +
				"Whether fewer hours are wet is another question. It holds if the void's logger sits where it sat before."},
		{"few hours before", with(early(void, words.WantHoursBefore), func(x *words.Exchange) { x.Have, x.Least = 1, 100 }),
			tooEarlyVoid + "only 1 hour before the work can be used, and 100 are needed."},
		{"few hours after", with(early(void, words.WantHoursAfter), func(x *words.Exchange) { x.Have, x.Least = 30, 40 }),
			tooEarlyVoid + "only 30 hours since the work can be used, and 40 are needed."},
		{"no day yet", early(void, words.WantAfter), tooEarlyVoid + "the first nights have to pass."},
		{"colder", with(early(void, words.WantLikeWeather), func(x *words.Exchange) { x.ColderK = 7.2 }), tooEarlyVoid +
			"outdoor air has been 7 K colder than before the work; it can be told after weather like before."},
		{"warmer", with(early(void, words.WantLikeWeather), func(x *words.Exchange) { x.ColderK = -8 }), tooEarlyVoid +
			"outdoor air has been 8 K warmer than before the work; it can be told after weather like before."},
		{"logger moved", early(void, words.WantLoggerInPlace), tooEarlyVoid + "the void's logger was taken out or " +
			"moved, and a " +
			"logger a little nearer the slot reads like a new opening; needed is the void's logger at its old place, or a " +
			"second look at the other slope."},
		{"covering lifted", early(void, words.WantWordOnLogger), tooEarlyVoid + "the covering was lifted for the work, " +
			"and a " +
			"logger put back a little nearer the slot reads like a new opening; needed is the word that the void's logger " +
			"sits exactly where it sat (key kept_in_place of the repair), or a second look at the other slope."},
		{"undecided", early(void, words.WantMore), tooEarlyVoid + "no change is shown so far, and a large one is not " +
			"excluded " +
			"either."},
		{"too warm", early(loft, words.WantCold), "It is too early to say what the work of 2 October 2026 did to the " +
			"exchange " +
			"of the loft with outdoor air: it is too warm outdoors; nights under 10 °C on both sides of the work are " +
			"needed."},
		{"one witness", early(ceiling, words.WantSecondWitness), "It is too early to say what the work of 2 October " +
			"2026 did " +
			"to the air through the ceiling: humidity and temperature must both show it, and only one of the two does or " +
			"can."},
		{"less heat", with(early(ceiling, words.WantMore), func(x *words.Exchange) { x.LessHeat = true }), "It is too " +
			"early to " +
			"say what the work of 2 October 2026 did to the air through the ceiling: no change is shown so far, and a " +
			"large " +
			"one is not excluded either; less heat comes through the ceiling, and whether less air does is not shown."},
		{"no model", early(loft, words.WantModel), "It is too early to say what the work of 2 October 2026 did to the " +
			"exchange " +
			"of the loft with outdoor air: the model of the roof's moisture cannot be fitted to these readings: needed are " +
			"outdoor air, indoor air and the loft's air, and 14 well-observed nights before the work."},
		{"leak", early(leak, words.WantWetSpot), "It is too early to say what the work of 2 October 2026 did to the " +
			"water " +
			"coming in: loggers of air cannot tell whether a leak was stopped; needed is a wood-moisture reading at the " +
			"wet " +
			"spot before and after, or a look after heavy rain."},
	} {
		c.x.At, c.x.Zone = at, time.UTC
		assert.Equal(t, c.want, c.x.Sentence().String(), c.name)
	}
}

func TestFactorsHaveNoMoreDigitsThanTheyKnow(t *testing.T) {
	for want, x := range map[string]float64{"under 0.01": 0.004, "0.05": 0.053, "0.10": 0.096, "0.94": 0.94, "1.0": 1.04,
		"9.4": 9.42, "10": 9.6, "15": 15.2, "120": 123, "1,200": 1234} {
		assert.Equal(t, want, words.Times(x))
	}
	x := 15.2
	known := words.Exchange{Factor: &x, Low: &x, High: &x}
	assert.Equal(t, "15", known.FactorText().String())
	assert.Equal(t, "15 to 15", known.IntervalText().String())
	assert.Equal(t, "–", words.Exchange{}.FactorText().String())
	assert.Equal(t, "–", words.Exchange{}.IntervalText().String())
}

func TestAnOpeningThatDoesNotShowIsAskedAfter(t *testing.T) {
	at := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	x := words.Exchange{What: "void_ventilation", Nights: 34, At: at, Zone: time.UTC}
	assert.Equal(t, "34 nights after the work of 2 October 2026 the exchange of the void with outdoor air shows no "+
		"change, "+
		"and one by a factor of five or more is excluded: is the void cut through?", x.Question())
	x.What = "loft_ventilation"
	assert.Equal(t, "34 nights after the work of 2 October 2026 the vents do not air the loft as far as humidity and "+
		"temperature tell (about half of good vents are not found this way): are they cut through?", x.Question())
	a := words.Alert{Condition: words.WorkUnseen, Position: "slate", Detail: x.Question()}
	assert.Contains(t, a.Line(), "An opening that was made does not show in the air (slate): 34 nights after")
}
