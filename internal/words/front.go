package words

import (
	"fmt"
	"strings"
)

// Headline is cause and verdict in a line, for the first page of a house; work is
// the latest repair at the surface shown, nil without one.
func Headline(c Cause, work *Verdict) string {
	cause := c.Brief()
	if c.Finding == Undetermined || c.Finding == "" {
		cause = "the cause cannot be told yet"
	}
	if work == nil {
		return Upper(cause) + "."
	}
	return Upper(cause) + ". " + work.Headline() + "."
}

// Plain is the ratio behind a verdict: hours measured since the repair, over
// those that the unrepaired roof would have had in the same weather.
type Plain struct {
	What                   string // hours at risk
	MeasuredH, UnrepairedH float64
	Measured, Model        *Fall
	Before, After          int // nights that count
}

// Sentence is the ratio with its interval, the model's fall beside it, and the
// nights that both rest on.
func (p Plain) Sentence() string {
	fall := func(f *Fall) string { return Change{Pct: &f.Pct, Low: &f.Low, High: &f.High}.bracketed() }
	out := fmt.Sprintf("%s: %s h measured, %s h unrepaired in like weather", Upper(p.What), Hours(p.MeasuredH),
		Hours(p.UnrepairedH))
	if p.Measured != nil {
		out += "; they " + fall(p.Measured)
	}
	out += "."
	if p.Model != nil {
		out += fmt.Sprintf(" By the model they %s.", fall(p.Model))
	}
	return fmt.Sprintf("%s %s before and %d after count.", out, Count(p.Before, "night"), p.After)
}

// Brief is what one exchange did, for a list; whether fewer hours are wet is not
// said by it.
func (x Exchange) Brief() Text {
	what := Upper(x.Figure())
	switch {
	case x.Leak != nil:
		return Say("%s: %s.", what, x.Leak.Brief())
	case x.Noticed:
		return Say("%s: changed, but not credited to the work.", what)
	case x.Kind == ExchangeUnshown:
		return Say("%s: no change shown after %s.", what, Count(x.Nights, "night"))
	case x.Kind != Changed:
		return Say("%s: too early to say.", what)
	case !x.known():
		return Say("%s: changed, sure since night %s.", what, fmt.Sprint(x.Since))
	}
	return Say("%s: changed, about %s times as before (95 %: %s to %s).", what, x.times(0, *x.Factor),
		x.times(1, *x.Low), x.times(2, *x.High))
}

// NotWetHours is said below what a work changed.
const NotWetHours = "This says nothing of wet hours."

// Rival names the second cause as what speaks against the first, with the line of
// the evidence that weighs most for it ("" none); empty where no other has a share
// worth naming.
func (c Cause) Rival(line string) string {
	if c.Finding == Undetermined || c.Finding == "" {
		return ""
	}
	for _, p := range c.Parts {
		if p.Cause != c.Finding && p.Share >= secondShare {
			said := fmt.Sprintf("%s has %s of 100 of the evidence", Upper(CauseName(p.Cause)), p.share().Words)
			if line == "" {
				return said + "."
			}
			return said + ". " + Sentence("what speaks most for it: "+strings.TrimSuffix(line, "."))
		}
	}
	return ""
}

// StillWet says of a repair that worked that the surface is not dry; empty where
// it is, or nothing was observed.
func StillWet(n Nights) string {
	if n.Wet == 0 {
		return ""
	}
	return fmt.Sprintf("Since the repair it was still %s.", n)
}

// OtherwiseAt says which surfaces have another verdict than the one shown.
func OtherwiseAt(where string, k VerdictKind) string { return Upper(where) + ": " + k.String() + "." }

// Flips says that another way of working the verdict out gives another one.
func Flips(otherwise string) string {
	return "The verdict changes if this is done otherwise: " + otherwise + "."
}

// Weeks sets the wet nights of the last week at a surface beside those of the week
// before; of a record that ended, the last week is its own.
func Weeks(where string, week, before Nights, ended bool) string {
	last := "the last week"
	if ended {
		last += " of its record"
	}
	if week.Observed == 0 {
		return Upper(where) + " not observed well enough in " + last + " to say."
	}
	out := fmt.Sprintf("%s %s in %s", Upper(where), week, last)
	earlier := fmt.Sprintf("(%d of %d)", before.Wet, before.Observed)
	// Weeks of unlike many nights observed are compared by their share.
	switch w, b := week.Wet*before.Observed, before.Wet*week.Observed; {
	case before.Observed == 0:
		return out + "; the week before was not observed."
	case w > b:
		return out + ", more than in the week before " + earlier + "."
	case w < b:
		return out + ", less than in the week before " + earlier + "."
	}
	return out + ", as in the week before " + earlier + "."
}

// MouldStrip titles the strip of mould, with its published scale.
const MouldStrip = "mould, of 6 (0 none, 3 to be seen, 6 covered)"

// What is said where a list of the first page is empty.
const (
	NothingAgainst = "No line of the evidence and no check of the verdict speaks against it."
	NothingNext    = "Nothing is open."
	NextStillWet   = "The work did what it was for, and nights are still wet: see what else would help."
	HelpComing     = "What works would do is still being worked out."
	// LookAtTheWork is what to do once a repair made a roof wetter.
	LookAtTheWork = "Look at the work together with the contractor: the roof has been wetter since."
)
