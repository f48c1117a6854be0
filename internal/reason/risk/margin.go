// Package risk computes the margin to condensation from a surface's
// temperature and the vapour pressure of the air that meets it, and the time
// spent wet, at risk and frosted, as the design defines them: linear between
// readings, nothing in a gap.
package risk

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// ErrNotComputable is wrapped when a surface has no margin, with the reason in
// words for the reader.
var ErrNotComputable = errors.New("not computable")

// Course is the margin of one surface over time at the union of the surface's
// and the air's reading times. Joined[i]: both were observed from AtMS[i] to
// AtMS[i+1], and the margin runs linearly between. Values at a node that
// neither neighbouring interval uses are 0 and mean nothing.
type Course struct {
	Surface, Air string
	AtMS         []int64
	MarginK      []float64
	SurfaceC     []float64
	AirPa        []float64
	AirC         []float64
	Joined       []bool
	surface, air []series.Stint
}

// Margin computes a surface's margin course:
//
//	margin = T_surface - limit(p_air)
//
// with the limit of psychro.LimitC (frost point below 611.2 Pa, dew point
// above). An error wraps ErrNotComputable and says in words what is missing.
func Margin(set *series.Set, surfaceID string) (Course, error) {
	s := set.Course(surfaceID)
	if s == nil {
		return Course{}, fmt.Errorf("surface %s: the case has no such position: %w", surfaceID, ErrNotComputable)
	}
	if s.Position.Meets == "" {
		return Course{Surface: surfaceID}, fmt.Errorf(
			"surface %s: the case file does not say which air meets it (key meets): %w", surfaceID, ErrNotComputable)
	}
	air := set.Course(s.Position.Meets)
	c := Course{Surface: surfaceID, Air: s.Position.Meets}
	if air == nil {
		return c, fmt.Errorf("surface %s: its air position %s is not in the case: %w", surfaceID, c.Air, ErrNotComputable)
	}
	if s.TempC.Len() == 0 {
		return c, fmt.Errorf("surface %s: no temperature was measured there: %w", surfaceID, ErrNotComputable)
	}
	if air.VapourPa.Len() == 0 {
		return c, fmt.Errorf("surface %s: no temperature and humidity were measured together in its air (%s): %w", surfaceID,
			c.Air, ErrNotComputable)
	}
	c.surface, c.air = s.Stints, air.Stints
	c.join(s.TempC, air.VapourPa, air.TempC)
	return c, nil
}

// join walks both tracks in step and lays down the union of their times.
func (c *Course) join(surface, vapour, airTemp series.Track) {
	n := surface.Len() + vapour.Len()
	c.AtMS = make([]int64, 0, n)
	c.SurfaceC, c.AirPa, c.AirC = make([]float64, 0, n), make([]float64, 0, n), make([]float64, 0, n)
	c.MarginK, c.Joined = make([]float64, 0, n), make([]bool, 0, n)
	s, v, t := cursor{track: surface}, cursor{track: vapour}, cursor{track: airTemp}
	for {
		ms, ok := earlier(&s, &v)
		if !ok {
			break
		}
		ts, okS := s.at(ms)
		p, okV := v.at(ms)
		ta, _ := t.at(ms)
		m := 0.0
		if okS && okV {
			m = ts - psychro.LimitC(p)
		}
		c.AtMS, c.MarginK = append(c.AtMS, ms), append(c.MarginK, m)
		c.SurfaceC, c.AirPa, c.AirC = append(c.SurfaceC, ts), append(c.AirPa, p), append(c.AirC, ta)
		c.Joined = append(c.Joined, s.open() && v.open())
	}
	if k := len(c.Joined); k > 0 {
		c.Joined[k-1] = false
	}
}

// cursor reads a track at rising times without searching.
type cursor struct {
	track series.Track
	next  int // first reading later than the last time asked for
}

