package homepage

import (
	"fmt"
	"math"
	"time"

	"dewcase/internal/flow/watch"
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
	seenH    = 12.0
)

func barHeight(hours float64) float64 { return math.Min(hours/fullWetH, 1) * barTall }

func day(zone *time.Location, n watch.Night) string { return local(zone, "Mon 2 Jan", n.From) }

// strip lays the last nights out as bars with their words.
func strip(zone *time.Location, nights []watch.Night) []bar {
	var out []bar
	for i, n := range nights {
		b := bar{X: float64(i)*barWide + 2, Day: local(zone, "2", n.From), Words: local(zone, "Monday 2 January", n.From) +
			": "}
		switch {
		case n.Wet >= 1.0/6 && n.Frost > n.Wet/2:
			b.Class, b.Words = "frost", b.Words+"frost for "+hoursWords(n.Wet)
		case n.Wet >= 1.0/6:
			b.Class, b.Words = "wet", b.Words+"wet for "+hoursWords(n.Wet)
		case n.Observed < seenH:
			b.Class, b.Words = "gap", b.Words+"not seen"
		default:
			b.Class, b.Words = "dry", b.Words+"dry"
		}
		b.Height = math.Max(barHeight(n.Wet), 3)
		if b.Class == "gap" {
			b.Height = barTall
		}
		b.Top = barTall - b.Height
		out = append(out, b)
	}
	return out
}

func hoursWords(h float64) string {
	if h < 1 {
		return "less than an hour"
	}
	if n := int(math.Round(h)); n != 1 {
		return fmt.Sprintf("%d hours", n)
	}
	return "an hour"
}

// fortnightWords sums the strip up.
func fortnightWords(where string, nights []watch.Night) string {
	wet, seen := 0, 0
	least, most := math.Inf(1), 0.0
	for _, n := range nights {
		if n.Wet >= 1 {
			wet++
			least, most = math.Min(least, n.Wet), math.Max(most, n.Wet)
		}
		if n.Observed >= seenH || n.Wet >= 1 {
			seen++
		}
	}
	switch {
	case seen == 0:
		return "We have not seen a whole night yet."
	case wet == 0:
		return fmt.Sprintf("No water formed %s in the last %d nights.", where, seen)
	case wet == 1:
		return fmt.Sprintf("Water formed %s on 1 of the last %d nights, for %s.", where, seen, hoursWords(most))
	}
	span := fmt.Sprintf("%.0f to %.0f hours", least, most)
	if math.Round(least) == math.Round(most) {
		span = hoursWords(most)
	}
	return fmt.Sprintf("Water formed %s on %d of the last %d nights, %s each.", where, wet, seen, span)
}

// tonightWords says tonight's chance.
func tonightWords(p *float64, where string) string {
	switch {
	case p == nil:
		return "We cannot say yet how tonight will be."
	case *p < 0.2:
		return "Tonight will most likely stay dry."
	case *p < 0.5:
		return fmt.Sprintf("Water may form %s tonight.", where)
	case *p < 0.8:
		return fmt.Sprintf("Water is likely to form %s tonight.", where)
	}
	return fmt.Sprintf("Water will almost surely form %s tonight.", where)
}
