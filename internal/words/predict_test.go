package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

var october = time.Date(2026, 10, 10, 12, 0, 0, 0, time.UTC)

func TestEveryPredictionHasItsSentence(t *testing.T) {
	base := words.Prediction{Work: "void_vented", Assumes: words.Slots(25, 10), Where: "under the covering",
		Since:   october,
		BeforeH: 212, After: words.Reach{Best: 121, Low: 84, High: 166}}
	for _, c := range []struct {
		name, want string
		change     func(*words.Prediction)
	}{
		{"a fall", "Opening the batten void (25 mm continuous at both eaves and 10 mm at the ridge): of " +
			"the fitted roof’s 210 " +
			"hours at risk " +
			"under the covering since 10 October it would have left about 120, between 85 and 165 in four of five " +
			"such roofs.",
			func(*words.Prediction) {}},
		{"little", "Sealing the ceiling would change little: of the fitted roof’s 210 hours at risk under " +
			"the covering since 10 " +
			"October it " +
			"would have left about 210, between 200 and 220 in four of five such roofs.", func(p *words.Prediction) {
			p.Work, p.Assumes, p.Little, p.After = "ceiling_sealed", "", true, words.Reach{Best: 208, Low: 200,
				High: 220}
		}},
		{"a rise of the hours at risk", "Opening the loft’s vents (10 mm continuous at both eaves): " +
			"instead of the fitted roof’s " +
			"210 hours " +
			"at risk under the underlay since 10 October there would have been about 250, between 200 and 310 in " +
			"four of five " +
			"such roofs.", func(p *words.Prediction) {
			p.Work, p.Assumes, p.Where = "loft_vented", words.Slots(10, 0), "under the underlay"
			p.After = words.Reach{Best: 250, Low: 200, High: 310}
		}},
		{"harm by the void", "Opening the batten void (25 mm continuous at both eaves and 10 mm at the ridge) " +
			"would probably " +
			"make it worse under the covering: wet hours about +60 %, chance 9 in 10 of a tenth more or worse. On " +
			"clear " +
			"nights outdoor air wets this covering, and a shut void keeps much of it away. Hours at risk of " +
			"the fitted roof: about " +
			"120 instead " +
			"of 210, between 85 and 165 in four of five such roofs.", func(p *words.Prediction) {
			p.Harms, p.HarmChance, p.WetPct = true, 0.91, 61.2
		}},
		{"harm by other work", "A drier house would probably make it worse under the covering: wet hours about +15 " +
			"%, chance " +
			"6 in 10 of a tenth more or worse. Hours at risk of the fitted roof: about 120 instead of 210, " +
			"between 85 and 165 in four " +
			"of five " +
			"such roofs.", func(p *words.Prediction) {
			p.Work, p.Assumes, p.Harms, p.HarmChance, p.WetPct = "drier_house", "", true, 0.6, 15
		}},
		{"the void under an underlay", "Opening the batten void (25 mm continuous at both eaves and 10 mm at the " +
			"ridge): of " +
			"the fitted roof’s 210 hours at risk under the underlay since 10 October it would have left " +
			"about 120, between 85 " +
			"and 165 in " +
			"four of five such roofs. Small and uncertain.", func(p *words.Prediction) {
			p.Where, p.Uncertain = "under the underlay", true
		}},
		{"refused", "Opening the batten void, under the covering: too few nights to predict from: 9 nights well " +
			"observed, at " +
			"least 14 are needed.", func(p *words.Prediction) {
			p.Refused = words.NoPrediction{Kind: words.FewNights, Have: 9, Least: 14}
		}},
	} {
		p := base
		c.change(&p)
		assert.Equal(t, c.want, p.Sentence().String(), c.name)
	}
}