func earlier(a, b *cursor) (int64, bool) {
	okA, okB := a.next < a.track.Len(), b.next < b.track.Len()
	switch {
	case okA && okB:
		return min(a.track.AtMS[a.next], b.track.AtMS[b.next]), true
	case okA:
		return a.track.AtMS[a.next], true
	case okB:
		return b.track.AtMS[b.next], true
	}
	return 0, false
}

// at moves to ms and gives the value there, if an observed interval touches it.
func (c *cursor) at(ms int64) (float64, bool) {
	for c.next < c.track.Len() && c.track.AtMS[c.next] <= ms {
		c.next++
	}
	i := c.next - 1
	if i < 0 {
		return 0, false
	}
	if c.track.AtMS[i] == ms {
		return c.track.Value[i], c.track.Joined[i] || i > 0 && c.track.Joined[i-1]
	}
	if !c.track.Joined[i] {
		return 0, false
	}
	f := float64(ms-c.track.AtMS[i]) / float64(c.track.AtMS[i+1]-c.track.AtMS[i])
	return c.track.Value[i] + f*(c.track.Value[i+1]-c.track.Value[i]), true
}

// open reports whether the interval that starts at the last time asked for was
// observed.
func (c *cursor) open() bool { return c.next > 0 && c.track.Joined[c.next-1] }

// Piece is one observed stretch of the margin, linear throughout.
type Piece struct {
	FromMS, UntilMS    int64
	MarginA, MarginB   float64
	SurfaceA, SurfaceB float64
	AirPa, AirC        float64 // at the middle, for sensitivities
}

// Pieces calls each for every observed stretch within [fromMS, untilMS), cut at
// the bounds.
func (c *Course) Pieces(fromMS, untilMS int64, each func(Piece)) {
	lo, hi := 0, len(c.AtMS)
	for lo < hi {
		m := (lo + hi) / 2
		if c.AtMS[m] > fromMS {
			hi = m
		} else {
			lo = m + 1
		}
	}
	for i := max(lo-1, 0); i < len(c.AtMS)-1 && c.AtMS[i] < untilMS; i++ {
		if !c.Joined[i] || c.AtMS[i+1] <= fromMS {
			continue
		}
		p := Piece{FromMS: c.AtMS[i], UntilMS: c.AtMS[i+1], MarginA: c.MarginK[i], MarginB: c.MarginK[i+1],
			SurfaceA: c.SurfaceC[i], SurfaceB: c.SurfaceC[i+1],
			AirPa: (c.AirPa[i] + c.AirPa[i+1]) / 2, AirC: (c.AirC[i] + c.AirC[i+1]) / 2}
		each(p.within(fromMS, untilMS))
	}
}

func (p Piece) within(fromMS, untilMS int64) Piece {
	d := float64(p.UntilMS - p.FromMS)
	m, s := p.MarginB-p.MarginA, p.SurfaceB-p.SurfaceA
	q := p
	if p.FromMS < fromMS {
		f := float64(fromMS-p.FromMS) / d
		q.FromMS, q.MarginA, q.SurfaceA = fromMS, p.MarginA+f*m, p.SurfaceA+f*s
	}
	if p.UntilMS > untilMS {
		f := float64(untilMS-p.FromMS) / d
		q.UntilMS, q.MarginB, q.SurfaceB = untilMS, p.MarginA+f*m, p.SurfaceA+f*s
	}
	return q
}

// Spell is observed time summed up by state. At risk includes condensing, and
// frost is the part of condensing with the surface below 0 C. Times in ms.
type Spell struct {
	ObservedMS, CondensingMS, AtRiskMS, FrostMS float64
	MarginMean, MarginMin, MarginMax            float64 // K; meaningless where nothing was observed
}

