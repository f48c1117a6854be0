package words

import (
	"fmt"
	"time"
)

// Film is the dew and frost on a surface by mass balance, in g/m2, over a span.
type Film struct {
	Where        string
	PeakGM2      float64
	PeakAt       time.Time // zero without any
	FormedGM2    float64
	DrippedGM2   float64
	FilmH        float64 // hours with a film, also while it dries
	FromGM2      float64 // least mass that counts a night
	Nights, Of   int     // nights on which so much formed, of nights with readings
	DryByNoon    int     // of these nights
	WetAtNoon    int
	DryingH      *float64 // median time from the peak until dry; nil not known
	Zone         *time.Location
	RepairBefore time.Time // the repair that the span comes before, zero for none
	RepairSince  time.Time // the repair that the span begins with
}

// nights says on how many nights water formed that counts, and what that is.
func (f Film) nights() string {
	return fmt.Sprintf("on %s of %s %g g/m² or more formed, a film that can be wiped off", Int(f.Nights),
		Count(f.Of, "night"), f.FromGM2)
}

// When names the span: before the repair of 2 October; "" is the whole record.
func (f Film) When() string {
	switch {
	case !f.RepairBefore.IsZero():
		return "before the repair of " + Date(f.RepairBefore, f.Zone)
	case !f.RepairSince.IsZero():
		return "since the repair of " + Date(f.RepairSince, f.Zone)
	}
	return ""
}

// Most leads with the most water that lay there at once.
func (f Film) Most() string {
	when := f.When()
	if when != "" {
		when = Upper(when) + ", "
	}
	if f.Nights == 0 {
		return Upper(when + fmt.Sprintf("no night brought %g g/m² of water or more %s.", f.FromGM2, f.Where))
	}
	return Upper(when+fmt.Sprintf("up to %s g/m² of water lay %s at once; ", Whole(f.PeakGM2), f.Where)) + f.nights() + "."
}

// Amounts says how much formed, lay and dripped.
func (f Film) Amounts() string {
	at := ""
	if !f.PeakAt.IsZero() {
		at = " (" + Moment(f.PeakAt, f.Zone) + ")"
	}
	return fmt.Sprintf("%s g/m² formed in all and at most %s g/m² lay at once%s. %s g/m² dripped off. A film lay "+
		"for %s h.",
		Whole(f.FormedGM2), Whole(f.PeakGM2), at, Whole(f.DrippedGM2), Hours(f.FilmH))
}

// Mornings says on how many nights water formed and when it was gone.
func (f Film) Mornings() string {
	out := Upper(f.nights())
	if f.Nights == 0 {
		return out + "."
	}
	out += fmt.Sprintf(". It was gone by noon after %s of them and still there after %s", Int(f.DryByNoon),
		Int(f.WetAtNoon))
	if unseen := f.Nights - f.DryByNoon - f.WetAtNoon; unseen > 0 {
		out += "; noon was not observed after " + Int(unseen)
	}
	out += "."
	if f.DryingH != nil {
		out += " Half of the films were dry within " + Hours(*f.DryingH) + " h of their peak."
	}
	return out
}

// TowClass says a category of ISO 9223 (tau1 to tau5) so that it can be read
// without the standard: class 4 of 5.
func TowClass(category, low, high string) string {
	out := "class " + tau(category) + " of 5"
	if low != high {
		out += " (" + tau(low) + " to " + tau(high) + ")"
	}
	return out
}

func tau(category string) string {
	if n := len("tau"); len(category) == n+1 && category[:n] == "tau" {
		return category[n:]
	}
	return Missing
}
