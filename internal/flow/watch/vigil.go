package watch

import (
	"math"
	"slices"
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/alert"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// How long at most a house goes unexamined while readings come, counted from the
// last look. A look costs milliseconds and most change nothing: what a reading can
// change at once is told from it alone.
const (
	// Hourly is how often a house is examined in any case.
	Hourly = time.Hour
	// often is for a house where something is under way that one reading does not
	// settle: a surface within edgeK of its limit, frost that thaws, a wetting that
	// ends, a limit that will have been passed for long enough. The alerts' rates
	// were newest with three looks an hour.
	often = 20 * time.Minute
	// soon is for readings out of the ordinary: of the past, as of a file, or after a
	// silence.
	soon = 5 * time.Second
	// edgeK is how near to 0 a margin of two readings that are not of the same
	// moment may lie to be taken for the other side.
	edgeK = 0.3
	// thawC is the temperature of a surface from which its frost melts, less what
	// loggers differ by.
	thawC = -0.5
	// pairedMS is how far apart two readings may lie to be held against each other;
	// silenceMS is what makes a reading one after a silence.
	pairedMS  = int64(45 * time.Minute / time.Millisecond)
	silenceMS = 3 * hourMS
	// maxTries is how often a look is repeated at once that does not find what the
	// newest readings say: the record of two loggers ends with the earlier of their
	// last readings.
	maxTries = 4
)

// Vigil watches a house between two looks: it takes each reading as it comes and
// says how soon the house is to be examined. It is not for concurrent use.
//
// What is told is nearly what a look with every reading would tell. Over 40 simulated
// winters of 60 days (TestVigilTrials, 30 November 2026) a vigil asked for 134,162
// looks where there were 345,400 readings' moments; 8 of 469 messages [0.9, 3.3 %]
// and 4 of 5,418 steps of alerts [0.03, 0.2 %] came otherwise.
type Vigil struct {
	c        *roof.Case
	surfaces []guarded
	seenMS   int64    // a reading of then or later may complete what is under way; 0 for none
	heard    []int64  // the newest reading of each of the case's loggers
	at       []newest // what is newest of each of the case's positions
}

// guarded is one surface and what the last look found there.
type guarded struct {
	surface, air int // positions; air -1 for none
	state        wetness
	frost        bool    // within the days that frost is followed
	tonightH     float64 // h of water in the running night
	ending       bool    // its wetting goes on by the rules, though it may be dry
	countsMS     int64   // while it is wet, a reading of then or later makes it count; 0 for none
	tries        int     // looks running that found it on the other side than its newest readings say
}

// wetness is whether a surface was wet at the end of what a look saw.
type wetness uint8

const (
	untold wetness = iota // not observed, or both within the hour
	dry
	wet
)

// newest is the newest of a position, NaN for what it does not measure.
type newest struct {
	ms        int64
	tempC, pa float64
}

// guard is what a look leaves of a surface to be watched.
func (w *record) guard(s surface, index map[string]int) guarded {
	g := guarded{surface: index[s.pos.ID], air: -1}
	if i, ok := index[s.pos.Meets]; ok {
		g.air = i
	}
	for i := max(0, w.n-24*filmDays); i < w.n; i++ {
		g.frost = g.frost || s.frost[i] > 0
	}
	if n := w.nights(s); len(n) > 0 {
		g.tonightH = n[len(n)-1].Wet
	}
	if i := s.lastObserved; i >= 0 {
		switch {
		case s.wet[i] == 0:
			g.state = dry
		case s.wet[i] > s.observed[i]-1e-6:
			g.state = wet
		}
	}
	return g
}

// Keep begins a vigil with what a look found; before is the vigil until then, nil
// for none, and the book the case's after the look.
func (v View) Keep(c *roof.Case, book *alert.Book, rules alert.Rules, now time.Time, before *Vigil) *Vigil {
	x := &Vigil{c: c, surfaces: v.guarded}
	if before != nil && before.c == c {
		x.heard, x.at = before.heard, before.at
	} else {
		x.heard, x.at = make([]int64, len(c.Loggers)), make([]newest, len(c.Positions))
		for i := range x.at {
			x.at[i] = newest{0, math.NaN(), math.NaN()}
		}
		for _, s := range v.loggers { // after a start no logger was silent for that
			if k := slices.IndexFunc(c.Loggers, func(l roof.Logger) bool { return l.ID == s.Logger }); k >= 0 {
				x.heard[k] = s.Last.UnixMilli()
			}
		}
		before = nil
	}
	if seen, _ := book.Due(c, rules, now); !seen.IsZero() {
		x.seenMS = seen.UnixMilli()
	}
	raise := rules[alert.SurfaceWet].Raise
	for i := range x.surfaces {
		g := &x.surfaces[i]
		for _, s := range v.Signs {
			if s.Condition != alert.SurfaceWet || s.Position != c.Positions[g.surface].ID || !s.Known {
				continue
			}
			g.ending = s.Value > 0
			short := math.Inf(1) // h of water that are wanting until something counts
			for _, least := range []float64{raise - s.Value, evidence.WetNightHours - g.tonightH} {
				if least > 0 {
					short = min(short, least)
				}
			}
			if !math.IsInf(short, 1) {
				g.countsMS = s.At.UnixMilli() + int64(short*float64(hourMS))
			}
		}
		switch now := x.side(g); {
		case g.state == untold:
			g.state = now
		case now != untold && now != g.state && before != nil:
			g.tries = before.surfaces[i].tries + 1
		}
	}
	return x
}

// side says on which side of the limit a surface is by its newest readings.
func (x *Vigil) side(g *guarded) wetness {
	switch margin := x.margin(g); {
	case margin <= 0:
		return wet
	case margin > 0:
		return dry
	}
	return untold
}

// Take takes a reading that was stored and returns how long after the last look
// the house is to be examined at the latest.
func (x *Vigil) Take(r roof.Reading) (within time.Duration) {
	k := slices.IndexFunc(x.c.Loggers, func(l roof.Logger) bool { return l.ID == r.Logger })
	if k < 0 {
		return Hourly // nothing rests on it
	}
	l, ms := x.c.Loggers[k], r.At.UnixMilli()
	since := ms - x.heard[k]
	switch {
	case r.Flags&roof.Excluding != 0:
		return often
	case since <= 0:
		return soon
	}
	x.heard[k] = ms
	if within = Hourly; since > silenceMS {
		within = soon
	}
	if x.seenMS != 0 && ms >= x.seenMS {
		within = min(within, often)
	}
	fitted := series.FittedAt(l, r.At)
	p := slices.IndexFunc(x.c.Positions, func(p roof.Position) bool { return p.ID == fitted })
	if p < 0 {
		return within
	}
	x.at[p] = measure(l, r)
	for i := range x.surfaces {
		if g := &x.surfaces[i]; g.surface == p || g.air == p {
			within = min(within, x.guard(g))
		}
	}
	return within
}

func measure(l roof.Logger, r roof.Reading) newest {
	m := newest{r.At.UnixMilli(), math.NaN(), math.NaN()}
	v := series.Calibrated(l, m.ms, r.Values)
	if t, ok := v.Get(roof.TempC); ok {
		m.tempC = t
		if rh, ok := v.Get(roof.RHPct); ok {
			if pa, err := psychro.VapourPressurePa(t, rh); err == nil {
				m.pa = pa
			}
		}
	}
	return m
}

// margin is that of a surface by the newest of it and of the air that it meets,
// NaN where they are not known or too far apart.
func (x *Vigil) margin(g *guarded) float64 {
	if g.air < 0 {
		return math.NaN()
	}
	s, air := x.at[g.surface], x.at[g.air]
	if apart := s.ms - air.ms; apart > pairedMS || apart < -pairedMS {
		return math.NaN()
	}
	return s.tempC - psychro.LimitC(max(air.pa, psychro.FloorPa))
}

// guard says how soon a surface must be looked at.
func (x *Vigil) guard(g *guarded) time.Duration {
	margin := x.margin(g)
	sure := margin <= -edgeK || margin >= edgeK
	switch {
	case g.tries > maxTries:
		return often
	case margin <= -edgeK && g.state == dry, margin >= edgeK && g.state == wet:
		return 0
	case g.state == wet && margin < edgeK && g.countsMS != 0 && max(x.at[g.surface].ms, x.at[g.air].ms) >= g.countsMS:
		return 0
	case !math.IsNaN(margin) && (!sure || g.state == untold || g.ending && margin > 0):
		return often
	case g.frost && x.at[g.surface].tempC > thawC:
		return often
	}
	return Hourly
}