func (s *Spell) add(p Piece) {
	d := float64(p.UntilMS - p.FromMS)
	lo, hi := math.Min(p.MarginA, p.MarginB), math.Max(p.MarginA, p.MarginB)
	if s.ObservedMS == 0 {
		s.MarginMin, s.MarginMax = lo, hi
	} else {
		s.MarginMin, s.MarginMax = math.Min(s.MarginMin, lo), math.Max(s.MarginMax, hi)
	}
	s.ObservedMS += d
	s.MarginMean += (p.MarginA + p.MarginB) / 2 * d // a sum until finish divides it
	wetA, wetB := below(p.MarginA, p.MarginB, 0)
	s.CondensingMS += (wetB - wetA) * d
	riskA, riskB := below(p.MarginA, p.MarginB, evidence.AtRiskK)
	s.AtRiskMS += (riskB - riskA) * d
	// Below 0 C is strict: a surface that stays at 0.0 C is wet, not frosted.
	if wetB > wetA && (p.SurfaceA < 0 || p.SurfaceB < 0) {
		coldA, coldB := below(p.SurfaceA, p.SurfaceB, 0)
		s.FrostMS += math.Max(0, math.Min(wetB, coldB)-math.Max(wetA, coldA)) * d
	}
}

func (s *Spell) finish() {
	if s.ObservedMS > 0 {
		s.MarginMean /= s.ObservedMS
	}
}

// below is the part of a linear stretch from a to b, as fractions of its
// length, on which it is at or below the limit.
func below(a, b, limit float64) (from, until float64) {
	switch {
	case a <= limit && b <= limit:
		return 0, 1
	case a > limit && b > limit:
		return 0, 0
	case a <= limit:
		return 0, (limit - a) / (b - a)
	}
	return (a - limit) / (a - b), 1
}

// Sum returns the whole of [fromMS, untilMS) as one spell.
func (c *Course) Sum(fromMS, untilMS int64) Spell {
	var s Spell
	c.Pieces(fromMS, untilMS, s.add)
	s.finish()
	return s
}

// BinsUntil sums the margin up over [fromMS, untilMS) in steps of stepMS, of
// which the end may cut the last.
func (c *Course) BinsUntil(fromMS, untilMS, stepMS int64) []Spell {
	out := make([]Spell, (untilMS-fromMS+stepMS-1)/stepMS)
	c.Pieces(fromMS, untilMS, func(p Piece) {
		for p.FromMS < p.UntilMS {
			k := (p.FromMS - fromMS) / stepMS
			end := fromMS + (k+1)*stepMS
			out[k].add(p.within(p.FromMS, end))
			if end >= p.UntilMS {
				break
			}
			p = p.within(end, p.UntilMS)
		}
	})
	for k := range out {
		out[k].finish()
	}
	return out
}

// Accurate reports whether every logger behind the course states the accuracy
// that its hours depend on, and names the first that does not.
func (c *Course) Accurate() (missing string, ok bool) {
	for _, s := range c.surface {
		if _, ok := evidence.ErrorOf(s, roof.TempC); !ok {
			return s.Logger + " (temperature)", false
		}
	}
	for _, s := range c.air {
		if _, ok := evidence.ErrorOf(s, roof.TempC); !ok {
			return s.Logger + " (temperature)", false
		}
		if _, ok := evidence.ErrorOf(s, roof.RHPct); !ok {
			return s.Logger + " (humidity)", false
		}
	}
	return "", true
}

// At returns the margin in K at a time in Unix ms; ok is false where it was not
// observed.
func (c *Course) At(ms int64) (marginK float64, ok bool) {
	i, found := slices.BinarySearch(c.AtMS, ms)
	if found {
		return c.MarginK[i], c.Joined[i] || i > 0 && c.Joined[i-1]
	}
	if i == 0 || !c.Joined[i-1] {
		return 0, false
	}
	f := float64(ms-c.AtMS[i-1]) / float64(c.AtMS[i]-c.AtMS[i-1])
	return c.MarginK[i-1] + f*(c.MarginK[i]-c.MarginK[i-1]), true
}
