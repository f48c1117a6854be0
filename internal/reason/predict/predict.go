package predict

import (
	"encoding/binary"
	"hash/maphash"
	"math"
	"slices"
	"sort"
	"time"

	"dewcase/internal/physics/airchange"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Era is a stretch of the record in which the roof stayed as it was.
type Era struct {
	FromMS, UntilMS int64 // whole nights
	Roof            roof.Build
	After           *roof.Event // the work it follows; nil before any
}

// mostNights of an era are used, the latest: a winter. Longer records were not
// tried.
const (
	mostNights = 210
	dayMS      = 24 * evidence.HourMS
)

// eraOf bounds an era by whole nights. Its end is the last noon, so that an
// answer changes once a day and the last evening before a work keeps its own.
func eraOf(c *roof.Case, fromMS, untilMS int64) Era {
	until := evidence.Noon(time.UnixMilli(untilMS), c.Property.Zone).UnixMilli()
	return Era{FromMS: max(fromMS, until-mostNights*dayMS), UntilMS: until, Roof: c.RoofAt(time.UnixMilli(fromMS))}
}

// Before is the record before any repair.
func Before(set *series.Set) Era {
	until := set.UntilMS
	for _, e := range set.Case.Repairs() {
		if at := e.At.Add(-e.Uncertain).UnixMilli(); at < until {
			until = max(at, set.FromMS)
			break
		}
	}
	return eraOf(set.Case, set.FromMS, until)
}

// Since is the record since the latest repair that is not known to have changed
// nothing; ok is false where there is none within the record.
func Since(set *series.Set, unchanged func(roof.Event) bool) (e Era, ok bool) {
	all := set.Case.Repairs()
	for i := len(all) - 1; i >= 0; i-- {
		x := all[i]
		at := x.At.Add(x.Uncertain)
		if at.UnixMilli() >= set.UntilMS || x.At.UnixMilli() <= set.FromMS || unchanged(x) {
			continue
		}
		noon := evidence.NoonAfter(evidence.Noon(at, set.Case.Property.Zone), 1, set.Case.Property.Zone)
		e = eraOf(set.Case, noon.UnixMilli(), set.UntilMS)
		e.FromMS = max(e.FromMS, noon.UnixMilli())
		e.After = &all[i]
		return e, true
	}
	return e, false
}

// House is one house fitted over an era, with every draw run at every strength:
// a plan is answered from it without a further run.
type House struct {
	Case     *roof.Case
	Era      Era
	Surfaces []*Fitted
	print    uint64 // of what it was fitted to
}

// Fitted is one surface's part of it.
type Fitted struct {
	Position roof.Position
	Refused  words.NoPrediction
	OnLoft   bool
	Nights   int
	// The roof as it stands over the era's nights: hours by the fitted roof, every
	// half hour of them, and counted on the nights that were well observed.
	WetH, AtRiskH               float64
	CountedWetH, CountedAtRiskH float64
	ModelAtRiskH                float64 // the fitted roof's on the same nights as the count
	IndoorExcessPa              float64
	Seen                        Seen

	standing *repair.Standing
	draws    []*changes
	bends    map[repair.Unknown][2]*changes
	seed     string
	air      string // position
}

// Bounds of what was tried (method, section 7).
const (
	leastNights   = 14
	leastWetH     = 20.0
	mostSigmaK    = 0.8
	mostOutdoorC  = 12.0
	leastPitchDeg = 15.0
)

// Fit fits every surface of a house over an era, about a second each. What was
// kept of the same readings under the same case file is given back as it is.
func Fit(set *series.Set, era Era, kept ...*House) *House {
	cut := set.Before(era.UntilMS)
	h := &House{Case: set.Case, Era: era, print: fingerprint(cut, era)}
	for _, k := range kept {
		if k != nil && k.Case == h.Case && k.print == h.print {
			return k
		}
	}
	for _, p := range set.Case.Surfaces() {
		f := &Fitted{Position: p, seed: set.Case.ID + "/" + p.ID + "/strength"}
		f.fit(cut, era)
		h.Surfaces = append(h.Surfaces, f)
	}
	return h
}

// fingerprint tells readings apart.
func fingerprint(set *series.Set, era Era) uint64 {
	h := maphash.Hash{}
	h.SetSeed(fingerprints)
	word := func(x uint64) {
		var b [8]byte
		binary.LittleEndian.PutUint64(b[:], x)
		h.Write(b[:]) // never fails (maphash.Hash)
	}
	word(uint64(era.FromMS))
	for i := range set.Courses {
		c := &set.Courses[i]
		for _, t := range []series.Track{c.TempC, c.VapourPa} {
			word(uint64(t.Len()))
			for k, ms := range t.AtMS {
				word(uint64(ms))
				word(math.Float64bits(t.Value[k]))
				if t.Joined[k] {
					word(1)
				}
			}
		}
	}
	return h.Sum64()
}

var fingerprints = maphash.MakeSeed()

// refuse says why a whole roof cannot be predicted.
func refuse(b roof.Build) words.NoPrediction {
	switch {
	case b.Insulation == "rafter":
		return words.NoPrediction{Kind: words.RafterInsulation}
	case b.Underlay.Class == "none":
		return words.NoPrediction{Kind: words.NoUnderlay}
	case b.PitchDeg != nil && *b.PitchDeg < leastPitchDeg:
		return words.NoPrediction{Kind: words.LowPitch, Have: *b.PitchDeg, Least: leastPitchDeg}
	}
	return words.NoPrediction{}
}

func (f *Fitted) fit(set *series.Set, era Era) {
	f.Refused = refuse(era.Roof)
	switch {
	case f.Refused.Kind != words.Predicted:
		return
	case set.Case.IsUntouched(f.Position):
		f.Refused.Kind = words.LeftUntouched
		return
	case f.Position.Place != roof.CoveringUnderside && f.Position.Place != roof.UnderlayUnderside:
		f.Refused.Kind = words.NotASurface
		return
	case era.UntilMS-era.FromMS < 2*dayMS:
		f.Refused = words.NoPrediction{Kind: words.FewNights, Least: leastNights}
		return
	}
	s, err := repair.Stand(set, f.Position.ID, era.FromMS, era.UntilMS)
	if err != nil {
		f.Refused = words.NoPrediction{Kind: words.MissingLogger, What: err.Error()}
		return
	}
	f.OnLoft, f.Nights, f.CountedWetH, f.CountedAtRiskH, f.air = s.OnLoft, s.Nights, s.CountedWetH, s.CountedAtRiskH,
		s.Air
	f.IndoorExcessPa = s.IndoorExcessPa
	switch {
	case s.OnLoft != (f.Position.Place == roof.UnderlayUnderside):
		f.Refused.Kind = words.NotASurface
	case s.Nights < leastNights:
		f.Refused = words.NoPrediction{Kind: words.FewNights, Have: float64(s.Nights), Least: leastNights}
	case s.OutdoorMeanC > mostOutdoorC:
		f.Refused = words.NoPrediction{Kind: words.TooWarm, Have: s.OutdoorMeanC, Least: mostOutdoorC}
	case s.CountedWetH < leastWetH:
		f.Refused = words.NoPrediction{Kind: words.LittleWater, Have: s.CountedWetH, Least: leastWetH}
	}
	if f.Refused.Kind != words.Predicted {
		return
	}
	s.Fit()
	if s.SigmaK > mostSigmaK {
		f.Refused = words.NoPrediction{Kind: words.ModelAstray, Have: s.SigmaK}
		return
	}
	f.run(s)
}

// run runs every draw at every strength and keeps what a plan is answered from.
func (f *Fitted) run(s *repair.Standing) {
	steps := moves()
	r := s.Run(steps)
	for i := range r.Without {
		f.draws = append(f.draws, lay(r.Without[i], r.With[i]))
	}
	f.WetH, f.AtRiskH = r.Without[0].WetH, r.Without[0].AtRiskH
	f.ModelAtRiskH = s.CountedNights().AtRiskH
	f.bends = map[repair.Unknown][2]*changes{}
	for _, x := range []repair.Unknown{repair.LoftLogger, repair.VoidLogger, repair.CoveringLogger} {
		if x == repair.LoftLogger && !s.HasLoft || x == repair.VoidLogger && !s.HasVoid ||
			x == repair.CoveringLogger && s.OnLoft {
			continue
		}
		if b := s.Bend(x, steps); b != nil {
			f.bends[x] = [2]*changes{lay(b.Without[0], b.With[0]), lay(b.Without[1], b.With[1])}
		}
	}
	f.Seen = seen(s)
	s.Keep()
	f.standing = s
}

// seen is what the fitted roof says of how open the loft is.
func seen(s *repair.Standing) Seen {
	var out Seen
	if !s.HasLoft {
		return out
	}
	of := func(x repair.Unknown) *Estimate {
		mean, sd := s.Estimate(x)
		return &Estimate{mean, sd}
	}
	out.LoftTime = of(repair.LoftTimeConstant)
	if s.HasIndoor {
		out.Ceiling, out.Timber = of(repair.CeilingShare), of(repair.TimberShare)
	}
	air := func(h *repair.Hourly) *airchange.Air {
		if h == nil {
			return nil
		}
		return &airchange.Air{TempC: h.TempC, VapourPa: h.VapourPa, Seen: h.Seen}
	}
	outdoors, indoors, loft := s.Airs()
	if e, err := airchange.Loft(s.FromMS, *air(outdoors), air(indoors), *air(loft)); err == nil && e.Known {
		out.AirChangePerHour = &e.PerHour
	}
	return out
}

// Prediction is what one work would have done at one surface over the era.
type Prediction struct {
	Work    Work
	Surface string
	Refused words.NoPrediction
	// Changes in per cent; nil where they are not predicted. Of the void's work
	// under the underlay only the hours at risk are, and they are uncertain.
	AtRisk, Wet, Water *Range
	Uncertain          bool
	HarmChance         float64 // of a tenth more wet hours, or worse
	Harms              bool    // a warning is due
	Widest             words.Widest
}

// harmLn is a rise of the wet hours by a tenth.
var harmLn = math.Log(1.1)

// harmOver is the chance of harm over which a warning is due.
const harmOver = 0.5

// believe is how strong the plan's works are taken to be on this roof.
func (h *House) believe(f *Fitted, p Plan) believed {
	return believed{loft: LoftStrength(h.Era.Roof, p.LoftEavesMM, p.LoftRidgeMM, f.Seen),
		void: VoidStrength(h.Era.Roof, p.VoidEavesMM, p.VoidRidgeMM), house: p.HouseLeft}
}

// without says why a work cannot be predicted at a surface that others can.
func (f *Fitted) without(w Work) words.NoPrediction {
	switch {
	case w != VoidVented && w != Leave && !f.standing.HasLoft:
		return words.NoPrediction{Kind: words.LoftNotLogged}
	case w == VoidVented && !f.standing.HasVoid:
		return words.NoPrediction{Kind: words.VoidNotLogged}
	}
	return words.NoPrediction{}
}

// predict answers one work at one surface.
func (h *House) predict(f *Fitted, w Work, p Plan) Prediction {
	out := Prediction{Work: w, Surface: f.Position.ID, Refused: f.Refused}
	if out.Refused.Kind != words.Predicted {
		return out
	}
	if out.Refused = f.without(w); out.Refused.Kind != words.Predicted {
		return out
	}
	if w == Leave {
		out.AtRisk, out.Wet, out.Water = &Range{}, &Range{}, &Range{}
		return out
	}
	b := h.believe(f, p)
	ranges, l := f.state(f.draws, w, b)
	out.AtRisk = &ranges[atRisk]
	if w == VoidVented && f.OnLoft {
		out.Uncertain = true
	} else {
		out.Wet, out.Water = &ranges[wet], &ranges[water]
	}
	if !f.OnLoft {
		out.HarmChance = out.Wet.chanceOver(harmLn)
		out.Harms = out.HarmChance > harmOver
	}
	out.Widest = h.widest(f, w, b, l)
	return out
}

// state throws the strengths at draws and states the ranges; l are the
// logarithms of the hours at risk behind them.
func (f *Fitted) state(draws []*changes, w Work, b believed) (out [quantities]Range, l []float64) {
	n := len(draws) * strengthsOfADraw
	z1, z2 := throws(f.seed, n)
	kind, widen := 0, 1.0
	if f.OnLoft {
		kind = 1
	}
	if !f.standing.HasVoid {
		widen = kitWidening
	}
	for q := range quantities {
		v := make([]float64, n)
		for i := range v {
			v[i] = draws[i/strengthsOfADraw].at(q, w, b.strength(z1[i], z2[i]))
		}
		m, s := meanSD(v)
		out[q] = bearings[kind][w][q].stated(m, s, widen)
		if q == atRisk {
			l = v
		}
	}
	return out, l
}

// widest finds the input whose doubt widens the hours at risk most: the same
// again with that doubt set to nothing.
func (h *House) widest(f *Fitted, w Work, b believed, l []float64) words.Widest {
	_, sd := meanSD(l)
	if sd < 1e-6 {
		return words.Widest{}
	}
	out := words.Widest{Work: string(w)}
	still := b.strength(0, 0)
	fixed := make([]float64, len(f.draws))
	for i, d := range f.draws {
		fixed[i] = d.at(atRisk, w, still)
	}
	_, without := meanSD(fixed)
	if share := 1 - without*without/(sd*sd); w != DrierHouse && share > leastShare {
		out.Kind, out.Share = words.StrengthWidest, share
		out.Unknown = unsurveyed(h.Era.Roof, w)
	}
	for _, x := range []struct {
		unknown  repair.Unknown
		position string
	}{{repair.LoftLogger, h.positionAt(roof.LoftAir)}, {repair.VoidLogger, f.air}, {repair.CoveringLogger,
		f.Position.ID}} {
		pair, ok := f.bends[x.unknown]
		if !ok {
			continue
		}
		half := (pair[0].at(atRisk, w, still) - pair[1].at(atRisk, w, still)) / 2
		if share := half * half / (sd * sd); share > max(out.Share, leastShare) {
			out.Kind, out.Share, out.Logger = words.LoggerWidest, min(share, 0.996), x.position
		}
	}
	return out
}

// leastShare of the variance is the least that an input is named for.
const leastShare = 0.15

func (h *House) positionAt(p roof.Place) string {
	for _, x := range h.Case.At(p) {
		return x.ID
	}
	return string(p)
}

// unsurveyed names what of the survey a work's strength rests on and is not
// known.
func unsurveyed(b roof.Build, w Work) string {
	switch w {
	case VoidVented:
		switch {
		case b.Openings.VoidEavesMM == nil:
			return "what is open to the batten void now"
		case b.Covering.Air != "open" && b.Covering.Air != "closed":
			return "whether the covering lets air through its joints"
		}
	case LoftVented, VentsAndCeiling:
		if b.Openings.LoftEavesMM == nil {
			return "what is open to the loft now"
		}
	case CeilingSealed:
		if b.Ceiling.Sealed == roof.Unknown {
			return "how the ceiling leaks (hatch, downlights, pipes)"
		}
	}
	return ""
}

// Rank is a candidate over all surfaces.
type Rank struct {
	Work    Work
	BeforeH float64 // hours at risk as it stands
	AfterH  float64
	FallPct float64
	Harms   bool
	Helps   bool // enough to be recommended
	Alike   bool // with the best, by less than can be told apart
	Open    bool // at every surface the 80 % interval takes in no change
}

const (
	// alikePct is how far apart, in points of the fall, two works are told apart.
	alikePct = 10.0
	// helpPct is the smallest fall over all surfaces, in per cent, for which work is
	// recommended; less was not worth doing in trials.
	helpPct = 10.0
)

// Outcome is the answer for one plan.
type Outcome struct {
	Plan        Plan
	Predictions []Prediction // surface by surface, in the order of Works
	Ranks       []Rank       // best first
}

// Predict answers for a plan. It runs nothing anew.
func (h *House) Predict(p Plan) Outcome {
	out := Outcome{Plan: p}
	total := map[Work]*Rank{}
	for _, f := range h.Surfaces {
		for _, w := range Works() {
			x := h.predict(f, w, p)
			out.Predictions = append(out.Predictions, x)
			if f.Refused.Kind != words.Predicted {
				continue
			}
			r := total[w]
			if r == nil {
				r = &Rank{Work: w, Open: true}
				total[w] = r
			}
			r.BeforeH += f.AtRiskH
			if x.AtRisk == nil {
				r.AfterH += f.AtRiskH // as it stands, for want of a prediction
				continue
			}
			r.AfterH += f.AtRiskH * math.Exp(x.AtRisk.Mean)
			r.Harms = r.Harms || x.Harms
			r.Open = r.Open && x.AtRisk.High80 >= 0
		}
	}
	for _, w := range Works() {
		r := total[w]
		if r == nil || !slices.ContainsFunc(out.Predictions,
			func(x Prediction) bool { return x.Work == w && x.AtRisk != nil }) {
			continue
		}
		if r.BeforeH > 0 {
			r.FallPct = math.Round(1000*(1-r.AfterH/r.BeforeH))/10 + 0
		}
		out.Ranks = append(out.Ranks, *r)
	}
	sort.SliceStable(out.Ranks, func(i, k int) bool { return out.Ranks[i].FallPct > out.Ranks[k].FallPct })
	for i := range out.Ranks {
		r := &out.Ranks[i]
		r.Alike = i > 0 && out.Ranks[0].FallPct-r.FallPct < alikePct
		r.Helps = r.FallPct >= helpPct && !r.Harms && r.Work != Leave
	}
	return out
}
