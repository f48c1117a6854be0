package picture

import (
	"slices"
	"time"
)

// tick is a mark on a time axis.
type tick struct {
	at    time.Time
	label string
	major bool // begins a day, month or year
}

// stride is a step of the calendar.
type stride struct {
	upTo   time.Duration // longest span it is used for
	months int
	days   int
	hours  int
	mins   int
	layout string
}

// The strides keep a phone's axis below about eight labels.
var strides = []stride{
	{upTo: 20 * time.Minute, mins: 5, layout: "15:04"},
	{upTo: 90 * time.Minute, mins: 15, layout: "15:04"},
	{upTo: 4 * time.Hour, mins: 30, layout: "15:04"},
	{upTo: 8 * time.Hour, hours: 1, layout: "15:04"},
	{upTo: 26 * time.Hour, hours: 4, layout: "15:04"},
	{upTo: 50 * time.Hour, hours: 12, layout: "Mon 15:04"},
	{upTo: 8 * 24 * time.Hour, days: 1, layout: "2 Jan"},
	{upTo: 16 * 24 * time.Hour, days: 2, layout: "2 Jan"},
	{upTo: 50 * 24 * time.Hour, days: 7, layout: "2 Jan"},
	{upTo: 100 * 24 * time.Hour, days: 14, layout: "2 Jan"},
	{upTo: 420 * 24 * time.Hour, months: 1, layout: "Jan"},
	{upTo: 1e18, months: 6, layout: "Jan 2006"},
}

// timeTicks are the marks of [from, until) in local time.
func timeTicks(from, until time.Time, zone *time.Location) []tick {
	zone = zoneOf(zone)
	span := until.Sub(from)
	st := strides[len(strides)-1]
	for _, s := range strides {
		if span <= s.upTo {
			st = s
			break
		}
	}
	f := from.In(zone)
	var t time.Time
	switch {
	case st.months > 0:
		t = time.Date(f.Year(), (f.Month()-1)/time.Month(st.months)*time.Month(st.months)+1, 1, 0, 0, 0, 0, zone)
	case st.days > 0:
		t = time.Date(f.Year(), f.Month(), 1, 0, 0, 0, 0, zone)
	default:
		t = time.Date(f.Year(), f.Month(), f.Day(), 0, 0, 0, 0, zone)
	}
	var out []tick
	for i := 0; t.Before(until) && i < 2000; i++ {
		if !t.Before(from) {
			k := tick{at: t, label: t.Format(st.layout), major: t.Hour() == 0 && t.Minute() == 0}
			if st.layout == "15:04" && k.major {
				k.label = t.Format("Mon 2 Jan")
			}
			// Room on a phone: the month is said once and where it changes.
			if st.days > 0 && len(out) > 0 && out[len(out)-1].at.In(zone).Month() == t.Month() {
				k.label = t.Format("2")
			}
			if st.months > 0 && t.Month() == time.January || len(out) == 0 && st.months > 0 {
				k.label = t.Format("Jan 2006")
			}
			out = append(out, k)
		}
		t = st.next(t, zone)
	}
	return out
}

// next is the following mark; days of the month restart on the first, so that
// every month shows the same days.
func (st stride) next(t time.Time, zone *time.Location) time.Time {
	switch {
	case st.months > 0:
		return time.Date(t.Year(), t.Month()+time.Month(st.months), 1, 0, 0, 0, 0, zone)
	case st.days > 0:
		n := time.Date(t.Year(), t.Month(), t.Day()+st.days, 0, 0, 0, 0, zone)
		first := time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, zone)
		if st.days > 1 && first.Sub(n) < time.Duration(st.days)*12*time.Hour {
			return first
		}
		return n
	case st.hours > 0:
		return t.Add(time.Duration(st.hours) * time.Hour)
	}
	return t.Add(time.Duration(st.mins) * time.Minute)
}

func (m *MarginChart) ticks(s *Scene, top, bottom float64) {
	for _, t := range timeTicks(m.From, m.Until, m.Zone) {
		s.add(Item{Kind: Rule, Class: "grid", X: m.x(t.at), Y: top, Y2: bottom})
	}
}

func (m *MarginChart) timeLabels(s *Scene, y float64) { timeLabels(s, y, m.From, m.Until, m.Zone) }

func timeLabels(s *Scene, y float64, from, until time.Time, zone *time.Location) {
	labels(s, y, from, until, timeTicks(from, until, zone))
}

// A picture keeps its letters' size at any width, so that labels must keep their
// distance where it is narrowest: a phone's plot, px, and a tick's letter, px.
const (
	narrowPx = 320.0
	letterPx = 6.8
	apartPx  = 5.0
)

// labels writes the ticks' labels below an axis. Where there is no room for two,
// the longer stands, which is that of the date, the month or the year.
func labels(s *Scene, y float64, from, until time.Time, ticks []tick) {
	type box struct{ from, to float64 }
	var taken []box
	share := func(t tick) float64 { return float64(t.at.Sub(from)) / float64(max(until.Sub(from), 1)) }
	slices.SortStableFunc(ticks, func(a, b tick) int { return len(b.label) - len(a.label) })
	for _, t := range ticks {
		x := share(t) * narrowPx
		b := box{x, x + letterPx*float64(len(t.label))}
		if b.to > narrowPx+apartPx || slices.ContainsFunc(taken, func(o box) bool {
			return b.from < o.to+apartPx && o.from < b.to+apartPx
		}) {
			continue
		}
		taken = append(taken, b)
		s.add(Item{Kind: Label, Class: "tick", Text: t.label, X: share(t) * s.Span, Y: y, DX: 2})
	}
}
