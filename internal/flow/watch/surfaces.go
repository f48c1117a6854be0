package watch

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/physics/condensate"
	"dewcase/internal/reason/alert"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// HouseholdSurfaces returns the surfaces that the household is told about. After a
// repair, untouched surfaces no longer stand for the house.
func HouseholdSurfaces(c *roof.Case, now time.Time) []roof.Position {
	if slices.ContainsFunc(c.Repairs(), func(e roof.Event) bool { return !e.At.After(now) }) {
		return c.RepresentativeSurfaces()
	}
	return c.Surfaces()
}

// wetNow is the wetting that goes on now: its hours so far, 0 once the surface is
// dry. A run bridges breaks of up to an hour, which one cold evening makes.
func (w *record) wetNow(s surface, p roof.Position) alert.Sign {
	out := alert.Sign{Condition: alert.SurfaceWet, Position: p.ID, Tell: true,
		Facts: alert.Facts{Words: words.HomeSurface(w.in.Case, p)}}
	i := s.lastObserved
	if i < 0 {
		return out
	}
	out.Known, out.At = true, s.lastObservedTime
	j, trailing := i, 0
	for j >= 0 && s.wet[j] == 0 && trailing < 2 {
		trailing++
		j--
	}
	// One dry hour ends a wetting only where the margin left the band.
	if trailing == 0 || trailing == 1 && s.marginMin[i] <= clearK {
		for gap := 0; j >= 0 && gap < 2; j-- {
			if s.wet[j] == 0 {
				gap++
				continue
			}
			gap = 0
			out.Value += s.wet[j]
			if out.From.IsZero() { // the latest hour with water: what lies there now
				out.Facts.Frozen = s.frost[j] > s.wet[j]/2
			}
			// Water fills the end of the hour it begins in.
			out.From = w.at(j).Add(time.Duration((1 - min(s.wet[j], 1)) * float64(time.Hour)))
			if j == i {
				out.From = out.At.Add(-time.Duration(s.wet[j] * float64(time.Hour)))
			}
		}
	}
	out.From = out.From.Truncate(time.Second)
	out.Since, out.Until = out.From, out.At
	out.Facts.WetHours = out.Value
	if out.Value > 0 {
		out.Facts.Detail = fmt.Sprintf("margin %s K, wet for %s", words.Signed(s.marginMin[i]),
			words.DurationHours(out.Value))
		if out.Value < alert.DefaultWetHours {
			out.Since = time.Time{}
		}
	} else {
		// Dry since the last hour with water.
		for j := i; j >= 0; j-- {
			if s.wet[j] > 0 || s.observed[j] == 0 {
				break
			}
			out.Since = w.at(j)
		}
		out.From, out.Until = time.Time{}, time.Time{}
	}
	return out
}

// clearK is the margin in K over which a surface is dry again; between 0 and this
// lies the band.
const clearK = 0.5

// Night is what one surface did in one night.
type Night struct {
	From                 time.Time // noon
	Observed, Wet, Frost float64   // h
}

// Said is the night as it is put into words.
func (n Night) Said() words.Night {
	zone := n.From.Location()
	return words.Night{From: n.From, WetH: n.Wet, Frost: evidence.FrostNight(n.Wet, n.Frost),
		State: evidence.State(n.Wet, n.Observed, evidence.NoonAfter(n.From, 1, zone).Sub(n.From).Hours())}
}

// nights sums a surface up by night. An hour that a noon divides, as on Lord
// Howe Island in half of the year, counts for each night by its share.
func (w *record) nights(s surface) []Night {
	var out []Night
	bounds := evidence.Nights(w.zone, w.in.FromMS, w.in.FromMS+int64(w.n)*hourMS)
	for _, b := range bounds {
		out = append(out, Night{From: time.UnixMilli(b.FromMS).In(w.zone)})
	}
	for i, k := 0, 0; i < w.n; i++ {
		over := float64(w.in.FromMS+int64(i+1)*hourMS-bounds[k].UntilMS) / float64(hourMS)
		out[k].add(s, i, 1-max(over, 0))
		if over >= 0 && k+1 < len(out) {
			k++
			out[k].add(s, i, over)
		}
	}
	return out
}

// add counts a share of an hour of the surface.
func (n *Night) add(s surface, hour int, share float64) {
	n.Observed += share * s.observed[hour]
	n.Wet += share * s.wet[hour]
	n.Frost += share * s.frost[hour]
}

// Nights gives the surface's nights within the rows, for pages.
func Nights(in Input, surfaceID string) []Night {
	w := in.record()
	for _, s := range w.surfaces {
		if s.pos.ID == surfaceID {
			return w.nights(s)
		}
	}
	return nil
}

// Last gives the last so many nights. The running one says nothing until it is
// wet: it is neither dry nor missed, and gives its place to an earlier one.
func Last(nights []Night, count int) []Night {
	if n := len(nights) - 1; n >= count && !evidence.WetNight(nights[n].Wet) {
		nights = nights[:n]
	}
	return nights[max(0, len(nights)-count):]
}

// wetNights counts the wet nights of the last seven, the running one included
// once it is wet.
func (w *record) wetNights(s surface, p roof.Position) alert.Sign {
	out := alert.Sign{Condition: alert.WetNights, Position: p.ID, Tell: true,
		Facts: alert.Facts{Words: words.HomeSurface(w.in.Case, p)}}
	all := Last(w.nights(s), 7)
	hours := 0.0
	for _, n := range all {
		if evidence.WetNight(n.Wet) {
			if out.Facts.Nights == 0 {
				out.From = n.From
			}
			out.Facts.Nights++
			hours += n.Wet
		}
		if n.Said().State != words.NotSeen {
			out.Facts.Seen++
		}
	}
	out.Value, out.Facts.WetHours = float64(out.Facts.Nights), hours
	// With half the week unseen a fall cannot be told from a gap.
	out.Known = s.lastObserved >= 0 && (out.Facts.Seen >= 4 || out.Facts.Nights >= 2)
	out.At, out.Until = s.lastObservedTime, s.lastObservedTime
	out.Facts.Detail = fmt.Sprintf("wet on %d of %s observed of the last %s, %s h in all", out.Facts.Nights,
		words.Count(out.Facts.Seen, "night"), words.Count(len(all), "night"), words.Hours(hours))
	return out
}

