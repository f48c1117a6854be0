package assessment

import (
	"fmt"
	"slices"
	"time"

	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/leak"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// Settle is what one further logger, look or check would do for a question that is
// open. Of the cause, now and then are the chances that a true one is named; of
// the hours, the width of their 95 % interval, h.
type Settle struct {
	Question string     `json:"question" doc:"cause, hours or worked"`
	Check    string     `json:"check" doc:"logger, look, salt_check, ice_check, wood_probe or needs"`
	At       []string   `json:"at" doc:"places for loggers, the key that a look fills, the logger to check, or the surface"`
	Surface  string     `json:"surface" doc:"of hours and worked"`
	Now      *float64   `json:"now" doc:"cause: chance that a true cause is named; hours: width of the interval, h"`
	Then     *float64   `json:"then" doc:"the same with it"`
	Text     string     `json:"text"`
	Said     words.Text `json:"-"`
}

// The questions.
const (
	OfCause  = "cause"
	OfHours  = "hours"
	OfWorked = "worked"
)

// WoodProbe is the check by wood read at the wet spot.
const WoodProbe = "wood_probe"

// narrowsTo is the most of an interval that a check may leave to be told.
const narrowsTo = 0.8

// openWater is the share of the evidence for water getting in from which on a probe of
// the wood is worth telling, as a look for a wet patch is.
const openWater = 0.15

// woodAsked reports that water may be getting in, and that no wood is read.
func (a *Answer) woodAsked(set *series.Set) bool {
	for _, x := range set.Courses {
		if x.WoodPct.Len() > 0 {
			return false
		}
	}
	f := a.Finding
	return !f.Firm && f.Window.Repair.IsZero() && slices.ContainsFunc(f.Causes, func(s cause.Support) bool {
		return s.Cause == cause.WaterIngress && s.Support > openWater
	})
}

// settle lists, most gain first in each question, what would settle it.
func (a *Answer) settle(set *series.Set) {
	c := set.Case
	add := func(s Settle) {
		s.Text = s.Said.String()
		a.Settle = append(a.Settle, s)
	}
	for _, s := range a.Finding.Settle {
		add(ofCause(s))
	}
	if a.woodAsked(set) {
		add(Settle{Question: OfCause, Check: WoodProbe, At: []string{}, Said: leak.Probes().Cause()})
	}
	for i, s := range a.Surfaces {
		if n, humidity, ok := narrower(c, i, s); ok {
			now, then := s.interval(), round(n.CheckedHigh-n.CheckedLow, 4)
			check := "ice_check"
			if humidity {
				check = "salt_check"
			}
			add(Settle{Question: OfHours, Check: check, At: []string{n.Logger}, Surface: s.Surface, Now: &now, Then: &then,
				Said: n.Sentence()})
		}
	}
	probed := map[time.Time]bool{} // by the repair, which several surfaces share
	for _, r := range a.Repairs {
		if r.Verdict == repair.TooEarly && r.Needs != "" && len(a.Doubts) == 0 { // which ask for it first
			add(Settle{Question: OfWorked, Check: "needs", At: []string{r.Surface}, Surface: r.Surface,
				Said: words.Say("%s", words.Sentence(r.Needs))})
			if r.Leak != nil && r.Leak.Share == nil && !probed[r.At] {
				probed[r.At] = true
				add(Settle{Question: OfWorked, Check: WoodProbe, At: []string{r.Surface}, Surface: r.Surface,
					Said: leak.Probes().Worked()})
			}
		}
	}
}

func ofCause(s cause.Settler) Settle {
	now, then := round(s.Now, 2), round(s.Then, 2)
	out := Settle{Question: OfCause, Check: "look", At: []string{string(s.Look)}, Now: &now, Then: &then}
	if s.Look == "" {
		out.Check, out.At = "logger", nil
		for _, p := range s.Places {
			out.At = append(out.At, string(p))
		}
	}
	out.Said = words.Settle{Places: s.Places, Look: string(s.Look), Now: now, Then: then}.Sentence()
	return out
}

// interval is the width of the 95 % interval of the wet hours.
func (s Surface) interval() float64 { return round(*s.HoursCondensingHigh-*s.HoursCondensingLow, 4) }

// narrower is the check that narrows a surface's interval most; ok is false where
// none is worth it.
func narrower(c *roof.Case, i int, s Surface) (n words.Narrower, humidity, ok bool) {
	if s.HoursCondensingLow == nil || s.HoursCondensingHigh == nil || s.interval() < 1 {
		return n, false, false
	}
	for k, x := range s.HowSure {
		at := fmt.Sprintf("surfaces.%d.how_sure.%d.", i, k)
		try := words.Narrower{Surface: words.SurfaceOf(c, s.Surface), Logger: x.Logger,
			Humidity: x.Quantity == roof.RHPct.String(), FromLow: *s.HoursCondensingLow, FromHigh: *s.HoursCondensingHigh,
			CheckedLow: x.CheckedLow, CheckedHigh: x.CheckedHigh,
			AtFrom: fmt.Sprintf("surfaces.%d.hours_condensing_low", i),
			AtTo:   fmt.Sprintf("surfaces.%d.hours_condensing_high", i),
			AtLow:  at + "hours_condensing_low_if_checked", AtHigh: at + "hours_condensing_high_if_checked"}
		if try.Share() <= narrowsTo && (!ok || try.Share() < n.Share()) {
			n, humidity, ok = try, try.Humidity, true
		}
	}
	return n, humidity, ok
}

// Settling are the checks of one question.
func (a Assessment) Settling(question string) (out []Settle) {
	for _, s := range a.Settle {
		if s.Question == question {
			out = append(out, s)
		}
	}
	return out
}

// SettleActivities are what the checks of a question ask a person to do.
func (a Assessment) SettleActivities(question string) (do []caution.Activity) {
	for _, s := range a.Settling(question) {
		do = append(do, s.activities()...)
	}
	return do
}

func (s Settle) activities() (do []caution.Activity) {
	switch s.Check {
	case "look":
		return []caution.Activity{caution.LookInLoft}
	case "salt_check", "ice_check":
		return []caution.Activity{caution.FitLogger}
	case WoodProbe:
		return []caution.Activity{caution.LookInLoft, caution.FitLogger}
	case "logger":
		do = append(do, caution.FitLogger)
		for _, at := range s.At {
			if p := roof.Place(at); p == roof.BattenVoidAir || p == roof.CoveringUnderside {
				do = append(do, caution.LiftCover)
			}
		}
	}
	return do
}

// settle prints the checks; what a repair's verdict needs stands beside it.
func (p printer) settle(of []Settle) {
	head := "Where one more logger or check would settle it"
	for _, s := range of {
		if s.Question == OfWorked && s.Check != WoodProbe {
			continue
		}
		if head != "" {
			p("")
			p("%s", head)
			head = ""
		}
		p("  %s", s.Text)
	}
}

// Kit is a set of loggers for a new house, with what it would tell.
type Kit struct {
	Places []roof.Place
	Text   string
}

// Kits proposes loggers for a house that has no readings: sets of them where none is
// named in the case file, else what those named tell and which to fit beside them.
func Kits(c *roof.Case) []Kit {
	var out []Kit
	at := placed(c)
	if len(at) == 0 {
		for _, k := range cause.Kits(c) {
			out = append(out, Kit{k.Places, words.Kit(k.Places, k.Then)})
		}
		return out
	}
	now, further := cause.Beside(c, at)
	out = append(out, Kit{at, words.Kit(at, now.Then)})
	for _, k := range further {
		out = append(out, Kit{k.Places, words.KitBeside(k.Places, k.Then)})
	}
	if len(further) == 0 {
		out = append(out, Kit{nil, words.KitEnough})
	}
	return out
}

// placed are the places of a case's loggers that tell of the cause.
func placed(c *roof.Case) []roof.Place {
	var at []roof.Place
	for _, l := range c.Loggers {
		for _, f := range l.Fitted {
			p, ok := c.Position(f.Position)
			if ok && cause.Tells(p.Place) && !slices.Contains(at, p.Place) {
				at = append(at, p.Place)
			}
		}
	}
	return at
}
