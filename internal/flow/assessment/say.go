package assessment

import (
	"fmt"
	"strings"

	"dewcase/internal/reason/mechanism"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Verdict is what is said of the i-th repair.
func (a Assessment) Verdict(c *roof.Case, i int) words.Verdict {
	r := a.Repairs[i]
	path := func(names ...string) (out [3]string) {
		for k, n := range names {
			out[k] = fmt.Sprintf("repairs.%d.%s", i, n)
		}
		return out
	}
	var leak *words.Leak
	if r.OfLeak() {
		leak = &r.Leak.Said
	}
	return words.Verdict{Kind: words.VerdictKind(r.Verdict), At: r.At, Zone: c.Property.Zone, Leak: leak,
		Where: words.SurfaceOf(c, r.Surface), Needs: r.Needs,
		Wet: words.Change{What: words.WetHours, Pct: r.ReductionPct, Low: r.LowPct, High: r.HighPct,
			From: path("reduction_pct", "low_pct", "high_pct")},
		Risk: words.Change{What: words.RiskHours, Pct: r.AtRiskReductionPct, Low: r.AtRiskLowPct, High: r.AtRiskHighPct,
			From: path("at_risk_reduction_pct", "at_risk_low_pct", "at_risk_high_pct")},
		Water: words.Change{What: words.Water, Pct: r.CondensateReductionPct, Low: r.CondensateLowPct,
			High: r.CondensateHighPct,
			From: path("condensate_reduction_pct", "condensate_low_pct", "condensate_high_pct")}}
}

// Leak is what a verdict on a leak was made of, a sentence each; none where the
// repair is not said to have stopped one.
func Leak(r Repair) []string {
	if r.Leak == nil {
		return nil
	}
	out := []string{}
	if !r.OfLeak() {
		out = append(out, r.Leak.Said.Sentence())
	}
	for _, line := range r.Leak.Said.Lines() {
		out = append(out, words.Sentence(line))
	}
	return out
}

// Exchanges are what is said of what the i-th repair changed; it says nothing of
// wet hours, and the verdict says nothing of these.
func (a Assessment) Exchanges(i int) []words.Exchange {
	var out []words.Exchange
	for k, x := range a.Repairs[i].Exchanges {
		said := x.Said
		said.From = fmt.Sprintf("repairs.%d.mechanism.%d", i, k)
		out = append(out, said)
	}
	return out
}

// unseenLoft is the factor below which the best estimate of an opened loft's
// exchange speaks for openings that do not work: without it the half of good vents
// that is not found would be asked after.
const unseenLoft = 1.5

// Unseen asks after openings that the i-th repair was to make and that do not show
// in the air; empty for none.
func (a Assessment) Unseen(c *roof.Case, i int) string {
	var out []string
	for _, x := range a.Repairs[i].Exchanges {
		if x.Verdict != mechanism.NoChangeShown || !x.Credited || !c.Opens(a.Repairs[i].At, x.What) ||
			x.What == roof.LoftVentilation && *x.Factor >= unseenLoft {
			continue
		}
		out = append(out, x.Said.Question())
	}
	return strings.Join(out, "; ")
}

// Cause is what is said of the finding.
func (a Answer) Cause(c *roof.Case) words.Cause {
	f := a.Finding
	out := words.Cause{Finding: string(f.Finding), Strength: words.Strength(f.Strength), With: string(f.With),
		Repair: f.Window.Repair, Zone: c.Property.Zone}
	for i, s := range f.Causes {
		p := words.Part{Cause: string(s.Cause), Share: s.Support}
		if i < len(a.Diagnosis.Causes) { // as printed
			p.Share, p.From = a.Diagnosis.Causes[i].Support, fmt.Sprintf("diagnosis.causes.%d.support", i)
		}
		out.Parts = append(out.Parts, p)
	}
	return out
}

// Hours is what is said of how long a surface was wet: in all, or before the
// latest repair and since.
func (a Assessment) Hours(i int) words.SurfaceRecord {
	s, at := a.Surfaces[i], fmt.Sprintf("surfaces.%d.", i)
	if len(s.Spans) == 0 {
		return words.SurfaceRecord{Spans: []words.Span{{At: at, ObservedH: s.HoursObserved, WetH: s.HoursCondensing,
			LowH: s.HoursCondensingLow, HighH: s.HoursCondensingHigh, FrostH: s.FrostHours, AtRiskH: s.HoursAtRisk}}}
	}
	var r words.SurfaceRecord
	for k, x := range s.Spans {
		r.Spans = append(r.Spans, words.Span{At: fmt.Sprintf("%sspans.%d.", at, k), ObservedH: x.HoursObserved,
			WetH: x.HoursCondensing, LowH: x.HoursCondensingLow, HighH: x.HoursCondensingHigh, FrostH: x.FrostHours,
			AtRiskH: x.HoursAtRisk})
	}
	return r
}

// Films are what is said of the water on the k-th surface of the physics: one
// over the whole record, or before the latest repair and since; nil where there
// is no balance.
func (a Assessment) Films(c *roof.Case, k int) []words.Film {
	s := a.Physics.Surfaces[k]
	say := func(f *Film) words.Film {
		x := words.Film{Where: words.SurfaceOf(c, s.Surface), PeakGM2: f.PeakGM2, FormedGM2: f.CondensedGM2,
			DrippedGM2: f.DrippedGM2, FilmH: f.WetHours, FromGM2: f.WettedGM2, Nights: f.NightsWetted, Of: f.NightsSeen,
			DryByNoon: f.MorningsDried, WetAtNoon: f.MorningsWet, DryingH: f.MedianDryingH, Zone: c.Property.Zone}
		if f.PeakAt != nil {
			x.PeakAt = *f.PeakAt
		}
		return x
	}
	if s.Condensate == nil {
		return nil
	}
	if len(s.Spans) < 2 {
		return []words.Film{say(s.Condensate)}
	}
	before, since := say(s.Spans[0].Condensate), say(s.Spans[1].Condensate)
	before.RepairBefore, since.RepairSince = s.Spans[1].From, s.Spans[1].From
	return []words.Film{before, since}
}
