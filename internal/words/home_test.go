package words_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/testkit/readability"
	"dewcase/internal/words"
)

var evening = time.Date(2026, 12, 15, 17, 0, 0, 0, time.UTC)
var morning = time.Date(2026, 12, 15, 6, 0, 0, 0, time.UTC)

func fortnight(nights ...words.Night) (out []words.Night) {
	for i := range 14 {
		n := nights[i%len(nights)]
		n.From = time.Date(2026, 12, 1+i, 12, 0, 0, 0, time.UTC)
		out = append(out, n)
	}
	return out
}

// said is every sentence of the page below its head.
func said(h words.Home) []string {
	out := append([]string{h.Tonight(), h.Fortnight(), h.Better(), h.Why(), h.WorkDone()}, h.Lead().Lines...)
	out = append(out, h.Lead().Do...)
	for _, n := range h.Nights {
		out = append(out, "night: "+n.Home())
	}
	for _, a := range h.Alerts {
		out = append(append(out, h.Found(a).Lines...), h.Found(a).Do...)
	}
	return out
}

// Over a grid of every state that a household's roof can be in, no two sentences
// of its page contradict each other.
func TestNoTwoSentencesOfTheHouseholdsPageContradictEachOther(t *testing.T) {
	contrary := [][2]string{
		{"cannot tell yet", "The water comes from d"}, {"cannot tell yet", "water probably comes from"},
		{"cannot tell yet", "found nothing wrong"}, {"cannot tell yet", "probably dew"},
		{"cannot tell yet", "The water is dew"},
		{"dry now", "now. It may drip"}, {"dry now", "is some"}, {"dry now", "already"}, {"dry now", "has begun to form"},
		{"some frost", "some water under the slates now"}, {"some frost", "Water has begun"}, {"some frost", "some dew"},
		{"some water under the slates now", "Frost has begun"},
		{"is some", "may form"}, {"is some", "likely to form"}, {"is some", "most likely stay dry"},
		{"is some", "almost surely form"},
		{"stayed dry", "night: wet"}, {"stayed dry", "night: frost"}, {"stayed dry", "night: briefly"},
		{"stayed dry", "night: a little"},
		{"nothing you need to do", "Keep bath"}, {"nothing you need to do", "Tell your"},
		{"nothing you need to do", "put right"}, {"nothing you need to do", "water probably comes from"},
		{"some dew", "The water probably comes from"}, {"some dew", "put right"},
		{"does no harm", "put right"}, {"does no harm", "The water comes from"}, {"does no harm", "probably comes from"},
		{"found nothing wrong", "put right"},
		{"helped", "has got wetter since"}, {"helped:", "got wetter again"}, {"helped", "no change so far"},
	}
	p := func(x float64) *float64 { return &x }
	nights := map[string][]words.Night{
		"dry": fortnight(words.Night{State: words.DryNight}), "unseen": fortnight(words.Night{}),
		"brief": fortnight(words.Night{State: words.BrieflyWet, WetH: 0.8}),
		"mixed": fortnight(words.Night{State: words.WetNight, WetH: 4, Frost: true}, words.Night{State: words.DryNight},
			words.Night{State: words.WetNight, WetH: 2}, words.Night{State: words.BrieflyWet, WetH: 0.3, Frost: true}),
	}
	works := []*words.Verdict{nil}
	for _, k := range []words.VerdictKind{words.Worked, words.NoChangeShown, words.GotWorse, words.TooEarly} {
		works = append(works, &words.Verdict{Kind: k, At: morning.AddDate(0, -2, 0), Wet: wet(71, 39, 93)})
	}
	states := 0
	for _, level := range []words.Level{words.FromOutdoors, words.NotTold, words.FromWithin} {
		for _, finding := range []string{"", words.Undetermined, words.NoneFound, words.Dew, "ceiling_leakage"} {
			for _, strength := range []words.Strength{words.Probable, words.Strong} {
				for _, now := range []string{"dry", "wet", "frost"} {
					for _, chance := range []*float64{nil, p(.1), p(.4), p(.7), p(.97)} {
						for name, n := range nights {
							for _, work := range works {
								for _, failing := range []bool{false, true} {
									h := words.Home{Now: morning, Heard: morning, Where: "under the slates", Wet: now != "dry",
										Frozen: now == "frost", Level: level, Chance: chance, Nights: n, Work: work, Held: failing,
										Cause: words.Cause{Finding: finding, Strength: strength}}
									if work != nil {
										h.Cause.Repair = work.At
									}
									if level != words.FromOutdoors { // as the alerts are told: not of dew
										for _, c := range []string{words.SurfaceWet, words.WetNights} {
											if c == words.WetNights || h.Wet {
												h.Alerts = append(h.Alerts, words.Alert{Condition: c, Where: h.Where, Nights: 4, Seen: 7})
											}
										}
									}
									if failing && work != nil {
										h.Alerts = append(h.Alerts, words.Alert{Condition: words.RepairFailing})
									}
									states++
									all := said(h)
									text := strings.Join(all, "\n")
									for _, c := range contrary {
										if strings.Contains(text, c[0]) && strings.Contains(text, c[1]) {
											t.Fatalf("%q beside %q\nlevel %d, finding %q %s, %s now, %s nights, work %+v\n%s", c[0], c[1], level,
												finding, strength, now, name, work, text)
										}
									}
								}
							}
						}
					}
				}
			}
		}
	}
	assert.Greater(t, states, 10_000)
}

