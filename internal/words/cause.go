package words

import (
	"fmt"
	"time"
)

// Strength is how sure a finding is, as the contract says it.
type Strength string

// The strengths; none while the cause cannot be told.
const (
	Strong   Strength = "strong"
	Probable Strength = "probable"
)

// Undetermined is the contract's finding that names no cause.
const Undetermined = "undetermined"

// NoneFound and Dew are the findings that are no defect.
const (
	NoneFound = "none_found"
	Dew       = "night_sky_cooling"
)

// causes name each cause of the contract for its readers: as a noun that follows
// "probably", and as where a household's water comes from.
var causes = map[string]struct{ name, home string }{
	"ceiling_leakage": {"house air through a leaky ceiling", "damp air from the rooms that gets into the loft"},
	"unvented_batten_void": {"vapour that passed the underlay and could not leave the batten void",
		"damp air that gets in under the covering and cannot get out"},
	Dew:                     {"dew from outdoor air on clear nights, which is no defect", ""},
	"water_ingress":         {"water getting in, by rain or plumbing", "rain or a pipe that lets water in"},
	"construction_moisture": {"a building that is still drying out", "a building that is still drying out"},
	"blocked_ventilation": {"ventilation openings that do not work",
		"damp air that stays in the loft, as its openings do not work"},
	NoneFound:    {"no condensation problem", ""},
	Undetermined: {"cannot be told yet", ""},
}

// CauseName names a cause of the contract: house air through a leaky ceiling.
func CauseName(key string) string { return causes[key].name }

// Part is a cause with its share of the evidence, 0 to 1.
type Part struct {
	Cause string
	Share float64
	From  string // path of the share in the assessment; "" none
}

func (p Part) share() Run { return Run{Words: Of100(p.Share), From: p.From, Scale: 100} }

// Cause is a finding: which cause the evidence supports.
type Cause struct {
	Finding  string // of the contract
	Strength Strength
	Parts    []Part    // by their share, most first
	With     string    // a cause that may be there as well; "" none
	Repair   time.Time // only the time before this repair was looked at; zero: all of it
	Zone     *time.Location
}

// secondShare is the share from which the runner-up stands in the headline.
const secondShare = 0.05

// namedShare is the share under which a cause that is not settled is not named
// in a headline: less than half of the evidence.
const namedShare = 0.5

// Sentence is the finding with its share and the runner-up.
func (c Cause) Sentence() Text {
	before := ""
	if !c.Repair.IsZero() {
		before = "before the repair of " + Date(c.Repair, c.Zone) + ", "
	}
	if c.Finding == Undetermined {
		none := Bold(Upper(before + "the cause cannot be told yet"))
		switch {
		case len(c.Parts) == 0:
			return Say("%s.", none)
		case c.Parts[0].Share < namedShare:
			return Say("%s: none has half of the evidence.", none)
		}
		return append(Say("%s. Most of the evidence is for %s (%s of 100).", none, CauseName(c.Parts[0].Cause),
			c.Parts[0].share()), c.second(c.Parts[0].Cause)...)
	}
	how := "probably "
	if c.Strength == Strong {
		how = "strongly supported: "
	}
	t := Say("%s", Bold(Upper(before+how+CauseName(c.Finding))))
	if c.With != "" {
		t = append(t, Run{Words: ", possibly together with " + CauseName(c.With)})
	}
	for _, p := range c.Parts {
		if p.Cause == c.Finding {
			t = append(t, Say(" (%s of 100)", p.share())...)
		}
	}
	return append(append(t, Run{Words: "."}), c.second(c.Finding)...)
}

// second names the runner-up.
func (c Cause) second(first string) Text {
	for _, p := range c.Parts {
		if p.Cause != first && p.Share >= secondShare {
			return Say(" Second: %s (%s).", CauseName(p.Cause), p.share())
		}
	}
	return nil
}

// Brief is the finding for a list: probably house air through a leaky ceiling.
func (c Cause) Brief() string {
	switch {
	case c.Finding == Undetermined || c.Finding == "":
		return "cause not told yet"
	case c.Strength == Strong:
		return CauseName(c.Finding)
	}
	return "probably " + CauseName(c.Finding)
}

// Listed is the same with its share of the evidence, and whether it is of the time
// before a repair.
func (c Cause) Listed() string {
	when := ""
	if !c.Repair.IsZero() {
		when = ", before the repair"
	}
	for _, p := range c.Parts {
		if p.Cause == c.Finding && c.Finding != Undetermined {
			return fmt.Sprintf("%s (%s of 100%s)", c.Brief(), p.share().Words, when)
		}
	}
	return c.Brief() + when
}

// Home is where the water comes from, as surely as the diagnosis says; once there
// was a repair, where it came from before that.
func (c Cause) Home() string {
	before, from, is, probably := "The water ", "comes from ", "is ", "probably "
	cannot, nothing := "We cannot tell yet where the water comes from.",
		"We have found nothing wrong with the roof so far."
	if !c.Repair.IsZero() {
		work := "the work of " + Day(c.Repair, c.Zone)
		before, from, is = "Before "+work+" the water ", "came from ", "was "
		cannot, nothing = "We cannot tell where the water came from before "+work+".",
			"We found nothing wrong with the roof before "+work+"."
	}
	if c.Strength == Strong {
		probably = ""
		if c.Repair.IsZero() {
			nothing = "We have found nothing wrong with the roof."
		}
	}
	switch c.Finding {
	case Undetermined, "":
		return cannot
	case NoneFound:
		return nothing
	case Dew:
		return before + is + probably + "dew from the air outside. Dew does no harm on a sound roof."
	}
	return before + probably + from + causes[c.Finding].home + "."
}

// Defect reports that a cause is named which is something wrong with the roof.
func (c Cause) Defect() bool {
	return c.Finding != "" && c.Finding != Undetermined && c.Finding != NoneFound && c.Finding != Dew
}
