package web

import (
	"context"
	"strings"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/houses"
	"dewcase/internal/reason/alert"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// HouseSummary is what the list of houses shows of one, made in advance. What the
// passing of time alone changes, such as a logger falling silent, is not in it.
type HouseSummary struct {
	ID, Label string
	Zone      *time.Location
	Sentence  string // how its last week was, beside the week before
	Cause     string // what the evidence supports, with its share; "" while that is not worked out
	Verdict   string // of the latest repair, with its interval and nights; "" without one
	Finding   cause.Cause
	Result    repair.Verdict
	Surface   string     // in words, the wettest
	Nights    []NightSum // its last 30, oldest first; none where there is no surface
	WetNights int        // of the last 7
	WetBefore int        // of the 7 before
	WetMonth  int        // of the last 30
	SeenWeek  int        // observed, of the last 7
	SeenMonth int        // of the last 30
	Last      time.Time  // last reading of a fitted logger
	Needs     []Need     // what needs a person, most pressing first
	Unseen    int        // alerts in force that nobody has seen
	Loggers   []HouseLogger
	Made      time.Time // zero: not yet
	Behind    bool      // what it rests on has changed since
}

// NightSum is a night's minutes at one surface.
type NightSum struct {
	From, Until                                     time.Time
	ObservedMin, CondensingMin, AtRiskMin, FrostMin float64
}

// night is the same for a picture.
func (n NightSum) night() picture.Night {
	return picture.Night{From: n.From, Until: n.Until, Hours: []picture.Hour{{ObservedMin: n.ObservedMin,
		CondensingMin: n.CondensingMin, AtRiskMin: n.AtRiskMin, FrostMin: n.FrostMin}}}
}

// Need is what needs a person, and how pressing that is.
type Need struct {
	Weight int
	Kind   roof.HouseNeed
	What   string
}

// HouseLogger is when a fitted logger was last heard and how long it may say
// nothing.
type HouseLogger struct {
	ID    string
	Last  time.Time
	Quiet time.Duration
}

// HouseList is the list of houses as it is kept.
type HouseList interface {
	// Houses gives a part of the list, in which the loggers are as last heard; all
	// is how many houses there are, found how many were searched for, and need how
	// many of these need a look.
	Houses(ctx context.Context, q roof.HouseQuery) (rows []HouseSummary, all, found, need int, err error)
	// Figures counts all houses as they are kept, and gives those that its sections
	// begin with.
	Figures(ctx context.Context) (f houses.Figures, of map[string]HouseSummary, err error)
}

// Weight is how pressing it is that a person looks, silent loggers aside.
func (h HouseSummary) Weight() (w int) {
	for _, n := range h.Needs {
		w += n.Weight
	}
	return w
}

// Silent are the loggers that say nothing at a time.
func (h HouseSummary) Silent(now time.Time) (ids []string) {
	for _, l := range h.Loggers {
		if now.Sub(l.Last) > l.Quiet {
			ids = append(ids, l.ID)
		}
	}
	return ids
}

// Listed is the house as it is searched, sorted and counted.
func (h HouseSummary) Listed() roof.ListedHouse {
	l := roof.ListedHouse{Case: h.ID, Name: h.Label, Weight: h.Weight(), WetNights: h.WetNights, WetBefore: h.WetBefore,
		WetMonth: h.WetMonth, SeenWeek: h.SeenWeek, SeenMonth: h.SeenMonth, Finding: string(h.Finding),
		Verdict: string(h.Result), Unseen: h.Unseen, Last: h.Last, Made: h.Made}
	most := 0
	for _, n := range h.Needs {
		if n.Weight > most {
			most, l.Need = n.Weight, n.Kind
		}
	}
	for _, x := range h.Loggers {
		from := x.Last.Add(x.Quiet + time.Millisecond)
		if l.SilentFrom.IsZero() || from.Before(l.SilentFrom) {
			l.SilentFrom = from
		}
		if from.After(l.SilentAll) {
			l.SilentAll = from
		}
	}
	return l
}

// stripNights is how many nights a house shows in the list.
const stripNights = 30

// Summarise sums a house up. What is not assessed is left out.
func (p *Pages) Summarise(ctx context.Context, id string,
	answer func(id string) (assessment.Answer, bool)) (HouseSummary, error) {
	h, err := p.head(ctx, id)
	if err != nil {
		return HouseSummary{}, err
	}
	sum := HouseSummary{ID: h.ID, Label: h.Label, Zone: h.Zone, Made: p.Now()}
	if !h.HasRecord {
		sum.Sentence = "No reading has come from a fitted logger yet."
		sum.need(20, roof.NeedReadings, "no readings yet")
		return sum, nil
	}
	sum.Last = h.Until
	until := evidence.NoonAfter(evidence.Noon(h.Until, h.Zone), 1, h.Zone)
	wi := winter{evidence.NoonAfter(until, -stripNights, h.Zone), until}
	v, err := p.Record.Timeline(ctx, id, wi.From, wi.Until, evidence.SheetStep(h.Zone, wi.From, wi.Until))
	if err != nil {
		return sum, err
	}
	latest, err := p.Record.Latest(ctx, id)
	if err != nil {
		return sum, err
	}
	sum.hear(latest)
	var worst picture.WinterSheet
	most := -1.0
	for _, s := range h.Case.RepresentativeSurfaces() {
		sh := drawing.Sheet(h.Case, v, s, wi.From, wi.Until, h.Zone)
		if h := picture.WetHours(sh.Nights); h > most {
			worst, most = sh, h
		}
	}
	if most < 0 {
		sum.Sentence = "No surface is in the case file, so that wet hours cannot be told."
		sum.need(10, roof.NeedSurface, "no surface in the case file")
		return sum, nil
	}
	n, before := weeks(worst.Nights)
	sum.Sentence = words.Weeks(worst.Surface, n, before, p.Now().Sub(h.Until) > roof.LatelyHeard)
	var f *cause.Finding
	if a, ok := answer(id); ok {
		f, sum.Finding, sum.Cause = &a.Finding, a.Finding.Finding, a.Cause(h.Case).Listed()
		if len(a.Doubts) > 0 {
			sum.Sentence = a.Doubts[0].Said
			worst.Forget()
			sum.need(10, roof.NeedDoubt, "the figures of a logger cannot be right")
		}
		if first := drawing.ResultsInOrder(h.Case, a); len(first) > 0 {
			r := a.Repairs[first[0]]
			sum.Result = r.Verdict
			sum.Verdict = a.Verdict(h.Case, first[0]).Listed(r.NightsBefore, r.NightsAfter)
		}
	}
	sum.Surface = worst.Surface
	for _, n := range worst.Nights {
		s := n.Sum()
		sum.Nights = append(sum.Nights, NightSum{n.From, n.Until, s.ObservedMin, s.CondensingMin, s.AtRiskMin, s.FrostMin})
	}
	sum.WetNights, sum.WetBefore = n.Wet, before.Wet
	month := picture.CountNights(worst.Nights)
	sum.WetMonth, sum.SeenMonth = month.Wet, month.Observed
	seen, _ := weeks(worst.Nights)
	sum.SeenWeek = seen.Observed
	sum.missed(n.Missed)
	sum.judge(f, sum.Result, n.Wet)
	return sum, nil
}

// weeks counts the last seven nights and the seven before; as for alerts, the
// running one counts once it is wet.
func weeks(nights []picture.Night) (last, before words.Nights) {
	const week = 7
	end := len(nights)
	if end > week && nights[end-1].State() != words.WetNight {
		end--
	}
	return picture.CountNights(nights[max(0, end-week):end]),
		picture.CountNights(nights[max(0, end-2*week):max(0, end-week)])
}

// sound says that a finding is no defect, or one that ends by itself.
func sound(c cause.Cause) bool {
	return c == cause.NightSkyCooling || c == cause.NoneFound || c == cause.ConstructionMoist
}

// need adds what needs a person, and how pressing that is.
func (h *HouseSummary) need(weight int, kind roof.HouseNeed, what string) {
	h.Needs = append(h.Needs, Need{weight, kind, what})
}

// judge says what cause and verdict ask of a person. A roof that is sound, or
// whose repair worked, asks nothing, however wet its nights: dew on a sound
// covering is no news. Nor does a repair on which it is too early to say.
func (h *HouseSummary) judge(f *cause.Finding, verdict repair.Verdict, wetNights int) {
	wet := wetNights >= 3
	nights := "wet on " + words.Count(wetNights, "night") + " of the last week"
	switch {
	case verdict == repair.GotWorse:
		h.need(35, roof.NeedWorse, "the repair made it worse")
	case verdict == repair.NoChangeShown && wet:
		h.need(30, roof.NeedNoChange, "the repair has shown no change; "+nights)
	case verdict != "" || f != nil && sound(f.Finding):
	case f == nil && wet:
		h.need(20, roof.NeedCause, nights)
	case f == nil:
	case f.Finding != cause.Undetermined:
		h.need(25, roof.NeedRepair, "a cause is named and no repair is on file")
	case wet:
		h.need(20, roof.NeedCause, nights+", and the cause cannot be told yet")
	}
}

// hear takes what was heard of the fitted loggers: when they will have been silent
// for too long, and low batteries.
func (h *HouseSummary) hear(latest []Latest) {
	var flat []string
	for _, l := range latest {
		if l.Position == "" {
			continue
		}
		h.Loggers = append(h.Loggers, HouseLogger{l.Logger, l.At, quiet(l.Usual)})
		if l.BatteryPct != nil && *l.BatteryPct <= 15 {
			flat = append(flat, l.Logger)
		}
	}
	if len(flat) > 0 {
		h.need(15, roof.NeedBattery, "battery low: "+words.List(flat))
	}
}

// Notice takes the alerts in force that nobody has seen. Those of water and of the
// loggers are told by what else is known of the house; the others are needs of
// their own.
func (h *HouseSummary) Notice(alerts []AlertRow) {
	for _, a := range alerts {
		if a.State != alert.Raised {
			continue
		}
		h.Unseen++
		if w, own := alertWeights[a.Condition]; own {
			h.need(w, roof.NeedAlertSeen, strings.TrimSuffix(words.AlertTitle(string(a.Condition))+", "+a.Facts.Spot, ", "))
		}
	}
}

// alertWeights is how pressing an alert is that nothing else of the list tells.
var alertWeights = map[alert.Condition]int{alert.SuddenWetting: 45, alert.FrostMelting: 35, alert.RepairFailing: 35,
	alert.MouldRising: 25, alert.TimberWet: 25, alert.WorkUnseen: 25, alert.ClockWrong: 15}

// missed says that nights of the last week were not observed.
func (h *HouseSummary) missed(nights int) {
	if nights >= 3 {
		h.need(10, roof.NeedNights, words.Count(nights, "night")+" of the last week not observed")
	}
}

// quiet is how long a logger may say nothing before the pages call it silent:
// three usual intervals, and at least two hours, because many send in batches.
func quiet(usual time.Duration) time.Duration { return max(3*usual, 2*time.Hour) }

func silentWords(ids []string) string {
	if len(ids) == 1 {
		return "logger " + ids[0] + " is silent"
	}
	if len(ids) > 3 {
		return words.Count(len(ids), "logger") + " are silent"
	}
	return "loggers " + words.List(ids) + " are silent"
}