func TestWhatLiesThereNowIsNamedAsItIs(t *testing.T) {
	base := words.Home{Now: morning, Heard: morning, Where: "under the slates", Level: words.NotTold}
	with := func(change func(*words.Home)) words.Home {
		h := base
		change(&h)
		return h
	}
	for want, h := range map[string]words.Home{
		"We have no news from your roof yet.": with(func(h *words.Home) { h.Heard = time.Time{} }),
		"We last heard from your roof on 11 March 2025. This page says what was known then.": with(func(h *words.Home) {
			h.Heard = time.Date(2025, 3, 11, 9, 0, 0, 0, time.UTC)
		}),
		"We have heard nothing from your roof for 20 hours.": with(
			func(h *words.Home) { h.Heard = h.Now.Add(-20 * time.Hour) }),
		"Your roof is dry now.":                     base,
		"There is some water under the slates now.": with(func(h *words.Home) { h.Wet = true }),
		"There is some frost under the slates now. It may drip when it melts.": with(func(h *words.Home) {
			h.Wet, h.Frozen = true, true
		}),
		"There is some dew under the slates now.": with(func(h *words.Home) { h.Wet, h.Level = true, words.FromOutdoors }),
		"The air in the roof got much damper at once.": with(func(h *words.Home) {
			h.Alerts = []words.Alert{{Condition: words.SuddenWetting}}
		}),
		"Frost under the slates is melting.": with(func(h *words.Home) {
			h.Alerts = []words.Alert{{Condition: words.FrostMelting, Where: "under the slates"}}
		}),
	} {
		assert.Equal(t, want, strings.Join(h.Lead().Lines, " "))
		for _, line := range append(append(h.Lead().Lines, h.Lead().Do...), h.Lead().Care...) {
			assert.LessOrEqual(t, readability.Grade(line), 9.0, line)
		}
	}
}

func TestTonightIsForetoldOnlyWhileItIsDry(t *testing.T) {
	p := func(x float64) *float64 { return &x }
	for want, h := range map[string]words.Home{
		"We cannot say yet how tonight will be.": {Now: evening},
		"Tonight will most likely stay dry. Water forms on about 1 in 10 nights like this one.": {
			Chance: p(.1), Now: evening},
		"Water may form in the roof tonight. It does on about 4 in 10 nights like this one.": {
			Chance: p(.4), Now: evening},
		"Water is likely to form in the roof tonight. It does on about 7 in 10 nights like this one.": {
			Chance: p(.7), Now: evening},
		"Water is very likely to form in the roof tonight. It does on about 8 in 10 nights like this one.": {
			Chance: p(.84), Now: evening},
		"Water will almost surely form in the roof tonight. It does on more than 9 in 10 nights like this one.": {
			Chance: p(.97), Now: evening},
	} {
		assert.Equal(t, want, h.Tonight())
		assert.LessOrEqual(t, readability.Grade(h.Tonight()), 9.0, want)
	}
	stanley := time.FixedZone("three hours behind", -3*3600)
	for _, h := range []words.Home{{Chance: p(.4), Wet: true, Now: evening, Heard: evening}, {Chance: p(.4), Now: morning},
		{Chance: p(.4), Now: evening.Add(5 * time.Hour)}, {Chance: p(.4), Now: morning.Add(8 * time.Hour), Zone: stanley}} {
		assert.Empty(t, h.Tonight(), h.Now)
	}
	assert.NotEmpty(t, words.Home{Chance: p(.4), Now: evening.Add(5 * time.Hour), Zone: stanley}.Tonight())
}