func TestEveryRefusalSaysWhyAndWhatWouldBeRight(t *testing.T) {
	for _, c := range []struct {
		want string
		n    words.NoPrediction
	}{
		{"", words.NoPrediction{}},
		{"these loggers cannot tell; look first", words.NoPrediction{Kind: words.OwnLook}},
		{"too few nights to predict from: 1 night well observed, at least 14 are needed",
			words.NoPrediction{Kind: words.FewNights, Have: 1, Least: 14}},
		{"too little condensation to predict from: counted wet for 17.5 h, at least 20 h are needed",
			words.NoPrediction{Kind: words.LittleWater, Have: 17.5, Least: 20}},
		{"it cannot be predicted without a temperature logger at slate",
			words.NoPrediction{Kind: words.MissingLogger, What: "a temperature logger at slate"}},
		{"the readings do not follow the usual physics of a roof (the model misses the air’s dew point by 1.2 K): " +
			"check " +
			"logger places", words.NoPrediction{Kind: words.ModelAstray, Have: 1.2}},
		{"no logger in the loft: only work on the batten void can be predicted here",
			words.NoPrediction{Kind: words.LoftNotLogged}},
		{"no logger in the batten void", words.NoPrediction{Kind: words.VoidNotLogged}},
		{"the record is not of a cold season: outdoor air was at 14.3 °C on the mean, and nothing over 12 " +
			"°C was tried",
			words.NoPrediction{Kind: words.TooWarm, Have: 14.3, Least: 12}},
		{"a roof insulated at the rafters was not tried", words.NoPrediction{Kind: words.RafterInsulation}},
		{"a roof without an underlay was not tried", words.NoPrediction{Kind: words.NoUnderlay}},
		{"a roof of under 15 degrees was not tried", words.NoPrediction{Kind: words.LowPitch, Have: 9, Least: 15}},
		{"it meets neither the loft nor the batten void", words.NoPrediction{Kind: words.NotASurface}},
		{"it is to be left untouched", words.NoPrediction{Kind: words.LeftUntouched}},
	} {
		assert.Equal(t, c.want, c.n.String())
	}
}

func TestTheRankingSaysWhatHelpsWhatHarmsAndWhenNothingDoes(t *testing.T) {
	loft := words.Rank{Work: "loft_vented", BeforeH: 512, AfterH: 303, Helps: true}
	ceiling := words.Rank{Work: "ceiling_sealed", BeforeH: 512, AfterH: 340, Helps: true, Alike: true}
	void := words.Rank{Work: "void_vented", BeforeH: 512, AfterH: 280, Harms: true}
	leave := words.Rank{Work: "leave", BeforeH: 512, AfterH: 512}
	for _, c := range []struct {
		name, want, recommended string
		none                    bool
		r                       words.Ranking
	}{
		{"one helps", "Opening the loft’s vents would help most: of the fitted roof’s 510 hours at risk " +
			"since 10 October about " +
			"300 would " +
			"have been left.", "loft_vented", false, words.Ranking{Ranks: []words.Rank{loft, leave}}},
		{"two alike", "Opening the loft’s vents would help most: of the fitted roof’s 510 hours at risk " +
			"since 10 October about " +
			"300 would " +
			"have been left. Sealing the ceiling would do about as much.", "loft_vented", false,
			words.Ranking{Ranks: []words.Rank{loft, ceiling, leave}}},
		{"likely and not certain", "Opening the loft’s vents would help most: of the fitted roof’s 510 " +
			"hours at risk since 10 " +
			"October about " +
			"300 would have been left. That is a best estimate: no change at all lies within what is likely.",
			"loft_vented",
			false, words.Ranking{Ranks: []words.Rank{{Work: "loft_vented", BeforeH: 512, AfterH: 303, Helps: true,
				Open: true},
				leave}}},
		{"the first does harm", "Opening the loft’s vents would help most: of the fitted roof’s 510 hours " +
			"at risk since 10 " +
			"October about " +
			"300 would have been left.", "loft_vented", false, words.Ranking{Ranks: []words.Rank{void, loft, leave}}},
		{"none", "None of these would help much: leave alone, or look for water.", "", true,
			words.Ranking{Ranks: []words.Rank{{Work: "loft_vented", BeforeH: 512, AfterH: 470}, leave}}},
		{"water first", "The readings may point to water getting in: if water is getting in, ventilation hides it " +
			"and the " +
			"timber stays wet: find it first. By air alone opening the loft’s vents would do most: of the " +
			"fitted roof’s 510 " +
			"hours at risk " +
			"since 10 October about 300 would have been left.", "", false,
			words.Ranking{Ranks: []words.Rank{loft, leave}, Water: "water getting in"}},
		{"refused", "What repairs would do cannot be predicted here: no logger in the batten void.", "", false,
			words.Ranking{Refused: "no logger in the batten void"}},
	} {
		c.r.Since = october
		assert.Equal(t, c.want, c.r.Headline().String(), c.name)
		assert.Equal(t, c.recommended, c.r.Recommended(), c.name)
		assert.Equal(t, c.none, c.r.NoneHelps(), c.name)
	}
	harms := words.Ranking{Ranks: []words.Rank{void, loft}}.Harms()
	assert.Len(t, harms, 1)
	assert.Equal(t, "Opening the batten void would probably make it worse.", harms[0].String())
}