// filmDays is how far back frost is followed.
const filmDays = 6

// melting follows the film of frost on a surface by its hourly means and gives
// what melted within the last six hours, or melts now.
func (w *record) melting(s surface, p roof.Position) alert.Sign {
	out := alert.Sign{Condition: alert.FrostMelting, Position: p.ID, Tell: true,
		Facts: alert.Facts{Words: words.HomeSurface(w.in.Case, p)}}
	i := s.lastObserved
	if i < 0 {
		return out
	}
	out.Known, out.At, out.Since = true, s.lastObservedTime, time.Time{}
	from := max(0, i-24*filmDays)
	if !slices.ContainsFunc(s.frost[from:i+1], func(h float64) bool { return h > 0 }) {
		return out
	}
	c := condensate.Course{}
	for j := from; j <= i; j++ {
		if math.IsNaN(s.tempC[j]) || math.IsNaN(s.airPa[j]) || s.observed[j] == 0 {
			continue
		}
		ms := w.in.FromMS + int64(j)*hourMS + hourMS/2
		if k := len(c.AtMS); k > 0 {
			c.Joined[k-1] = ms-c.AtMS[k-1] <= 2*hourMS
		}
		c.AtMS, c.SurfaceC, c.VapourPa, c.Joined = append(c.AtMS, ms), append(c.SurfaceC, s.tempC[j]),
			append(c.VapourPa, s.airPa[j]), append(c.Joined, false)
	}
	r, err := condensate.Run(c, condensate.Settings{}, evidence.Bounds(w.zone))
	if err != nil {
		return out
	}
	for _, m := range r.Melts {
		if at := time.UnixMilli(m.AtMS).UTC(); out.At.Sub(at) <= 6*time.Hour {
			out.Value = max(out.Value, m.MassGM2)
			out.From, out.Until = at.Add(-12*time.Hour), at.Add(2*time.Hour)
		}
	}
	if out.Value > 0 {
		out.Facts.Detail = fmt.Sprintf("about %.0f g/m² of frost melted (good to a factor of two)", out.Value)
	}
	return out
}

// Bounds of a sudden wetting.
const (
	suddenPa   = 180.0 // Pa above the usual, at least: a cooked meal raises a leaky loft by less over six hours
	suddenDays = 10    // days of the roof's own before anything is sudden
	robustK    = 5.0   // in robust standard deviations (1.4826 MAD)
)

// sudden finds vapour of loft or void that rose at once far above what this roof
// is used to, where the cold does not explain it: cold lowers vapour, so that a
// rise of vapour above outdoors while the loft did not warm is water from
// elsewhere. The value is 1 at the limit.
func (w *record) sudden() (out []alert.Sign) {
	for _, a := range w.airs {
		if a.pos.Place != w.lofts() {
			continue // the void thaws and dries in the sun by itself
		}
		s := alert.Sign{Condition: alert.SuddenWetting, Position: a.pos.ID, Tell: true,
			Facts: alert.Facts{Words: "in the loft"}}
		if v, detail, at, ok := w.suddenAt(a); ok {
			s.Known, s.At, s.Value, s.Facts.Detail = true, at, v, detail
			s.From, s.Until = at.Add(-36*time.Hour), at
		}
		out = append(out, s)
	}
	return out
}

func (w *record) suddenAt(a air) (value float64, detail string, at time.Time, ok bool) {
	if w.outPa == nil || w.n < 24*suddenDays {
		return 0, "", at, false
	}
	day := func(end int) (excess, temp float64, ok bool) {
		n := 0
		for j := max(0, end-24); j < end; j++ {
			if d := a.pa[j] - w.outPa[j]; !math.IsNaN(d) {
				excess += d
				temp += a.tempC[j]
				n++
			}
		}
		return excess / float64(max(n, 1)), temp / float64(max(n, 1)), n >= 16
	}
	last := w.n
	for last > 0 && math.IsNaN(a.pa[last-1]-w.outPa[max(last-1, 0)]) {
		last--
	}
	now, temp, seen := day(last)
	if !seen {
		return 0, "", at, false
	}
	var usual, temps []float64
	for end := last - 36; end >= 24; end -= 24 {
		if x, t, ok := day(end); ok {
			usual, temps = append(usual, x), append(temps, t)
		}
	}
	if len(usual) < suddenDays-2 {
		return 0, "", at, false
	}
	mid := evidence.Median(usual)
	spread := make([]float64, len(usual))
	for i, x := range usual {
		spread[i] = math.Abs(x - mid)
	}
	limit := max(suddenPa, robustK*1.4826*evidence.Median(spread))
	at = w.at(last)
	if at.After(w.in.Now) {
		at = w.in.Now
	}
	// Thawing frost and sun-warmed damp timber give vapour too: a loft that
	// became warmer by more than 4 K is not judged.
	if temp > evidence.Median(temps)+4 {
		return 0, "", at, true
	}
	return max(0, (now-mid)/limit), fmt.Sprintf("vapour %.0f Pa above outdoors over the last day, usually %.0f", now, mid),
		at, true
}