func TestWhetherItGetsBetterIsToldWithBothCounts(t *testing.T) {
	work := words.Verdict{Kind: words.TooEarly, At: morning}
	wet := words.Night{State: words.WetNight, WetH: 9.4}
	h := words.Home{Zone: time.UTC, Now: morning, Work: &work, Before: fortnight(wet),
		Nights: fortnight(wet, words.Night{State: words.DryNight}, words.Night{State: words.NotSeen},
			words.Night{State: words.BrieflyWet, WetH: 0.4})}
	assert.Equal(t, "Before the work it was wet on 14 of 14 nights, 132 hours in all. In the last two weeks it was "+
		"wet on 4 of 11 nights, 39 hours in all. The weather was not the same.", h.Better())
	for _, s := range readability.Sentences(h.Better()) {
		assert.LessOrEqual(t, readability.Grade(s), 9.0, s)
	}
	h.Before = fortnight(words.Night{})
	assert.Empty(t, h.Better(), "nothing was seen before the work")
	h.Before, h.Work = fortnight(wet), nil
	assert.Empty(t, h.Better())
}

func TestTheFortnightCountsTheNightsThatTheListShows(t *testing.T) {
	wet, frost := words.Night{State: words.WetNight, WetH: 3}, words.Night{State: words.WetNight, WetH: 5, Frost: true}
	brief, dry, unseen := words.Night{State: words.BrieflyWet, WetH: 0.8}, words.Night{State: words.DryNight},
		words.Night{}
	for want, nights := range map[string][]words.Night{
		"We have not seen a whole night yet.": {unseen},
		"It stayed dry under the slates on the last 2 nights.": {dry,
			dry},
		"It stayed dry under the slates on the 1 night that we saw.": {dry,
			unseen},
		"It was briefly wet under the slates on 14 of the last 14 nights, for less than an hour.": fortnight(
			brief),
		"It was wet under the slates on 1 of the last 2 nights, for 3 hours.": {wet,
			dry},
		"It was wet under the slates on 2 of the last 3 nights, for 3 hours each.": {wet, wet,
			dry},
		"It was wet under the slates on 2 of the last 2 nights, for 3 to 5 hours each. On 1 of them it was frost.": {wet,
			frost},
		"It was wet under the slates on 1 of the 2 nights that we saw, for 5 hours. It was frost each time. On 1 more " +
			"it was briefly wet.": {frost, brief, unseen},
	} {
		h := words.Home{Where: "under the slates", Nights: nights}
		assert.Equal(t, want, h.Fortnight())
		for _, s := range readability.Sentences(h.Fortnight()) {
			assert.LessOrEqual(t, readability.Grade(s), 9.0, s)
		}
	}
	for want, n := range map[string]words.Night{"wet for 3 hours": wet, "frost for 5 hours": frost, "dry": dry,
		"not seen": unseen, "briefly wet, for less than an hour": brief,
		"a little frost, for less than an hour": {State: words.BrieflyWet, Frost: true}} {
		assert.Equal(t, want, n.Home())
	}
}

func TestTheWorkIsToldWithWhatBecameOfIt(t *testing.T) {
	at := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	v := func(k words.VerdictKind) *words.Verdict { return &words.Verdict{Kind: k, At: at} }
	failing := []words.Alert{{Condition: words.RepairFailing}}
	lost := "The work of 2 October helped at first. We cannot see that it still does."
	for i, c := range []struct {
		h    words.Home
		want string
	}{
		{words.Home{}, ""},
		{words.Home{Work: v(words.Worked)}, "The work of 2 October helped."},
		{words.Home{Work: v(words.Worked), Alerts: failing}, lost},
		{words.Home{Work: v(words.NoChangeShown), Held: true}, lost},
		{words.Home{Work: v(words.NoChangeShown)}, "The work of 2 October has made no change so far that we can see."},
		{words.Home{Work: v(words.TooEarly), Alerts: failing}, ""},
		{words.Home{Work: v(words.GotWorse), Alerts: failing, Held: true},
			"The roof has got wetter since the work of 2 October. Your roof consultant should look at it."},
	} {
		assert.Equal(t, c.want, c.h.WorkDone(), fmt.Sprint(i))
	}
}

func TestHowAHouseholdIsReachedIsOneSentence(t *testing.T) {
	for _, of := range []struct {
		page, mail bool
		want       string
	}{
		{false, false, "The household is not reached yet."},
		{true, false, "The household can open its page; it gets no mail."},
		{false, true, "The household gets mail; it has no link to its page."},
		{true, true, "The household can open its page, and gets mail."},
	} {
		assert.Equal(t, of.want, words.Reached(of.page, of.mail))
	}
}
