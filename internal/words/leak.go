package words

import (
	"fmt"
	"time"
)

// Leak is what is known of whether a repair stopped a leak.
type Leak struct {
	Kind             VerdictKind
	At               time.Time
	Zone             *time.Location
	Plumbing         bool // no rain feeds it
	Share, Low, High *float64
	Spots            []WetSpot
	Looks            []LeakLook // since the repair
	DaysSince        float64
	RainMM           *float64   // since the repair
	RainFell         bool       // enough of it, by a gauge or a look
	WetBefore        bool       // noted or measured before the repair
	WetLook          *time.Time // the latest look, where it found water
	DryLooks         int        // after heavy rain, three days apart
}

// WetSpot is wood at one position, in % of its dry mass.
type WetSpot struct {
	Position                string
	BeforePct, NowPct       float64
	AirPct, AirLow, AirHigh *float64 // what the air alone would have made of it by now
	Why                     string   // why it tells nothing
}

// Why wood at a spot tells nothing.
const (
	NoWoodBefore = "no wood-moisture reading was taken there in the three weeks before the work"
	NoWoodAfter  = "fewer than two days of wood-moisture readings were taken there since the work"
	NoAirAtWood  = "the air that meets the wood was not logged (key meets), so its drying cannot be worked out"
	NotWetBefore = "before the work the wood was hardly wetter than its air alone would make it"
)

// AirCannotTell is the first thing said of a leak's repair.
const AirCannotTell = "loggers of air cannot tell whether a leak was stopped: in trials on two simulators, with rain " +
	"measured and without, roofs whose leak was stopped looked like those where it ran on"

// WhatTellsALeak is what can.
const WhatTellsALeak = "wood-moisture readings (wood_pct) at the wet spot before and after the work, or a look after " +
	"heavy rain, entered in the case file as an inspection with after_rain and wet"

// Rate is a rate in per cent with its 95 % interval, and of how many.
type Rate struct {
	N              int
	Pct, Low, High float64
}

func (r Rate) String() string {
	return fmt.Sprintf("%s %% (95 %%: %s)", Whole(r.Pct), Interval(r.Low, r.High))
}

// Probes is what wood read at the wet spot settles, on simulated boards.
type Probes struct {
	Boards        int  // of each kind of reading
	Shown         Rate // wet ones that showed more water than the air gives
	DryShown, Dry int  // that many of the boards that no water reached did
	Stopped       Rate // leaks that were stopped and called so by a fixed probe after Days
	ByHand        Rate // the same by weekly readings
	Days          int
}

// Cause says what a probe does for the question whether water comes in.
func (p Probes) Cause() Text {
	return Say("A wood-moisture probe at the wet spot: of %s simulated wet boards %s showed more water than the air "+
		"gives, and %s of %s dry ones. It tells water that gets in from moist air, not rain from plumbing; the needles must "+
		"sit in the wet spot.", fmt.Sprint(p.Boards), Bold(p.Shown.String()), fmt.Sprint(p.DryShown), fmt.Sprint(p.Dry))
}

// Worked says what it does for the question whether a leak was stopped.
func (p Probes) Worked() Text {
	return Say("A wood-moisture probe at the wet spot, read before the work and since: of %s simulated leaks that were "+
		"stopped it said so within %s days in %s, weekly readings by hand in %s. Two dry looks after heavy rain do it as "+
		"well.", fmt.Sprint(p.Boards), fmt.Sprint(p.Days), Bold(p.Stopped.String()), p.ByHand.String())
}

// comesIn says how much of the water still comes in, by the wood.
func (l Leak) comesIn() string {
	still := "still comes in"
	if l.Kind == Worked {
		still = "may still come in"
	}
	return fmt.Sprintf("by the wood’s moisture %s to %s %% of the water %s (95 %%)", Whole(100**l.Low),
		Whole(100**l.High), still)
}

func looks(n int) string {
	if n == 2 {
		return "two looks"
	}
	return Count(n, "look")
}

