package leak

import (
	"math"
	"slices"
	"time"

	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Result is what is known of one leak's repair.
type Result struct {
	Verdict words.VerdictKind `json:"verdict"`
	Reason  string            `json:"reason"`
	Needs   string            `json:"needs"`
	// The share of the water that still comes in, after over before, by the wood;
	// nil where there is no wood to tell.
	Share     *float64 `json:"share" doc:"of the water that still comes in, by the wood's moisture; 1 is as before"`
	ShareLow  *float64 `json:"share_low"`
	ShareHigh *float64 `json:"share_high"`
	Spots     []Spot   `json:"spots" doc:"wood-moisture readings against the drying that the air alone would give"`
	Looks     []Look   `json:"looks" doc:"inspections since the repair"`
	RainMM    *float64 `json:"rain_mm" doc:"measured since the repair; null without a gauge"`

	Said words.Leak `json:"-"`
}

// Spot is one position of wood.
type Spot struct {
	Position       string   `json:"position"`
	BeforePct      float64  `json:"before_pct" doc:"mean of the last 21 days before the repair, % of dry mass"`
	NowPct         float64  `json:"now_pct" doc:"mean of the last day with readings"`
	AirAlonePct    *float64 `json:"air_alone_pct" doc:"what the air alone would have made of it by then"`
	AirAloneLow    *float64 `json:"air_alone_low_pct"`
	AirAloneHigh   *float64 `json:"air_alone_high_pct"`
	DaysSince      float64  `json:"days_since" doc:"from the repair to the last reading"`
	ReadingsBefore int      `json:"readings_before"`
	ReadingsAfter  int      `json:"readings_after"`
	Why            string   `json:"why,omitempty" doc:"why it tells nothing"`

	share *share
}

// Look is an inspection.
type Look struct {
	At        time.Time   `json:"at"`
	What      string      `json:"what"`
	AfterRain roof.Answer `json:"after_rain"`
	Wet       roof.Answer `json:"wet"`
}

// Limits of the rule (package documentation).
const (
	halfShare     = 0.5 // of the water
	leastRainMM   = 20.0
	looksApart    = 3 * 24 * time.Hour
	patienceDays  = 90.0
	dryLooksAsked = 2
)

// Judge says whether the repair stopped a leak, from the record's wood and the
// inspections of the case.
func Judge(set *series.Set, e roof.Event) Result {
	until := time.UnixMilli(set.UntilMS)
	r := Result{Verdict: words.TooEarly, Spots: []Spot{}, Looks: []Look{}, RainMM: rainSince(set, e.At)}
	wetBefore := false
	for _, x := range set.Case.Events {
		if x.Kind != roof.Inspection || x.At.After(until) || x.Wet == roof.Unknown {
			continue
		}
		if x.At.Before(e.At) {
			wetBefore = wetBefore || x.Wet == roof.Yes
		} else {
			r.Looks = append(r.Looks, Look{x.At.UTC(), x.What, x.AfterRain, x.Wet})
		}
	}
	slices.SortStableFunc(r.Looks, func(a, b Look) int { return a.At.Compare(b.At) })
	for _, c := range wetSpots(set, e) {
		r.Spots = append(r.Spots, judgeSpot(set, c, e))
	}
	s := words.Leak{At: e.At, Zone: set.Case.Property.Zone, Plumbing: e.Leak == roof.PlumbingLeak,
		DaysSince: float64(until.Sub(e.At)) / float64(24*time.Hour), RainMM: r.RainMM}
	best := bestShare(r.Spots)
	if best != nil {
		r.Share, r.ShareLow, r.ShareHigh = rounded(best.best), rounded(best.low), rounded(best.high)
		s.Share, s.Low, s.High = r.Share, r.ShareLow, r.ShareHigh
		wetBefore = true
	}
	for _, x := range r.Spots {
		s.Spots = append(s.Spots, x.said())
	}
	dry, lastWet := r.dryLooks(s.Plumbing)
	s.WetLook, s.DryLooks, s.WetBefore = lastWet, dry, wetBefore
	s.RainFell = s.Plumbing || r.RainMM != nil && *r.RainMM >= leastRainMM ||
		slices.ContainsFunc(r.Looks, func(l Look) bool { return l.AfterRain == roof.Yes })
	r.decide(&s, best)
	s.Kind = r.Verdict
	for _, l := range r.Looks {
		s.Looks = append(s.Looks, words.LeakLook{At: l.At, What: l.What, AfterRain: l.AfterRain == roof.Yes,
			Wet: l.Wet == roof.Yes})
	}
	r.Said, r.Reason, r.Needs = s, s.Reason(), s.Need()
	return r
}

// decide is the rule.
func (r *Result) decide(s *words.Leak, best *share) {
	stillRuns := best != nil && best.under > halfShare && s.RainFell
	switch {
	case s.WetLook != nil:
		r.Verdict = words.NoChangeShown
	case best != nil && best.over < halfShare && s.RainFell:
		r.Verdict = words.Worked
	case s.DryLooks >= dryLooksAsked && s.WetBefore && !stillRuns:
		r.Verdict = words.Worked
	case stillRuns, best != nil && s.RainFell && s.DaysSince >= patienceDays:
		r.Verdict = words.NoChangeShown
	}
}

// dryLooks counts the dry looks after heavy rain that lie three days apart, since
// the last wet one; wet is that one where nothing dry came after it. Of a
// plumbing leak every look counts.
func (r *Result) dryLooks(plumbing bool) (dry int, wet *time.Time) {
	var last time.Time
	for _, l := range r.Looks {
		switch {
		case l.AfterRain != roof.Yes && !plumbing:
		case l.Wet == roof.Yes:
			at := l.At
			dry, wet, last = 0, &at, time.Time{}
		default:
			if last.IsZero() || l.At.Sub(last) >= looksApart {
				dry, last = dry+1, l.At
			}
			wet = nil
		}
	}
	return dry, wet
}

// wetSpots are the positions with readings of wood: those that the repair names,
// else every one that it does not leave untouched.
func wetSpots(set *series.Set, e roof.Event) []*series.Course {
	var named, all []*series.Course
	for i := range set.Courses {
		c := &set.Courses[i]
		if c.WoodPct.Len() == 0 {
			continue
		}
		if slices.Contains(e.Treats, c.Position.ID) {
			named = append(named, c)
		}
		if !set.Case.IsUntouched(c.Position) {
			all = append(all, c)
		}
	}
	if len(named) > 0 {
		return named
	}
	return all
}

// rainSince sums up what rain gauges measured since a time, the fullest of them;
// nil where none reported.
func rainSince(set *series.Set, at time.Time) *float64 {
	var most *float64
	for i := range set.Courses {
		t := set.Courses[i].RainMM
		sum, n := 0.0, 0
		for k, ms := range t.AtMS {
			if ms > at.UnixMilli() {
				sum, n = sum+t.Value[k], n+1
			}
		}
		if n > 0 && (most == nil || sum > *most) {
			sum = math.Round(sum*10) / 10
			most = &sum
		}
	}
	return most
}

// bestShare is the spot that is wettest beyond its air: the others may lie beside
// the leak.
func bestShare(spots []Spot) *share {
	var best *share
	for _, s := range spots {
		if s.share != nil && (best == nil || s.share.sourcePct > best.sourcePct) {
			best = s.share
		}
	}
	return best
}

func (s *Spot) said() words.WetSpot {
	return words.WetSpot{Position: s.Position, BeforePct: s.BeforePct, NowPct: s.NowPct, AirPct: s.AirAlonePct,
		AirLow: s.AirAloneLow, AirHigh: s.AirAloneHigh, Why: s.Why}
}

func rounded(x float64) *float64 {
	x = math.Round(x*100) / 100
	return &x
}
