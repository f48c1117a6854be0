package homepage

import (
	"time"

	"dewcase/internal/words"
)

func local(zone *time.Location, layout string, t time.Time) string {
	if zone == nil {
		zone = time.UTC
	}
	return t.In(zone).Format(layout)
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

// strip lays the last nights out as bars with their words.
func strip(zone *time.Location, nights []words.Night) []bar {
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
	return out
}