// Reason says what the verdict on a leak rests on.
func (l Leak) Reason() string {
	when := "after heavy rain"
	if l.Plumbing {
		when = "since the work"
	}
	switch {
	case l.WetLook != nil:
		return "water was seen at the spot " + when + ", on " + Date(*l.WetLook, l.Zone)
	case l.Kind == Worked && l.Share != nil && *l.High < 0.5:
		return "the wood dried as its air alone would dry it; " + l.comesIn()
	case l.Kind == Worked:
		return "the spot was dry at " + looks(l.DryLooks) + " " + when + ", and wet before the work"
	case l.Kind == NoChangeShown && *l.Low > 0.5:
		return "the wood stayed wetter than its air alone would leave it; " + l.comesIn()
	case l.Kind == NoChangeShown:
		return l.comesIn() + ", and that after " + Count(int(l.DaysSince), "day")
	}
	return AirCannotTell
}

// Need says what would settle it; "" where it is settled.
func (l Leak) Need() string {
	rain := "heavy rain since the work, told by a rain gauge (rain_mm, 20 mm or more) or by a look entered as an " +
		"inspection with after_rain"
	switch {
	case l.WetLook != nil:
		return "the leak found and mended, then a look after heavy rain"
	case l.Kind != TooEarly:
		return ""
	case l.Share != nil && !l.RainFell:
		return rain
	case l.DryLooks == 1 && l.WetBefore:
		return "a second look after heavy rain, three days or more after the first"
	case l.Share != nil:
		return "wood-moisture readings over some more weeks, or two looks after heavy rain: so far " + l.comesIn()
	case l.DryLooks > 0:
		return "a note that the spot was wet before the work: an inspection with wet: yes, dated before it"
	}
	for _, s := range l.Spots {
		if s.Why == NoWoodAfter {
			return "wood-moisture readings (wood_pct) at " + s.Position + " on two days or more since the work, or a look " +
				"after heavy rain, entered as an inspection"
		}
	}
	if len(l.Spots) > 0 {
		return "a look after heavy rain, entered as an inspection (after_rain, wet): at " + l.Spots[0].Position + " " +
			l.Spots[0].Why
	}
	return WhatTellsALeak
}

// Sentence is the verdict on the leak in full.
func (l Leak) Sentence() string {
	s := l.said("the work of "+Date(l.At, l.Zone)) + ": " + l.Reason() + "."
	if l.Kind == Worked || l.Kind == NoChangeShown {
		return s
	}
	return s + " Needed: " + l.Need() + "."
}

// said is the verdict on work, named as it is, without what it rests on.
func (l Leak) said(work string) string {
	switch l.Kind {
	case Worked:
		return Upper(work) + " stopped the leak"
	case NoChangeShown:
		return Upper(work) + " has not been shown to stop the leak"
	}
	return "It is too early to say whether " + work + " stopped the leak"
}

// Brief is the verdict as what became of the water, for a list.
func (l Leak) Brief() string {
	switch l.Kind {
	case Worked:
		return "stopped"
	case NoChangeShown:
		return "not shown to have stopped"
	}
	return "too early to say"
}

// line says what one spot's wood did.
func (s WetSpot) line() string {
	if s.Why != "" {
		return "wood at " + s.Position + ": " + s.Why
	}
	return fmt.Sprintf("wood at %s: %s %% before the work, %s %% now; its air alone would have made that %s %% (%s to "+
		"%s %%)", s.Position, Fixed(s.BeforePct, 1), Fixed(s.NowPct, 1), Fixed(*s.AirPct, 1), Fixed(*s.AirLow, 1),
		Fixed(*s.AirHigh, 1))
}

// LeakLook is one inspection.
type LeakLook struct {
	At             time.Time
	What           string
	AfterRain, Wet bool
}

// line says what a look found.
func (k LeakLook) line(zone *time.Location) string {
	found, when := "dry", ""
	if k.Wet {
		found = "wet"
	}
	if k.AfterRain {
		when = " after heavy rain"
	}
	s := "looked on " + Date(k.At, zone) + when + ": " + found
	if k.What != "" {
		s += " (" + k.What + ")"
	}
	return s
}

// Lines are what the verdict on a leak was made of, a clause each.
func (l Leak) Lines() []string {
	var out []string
	for _, s := range l.Spots {
		out = append(out, s.line())
	}
	if l.Share != nil {
		out = append(out, l.comesIn())
	}
	for _, k := range l.Looks {
		out = append(out, k.line(l.Zone))
	}
	if l.RainMM != nil {
		out = append(out, "rain measured since the work: "+Fixed(*l.RainMM, 0)+" mm")
	}
	return out
}
