package homepage

import (
	"strings"
	"time"

	"dewcase/internal/words"
)

func local(zone *time.Location, layout string, t time.Time) string {
	if zone == nil {
		zone = time.UTC
	}
	return t.In(zone).Format(layout)
}

// dialled is a telephone number as a link takes it: digits, and a plus first.
func dialled(number string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r == '+' {
			return r
		}
		return -1
	}, number)
}

// Nights is how many nights the page shows.
const Nights = 14

// bar is one night of the strip.
type bar struct {
	X, Height, Top float64
	Class, Words   string
	Day            string
}

const (
	barWide  = 22.0
	barTall  = 60.0
	fullWetH = 12.0 // fills a bar: longer nights of water are as bad
)

// bars is one strip of nights; its name keeps its patterns apart from another's.
type bars struct {
	Name, Title string
	Bars        []bar
}

// strip lays nights out as bars with their words; all strips have one scale.
func strip(name, title string, zone *time.Location, nights []words.Night) bars {
	var out []bar
	for i, n := range nights {
		b := bar{X: float64(i)*barWide + 2, Day: local(zone, "2", n.From), Class: "dry", Height: 3,
			Words: local(zone, "Monday 2 January", n.From) + ": " + n.Home()}
		switch n.State {
		case words.NotSeen:
			b.Class, b.Height = "gap", barTall
		case words.BrieflyWet, words.WetNight:
			b.Class, b.Height = "wet", max(min(n.WetH/fullWetH, 1)*barTall, 3)
			if n.Frost {
				b.Class = "frost"
			}
		}
		b.Top = barTall - b.Height
		out = append(out, b)
	}
	return bars{name, title, out}
}
