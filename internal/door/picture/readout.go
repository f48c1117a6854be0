package picture

import (
	"fmt"
	"strings"
	"time"

	"dewcase/internal/words"
)

// Readout is what the chart says at one of its times.
type Readout struct {
	At    time.Time
	Words string
}

// Readouts say in words what the chart shows at each of its times.
func (m *MarginChart) Readouts() []Readout {
	out := make([]Readout, len(m.Time))
	for i, t := range m.Time {
		out[i] = Readout{t, m.when(t) + ": " + m.says(i)}
	}
	return out
}

func (m *MarginChart) when(t time.Time) string {
	const full = "Mon 2 Jan 2006 15:04"
	zone := zoneOf(m.Zone)
	s := t.In(zone).Format(full)
	switch end := t.Add(m.Step).In(zone); {
	case m.Step >= 24*time.Hour:
		s += " to " + end.Format(full)
	case m.Step > 0:
		s += "–" + end.Format("15:04")
	}
	return s
}

func (m *MarginChart) says(i int) string {
	mean, ok := at(m.MarginMean, i)
	if cover, known := at(m.Coverage, i); !ok || known && cover == 0 {
		return "not observed"
	}
	s := "margin " + words.Signed(mean) + " K"
	lo, ok1 := at(m.MarginMin, i)
	if hi, ok := at(m.MarginMax, i); m.Step > 0 && ok && ok1 {
		s += " (" + words.Signed(lo) + " to " + words.Signed(hi) + ")"
	}
	if x, ok := at(m.UnrepairedK, i); ok {
		s += ", without the repair " + words.Signed(x) + " K"
	}
	if x, ok := m.lately(m.SurfaceC, i); ok {
		s += " · surface " + words.Signed(x) + " °C"
	}
	if x, ok := m.lately(m.LimitC, i); ok {
		point := "dew point"
		if x < 0 {
			point = "frost point"
		}
		s += " · " + point + " of its air " + words.Signed(x) + " °C"
	}
	wet, ok := at(m.CondensingMin, i)
	risk, ok1 := at(m.AtRiskMin, i)
	switch {
	case m.Step > 0 && ok && ok1:
		s += " · wet " + minutes(wet) + ", at risk " + minutes(risk) + " of " + minutes(m.Step.Minutes())
	case mean <= 0:
		s += " · wet"
	case mean <= 1:
		s += " · near"
	}
	for _, q := range m.Strips {
		from := m.Time[i].UnixMilli()
		if x, ok := q.Course.Most(from, from+max(m.Step.Milliseconds(), 1)); ok {
			what, unit, _ := strings.Cut(q.Words, ", ")
			decimals := 0
			if x < 10 {
				decimals = 1
			}
			s += strings.TrimRight(fmt.Sprintf(" · %s %s %s", what, words.Fixed(x, decimals), unit), " ")
		}
	}
	return s
}

// lately is a column's figure at a step; among readings' own times it is the last
// one shortly before, since each has its own times.
func (m *MarginChart) lately(c Column, i int) (float64, bool) {
	for back := 0; back < 12 && back <= i; back++ {
		if x, ok := at(c, i-back); ok {
			return x, true
		}
		if m.Step > 0 {
			break
		}
	}
	return 0, false
}

func minutes(m float64) string {
	if m < 90 {
		return fmt.Sprintf("%.0f min", m)
	}
	return fmt.Sprintf("%.1f h", m/60)
}
