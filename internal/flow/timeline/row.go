package timeline

import (
	"math"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/reason/risk"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// Row is one step of a case: every position and every surface, in the case
// file's order, summed up so that rows of neighbouring steps can be added.
type Row struct {
	Positions []PositionRow
	Surfaces  []risk.Spell
}

// PositionRow is one position in one step.
type PositionRow struct {
	ObservedMS                           int64
	TempC, RHPct, DewPointC, FrostPointC series.Bin
}

// Rows sums a set up over [fromMS, untilMS) in steps of stepMS, of which the end
// may cut the last, by workers. A surface that cannot be computed has empty spells.
func Rows(by roof.Workers, set *series.Set, fromMS, untilMS, stepMS int64) []Row {
	n := int((untilMS - fromMS + stepMS - 1) / stepMS)
	surfaces := set.Case.Surfaces()
	rows := make([]Row, n)
	for i := range rows {
		rows[i] = Row{make([]PositionRow, len(set.Courses)), make([]risk.Spell, len(surfaces))}
	}
	fill := func(t series.Track, put func(i int, b series.Bin)) {
		for i, b := range t.Slice(fromMS, untilMS).Until(untilMS).Bins(fromMS, stepMS, n) {
			put(i, b)
		}
	}
	by(len(set.Courses)+len(surfaces), func(k int) {
		if k < len(set.Courses) {
			c := &set.Courses[k]
			vapour := c.VapourPa.Slice(fromMS, untilMS)
			fill(c.TempC, func(i int, b series.Bin) { rows[i].Positions[k].TempC = b })
			fill(c.RHPct, func(i int, b series.Bin) { rows[i].Positions[k].RHPct = b })
			fill(mapped(vapour, dewPointC), func(i int, b series.Bin) { rows[i].Positions[k].DewPointC = b })
			fill(mapped(vapour, frostPointC), func(i int, b series.Bin) { rows[i].Positions[k].FrostPointC = b })
			fill(observed(c), func(i int, b series.Bin) { rows[i].Positions[k].ObservedMS = b.ObservedMS })
			return
		}
		k -= len(set.Courses)
		c, err := risk.Margin(set, surfaces[k].ID)
		if err != nil {
			return
		}
		for i, s := range c.BinsUntil(fromMS, untilMS, stepMS) {
			rows[i].Surfaces[k] = s
		}
	})
	return rows
}

// note says why a surface has no figures in these rows, "" where it has.
func note(p roof.Position, rows []Row, k int) string {
	if p.Meets == "" {
		return "surface " + p.ID + ": the case file does not say which air meets it (key meets): not computable"
	}
	for _, r := range rows {
		if r.Surfaces[k].ObservedMS > 0 {
			return ""
		}
	}
	return "surface " + p.ID + " and its air " + p.Meets + " were not observed together in this span"
}

// Fold adds k neighbouring rows into one; the last may be made of fewer.
func Fold(rows []Row, k int) []Row {
	if k <= 1 {
		return rows
	}
	out := make([]Row, 0, (len(rows)+k-1)/k)
	for i := 0; i < len(rows); i += k {
		sum := Row{make([]PositionRow, len(rows[i].Positions)), make([]risk.Spell, len(rows[i].Surfaces))}
		for _, r := range rows[i:min(i+k, len(rows))] {
			for p := range r.Positions {
				a, b := &sum.Positions[p], r.Positions[p]
				a.ObservedMS += b.ObservedMS
				addBin(&a.TempC, b.TempC)
				addBin(&a.RHPct, b.RHPct)
				addBin(&a.DewPointC, b.DewPointC)
				addBin(&a.FrostPointC, b.FrostPointC)
			}
			for s := range r.Surfaces {
				addSpell(&sum.Surfaces[s], r.Surfaces[s])
			}
		}
		out = append(out, sum)
	}
	return out
}

func addBin(a *series.Bin, b series.Bin) {
	switch {
	case b.ObservedMS == 0:
	case a.ObservedMS == 0:
		*a = b
	default:
		both := a.ObservedMS + b.ObservedMS
		a.Mean = (a.Mean*float64(a.ObservedMS) + b.Mean*float64(b.ObservedMS)) / float64(both)
		a.Min, a.Max, a.ObservedMS = math.Min(a.Min, b.Min), math.Max(a.Max, b.Max), both
	}
}

func addSpell(a *risk.Spell, b risk.Spell) {
	switch {
	case b.ObservedMS == 0:
	case a.ObservedMS == 0:
		*a = b
	default:
		both := a.ObservedMS + b.ObservedMS
		a.MarginMean = (a.MarginMean*a.ObservedMS + b.MarginMean*b.ObservedMS) / both
		a.MarginMin, a.MarginMax = math.Min(a.MarginMin, b.MarginMin), math.Max(a.MarginMax, b.MarginMax)
		a.ObservedMS = both
		a.CondensingMS += b.CondensingMS
		a.AtRiskMS += b.AtRiskMS
		a.FrostMS += b.FrostMS
	}
}

func dewPointC(pa float64) (float64, bool) {
	t, err := psychro.DewPointC(pa)
	return t, err == nil
}

// Laid lays rows out as the answer for [fromMS, untilMS).
func Laid(c *roof.Case, rows []Row, fromMS, untilMS, stepMS int64) View {
	a := axis{fromMS, untilMS, stepMS, len(rows)}
	v := a.empty(c)
	for k, p := range c.Positions {
		out := Position{Position: p.ID, Place: p.Place, Coverage: NewColumn(a.n), TempC: newBand(a.n), RHPct: newBand(a.n),
			DewPointC: newBand(a.n), FrostPointC: newBand(a.n)}
		for i := range rows {
			q := &rows[i].Positions[k]
			out.Coverage.Set(i, math.Min(float64(q.ObservedMS)/a.lengthMS(i), 1))
			out.TempC.take(i, &q.TempC)
			out.RHPct.take(i, &q.RHPct)
			out.DewPointC.take(i, &q.DewPointC)
			out.FrostPointC.take(i, &q.FrostPointC)
		}
		v.Positions = append(v.Positions, out)
	}
	for k, p := range c.Surfaces() {
		out := Surface{Surface: p.ID, Air: p.Meets, Coverage: NewColumn(a.n), MarginK: newBand(a.n),
			CondensingMin: NewColumn(a.n), AtRiskMin: NewColumn(a.n), FrostMin: NewColumn(a.n), Note: note(p, rows, k)}
		for i, r := range rows {
			s := r.Surfaces[k]
			out.Coverage.Set(i, math.Min(s.ObservedMS/a.lengthMS(i), 1))
			if s.ObservedMS == 0 {
				continue
			}
			out.MarginK.set(i, s.MarginMean, s.MarginMin, s.MarginMax)
			out.CondensingMin.Set(i, s.CondensingMS/60e3)
			out.AtRiskMin.Set(i, s.AtRiskMS/60e3)
			out.FrostMin.Set(i, s.FrostMS/60e3)
		}
		v.Surfaces = append(v.Surfaces, out)
	}
	return v
}