func TestFiguresOfAPredictionAreRoundAndNeverSurerThanTheyAre(t *testing.T) {
	for h, want := range map[float64]string{0.4: "0", 7.6: "8", 43: "45", 198: "200", 212: "210", 1257: "1,260"} {
		assert.Equal(t, want, words.Round(h))
	}
	for p, want := range map[float64]string{0.01: "under 1 in 10", 0.31: "3 in 10", 0.9: "9 in 10",
		0.99: "over 9 in 10"} {
		assert.Equal(t, want, words.InTen(p))
	}
	for x, want := range map[float64]string{61: "+60 %", -33: "−35 %", 2: "unchanged"} {
		assert.Equal(t, want, words.More(x))
	}
	assert.Equal(t, "75 % of the vapour that the rooms’ air carries above outdoor air is left (315 Pa "+
		"instead of 420)",
		words.DrierRooms(0.75, 420))
	assert.Equal(t, "75 % of the vapour that the rooms’ air carries above outdoor air is left", words.DrierRooms(0.75,
		0))
}

func TestWhatWidensAPredictionIsSaid(t *testing.T) {
	for want, w := range map[string]words.Widest{
		"": {},
		"The largest part of this prediction’s doubt (62 %) is how much the work will change the flow of air: " +
			"survey what is " +
			"open to the loft now.": {Kind: words.StrengthWidest, Share: 0.62, Unknown: "what is open to the " +
			"loft now"},
		"The largest part of this prediction’s doubt (62 %) is how much the work will change the flow of air; no " +
			"survey " +
			"settles that beforehand.": {Kind: words.StrengthWidest, Share: 0.62},
		"The largest part of this prediction’s doubt (40 %) is the logger at void: check it against a reference.": {
			Kind: words.LoggerWidest, Share: 0.4, Logger: "void"},
	} {
		assert.Equal(t, want, w.String())
	}
	assert.Empty(t, words.ModelAgainstCount(140, 100))
	assert.Equal(t, "The fitted roof has 300 hours at risk over these nights where 150 were counted; the "+
		"prediction rests on "+
		"the fitted roof.", words.ModelAgainstCount(300, 150))
}

func TestAPredictionIsSetBesideWhatWasFound(t *testing.T) {
	at := time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	x := func(v float64) *float64 { return &v }
	base := words.Score{Work: "void_vented", Where: "under the covering", At: at, Nights: 33,
		Predicted: words.Reach{Best: 42, Low: -5, High: 63}}
	predicted := "Predicted before the work (opening the batten void), hours at risk under the covering: a fall of " +
		"42 %, " +
		"between a rise of 5 % and a fall of 63 % in four of five such roofs, on the 33 nights since that count."
	for _, c := range []struct {
		name, want string
		change     func(*words.Score)
	}{
		{"nothing found yet", predicted + " Found: nothing yet.", func(*words.Score) {}},
		{"too early", predicted + " Found so far: they fell by 30 %; it is too early to count that.",
			func(s *words.Score) { s.Found, s.Early, s.Hit = x(30), true, true }},
		{"hit", predicted + " Found: they fell by 30 %, within what was predicted.",
			func(s *words.Score) { s.Found, s.Hit = x(30), true }},
		{"miss", predicted + " Found: they rose by 12 %, outside what was predicted.",
			func(s *words.Score) { s.Found = x(-12) }},
		{"not declared", "No prediction to set beside it under the covering: the case file does not say what the " +
			"work " +
			"changed (key changes of the event).", func(s *words.Score) { s.Why = words.NotDeclared }},
	} {
		s := base
		c.change(&s)
		assert.Equal(t, c.want, s.Sentence().String(), c.name)
	}
	for _, k := range []words.NoScoreKind{words.NotACandidate, words.NotPredicted, words.NoNightsAfter} {
		assert.NotEmpty(t, k.String())
	}
	assert.Equal(t, "8 of 11 verdicts lay within what had been predicted before the work; four of five are "+
		"expected to.",
		words.Tally(8, 11))
	assert.Contains(t, words.Tally(0, 0), "No predicted work has a verdict yet")
}

func TestAPlanIsSaidAsAPlan(t *testing.T) {
	assert.Equal(t, "Planned by the case file: opening the loft’s vents (25 mm continuous at both "+
		"eaves). It is a plan "+
		"and no work done; cutting it needs the cautions here and the rules that apply.", words.Planned("loft_vented",
		words.Slots(25, 0)))
}
