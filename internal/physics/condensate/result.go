package condensate

import (
	"fmt"
	"slices"
	"sort"
)

// Result is the balance of one surface over a record. Masses in g/m2, times in
// Unix ms, durations in hours. Condensed = evaporated + dripped + forgotten +
// left.
type Result struct {
	Settings      Settings
	ObservedH     float64
	CondensedGM2  float64
	EvaporatedGM2 float64
	DrippedGM2    float64
	ForgottenGM2  float64 // lay there when a gap began; what became of it is not known
	LeftGM2       float64 // lies there at the end
	PeakGM2       float64
	PeakMS        int64
	PeakFrostGM2  float64
	WetH, FrostH  float64 // hours with a film; of these, frozen
	Gaps, GapsWet int     // gaps, and those that began with a film

	NightsWetted  int // nights in which at least WettedGM2 condensed
	NightsSeen    int // nights with any observation
	MorningsDried int // of the wetted nights: dry by noon
	MorningsWet   int // of the wetted nights: still wet at noon
	MedianDryingH float64
	DryingKnown   bool // some film was seen from its peak until dry

	MassGM2 []float64 // at each node of the course; 0 also where nothing is known
	Nights  []Night
	Films   []Film // films that reached WettedGM2
	Melts   []Melt
	Notes   []string
}

// Morning is what was seen of a night's film at noon.
type Morning uint8

// The ways a wetted night can end.
const (
	MorningUnknown Morning = iota // noon was not observed
	MorningDried
	MorningWet
)

// Night is what became of the film in one night.
type Night struct {
	FromMS, UntilMS          int64
	ObservedH                float64
	CondensedGM2, DrippedGM2 float64
	PeakGM2                  float64
	PeakMS                   int64
	WetH                     float64
	Wetted                   bool
	Morning                  Morning // of a wetted night
}

// FilmEnd says how a film ended.
type FilmEnd uint8

// The ends of a film.
const (
	EndDried FilmEnd = iota
	EndGap
	EndRecord
)

// Film is one unbroken wetting, from the first dew to dry.
type Film struct {
	PeakMS, UntilMS int64
	PeakGM2         float64
	End             FilmEnd
}

// DryingH is how long the film took from its peak until dry, in hours; ok is
// false where its end was not seen.
func (f Film) DryingH() (hours float64, ok bool) {
	if f.End != EndDried {
		return 0, false
	}
	return float64(f.UntilMS-f.PeakMS) / float64(hourMS), true
}

// Melt is a thaw of a frosted surface: the frost of a cold spell becomes water
// at once and drips. MassGM2 is what melted, DrippedGM2 what ran off at the
// moment of the thaw because it was more than the surface holds.
type Melt struct {
	AtMS                int64
	MassGM2, DrippedGM2 float64
}

// Point is one point of a thinned course.
type Point struct {
	AtMS    int64
	MassGM2 float64
	Joined  bool // observed from here to the next point
}

// Thin gives the course of the film in at most about maxPoints points (at least
// 8): of each stretch of nodes the lowest and the highest, so that no peak is
// lost, and never across a gap.
func (r *Result) Thin(c Course, maxPoints int) []Point {
	n := len(c.AtMS)
	if n != len(r.MassGM2) || n == 0 {
		return nil
	}
	size := max(1, (2*n+max(maxPoints, 8)-1)/max(maxPoints, 8))
	var out []Point
	add := func(i int, joined bool) { out = append(out, Point{c.AtMS[i], r.MassGM2[i], joined}) }
	for i := 0; i < n; {
		end := i
		low, high := i, i
		for end < n && end-i < size {
			if r.MassGM2[end] < r.MassGM2[low] {
				low = end
			}
			if r.MassGM2[end] > r.MassGM2[high] {
				high = end
			}
			end++
			if !c.Joined[end-1] {
				break
			}
		}
		last := end - 1
		picked := []int{min(low, high)}
		if low != high {
			picked = append(picked, max(low, high))
		}
		broken := !c.Joined[last] || last == n-1
		if broken && picked[len(picked)-1] != last {
			picked = append(picked, last)
		}
		for k, p := range picked {
			add(p, !(broken && k == len(picked)-1))
		}
		i = end
	}
	return out
}

// openNight makes the night of ms the one in hand.
func (b *balance) openNight(ms int64) {
	if b.night == nil || ms >= b.noonMS {
		b.closeNight(false)
		from, until := b.nightOf(ms)
		b.night, b.noonMS = &Night{FromMS: from, UntilMS: until}, until
	}
}

// closeNight ends the night in hand; seen says that its noon was observed.
func (b *balance) closeNight(seen bool) {
	if b.night == nil {
		return
	}
	n := b.night
	n.Wetted = n.CondensedGM2 >= b.s.WettedGM2
	switch {
	case !n.Wetted || !seen:
	case b.mass < dryBelow:
		n.Morning = MorningDried
	default:
		n.Morning = MorningWet
	}
	b.res.Nights = append(b.res.Nights, *n)
	b.night = nil
}

func mod(a, m int64) int64 { return ((a % m) + m) % m }

// count counts nights and drying times.
func (r *Result) count() {
	r.NightsSeen = len(r.Nights)
	for _, n := range r.Nights {
		if !n.Wetted {
			continue
		}
		r.NightsWetted++
		switch n.Morning {
		case MorningDried:
			r.MorningsDried++
		case MorningWet:
			r.MorningsWet++
		}
	}
	var drying []float64
	for _, f := range r.Films {
		if h, ok := f.DryingH(); ok {
			drying = append(drying, h)
		}
	}
	if len(drying) > 0 {
		sort.Float64s(drying)
		k := len(drying) / 2
		r.MedianDryingH, r.DryingKnown = drying[k], true
		if len(drying)%2 == 0 {
			r.MedianDryingH = (drying[k-1] + drying[k]) / 2
		}
	}
}

func (r *Result) summarise() {
	r.count()
	r.Notes = append(r.Notes, fmt.Sprintf("masses assume a convective coefficient of %g W/(m² K) and are good to a "+
		"factor of about two; they compare well with each other", r.Settings.ConvectionWM2K))
	if r.GapsWet > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("%d of %d gaps began with a film on the surface (%.1f g/m² in all): after "+
			"each the balance starts from dry, so that later peaks are lower bounds", r.GapsWet, r.Gaps, r.ForgottenGM2))
	}
}

// Within sums the balance up over the nights that lie whole in a part of the
// record, with their thaws and with the films that were heaviest in them. A night
// that the part cuts is not in it. What lay on the surface when the part began is,
// as long as it lasts.
func (r *Result) Within(fromMS, untilMS int64) *Result {
	part := &Result{Settings: r.Settings}
	in := func(ms int64) bool {
		return slices.ContainsFunc(part.Nights, func(n Night) bool { return ms >= n.FromMS && ms < n.UntilMS })
	}
	for _, n := range r.Nights {
		if n.FromMS < fromMS || n.UntilMS > untilMS {
			continue
		}
		part.Nights = append(part.Nights, n)
		part.ObservedH += n.ObservedH
		part.CondensedGM2 += n.CondensedGM2
		part.DrippedGM2 += n.DrippedGM2
		part.WetH += n.WetH
		if n.PeakGM2 > part.PeakGM2 {
			part.PeakGM2, part.PeakMS = n.PeakGM2, n.PeakMS
		}
	}
	for _, f := range r.Films {
		if in(f.PeakMS) {
			part.Films = append(part.Films, f)
		}
	}
	for _, m := range r.Melts {
		if in(m.AtMS) {
			part.Melts = append(part.Melts, m)
		}
	}
	part.count()
	return part
}
