package words

import "fmt"

// Nights is a count of wet nights with what it is of.
type Nights struct {
	Wet, Frost int // wet nights, and how many of them were mostly frost
	Briefly    int // wet for less than a wet night asks
	Observed   int // well enough to count
	Missed     int // not observed well enough
}

// String says on how many nights it was wet: wet on 33 of 58 nights observed.
func (n Nights) String() string {
	if n.Observed == 0 {
		return "no night was observed well enough to count"
	}
	return fmt.Sprintf("wet on %d of %s observed", n.Wet, Count(n.Observed, "night"))
}

// Add counts one night more.
func (n *Nights) Add(state NightState, frost bool) {
	switch state {
	case NotSeen:
		n.Missed++
		return
	case BrieflyWet:
		n.Briefly++
	case WetNight:
		n.Wet++
		if frost {
			n.Frost++
		}
	}
	n.Observed++
}

// More says what else there is to say of the nights: those briefly wet and those
// that nobody can tell; "" where there is none.
func (n Nights) More() string {
	out := ""
	if n.Briefly > 0 {
		out = fmt.Sprintf("briefly wet on %d", n.Briefly)
		if n.Wet > 0 {
			out += " more"
		}
	}
	if n.Missed > 0 {
		if out != "" {
			out += "; "
		}
		out += Count(n.Missed, "night") + " not observed"
	}
	return out
}

// NightHours writes a night's wet hours; what is under the hour of a wet night is
// never printed as one.
func NightHours(state NightState, h float64) string {
	if state == BrieflyWet && h >= 0.95 {
		return "under 1"
	}
	return Hours(h)
}
