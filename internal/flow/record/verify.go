package record

import (
	"context"
	"fmt"
	"math"
	"time"

	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// Verify works some of a case's kept hours out anew, at most sheets of them spread
// over the record, and names those that differ; checked says how many there were.
// What would not be served any more, because what it rests on has changed, is left
// out.
func Verify(ctx context.Context, store roof.ReadingStore, shelf Shelf, method string, c *roof.Case,
	sheets int) (checked int, differs []string, err error) {
	values, err := shelf.Kept(ctx, kindHours, c.ID, math.MinInt64, math.MaxInt64)
	if err != nil || len(values) == 0 || method == "" {
		return 0, nil, err
	}
	usual, err := New(store).usualOf(ctx, c)
	if err != nil {
		return 0, nil, err
	}
	pad := padMS(c, usual)
	days, err := shelf.DaySums(ctx, c.ID, math.MinInt64, math.MaxInt64)
	if err != nil {
		return 0, nil, err
	}
	rests := kept.NewHours(method, c, usual, pad, days)
	for i := 0; i < len(values) && checked < sheets; i += max(len(values)/sheets, 1) {
		v := values[i]
		if v.Rests != rests.Of(v.AtMS, v.AtMS+sheetMS) {
			continue
		}
		checked++
		got, err := unpackRows(v.Data, len(c.Positions), len(c.Surfaces()))
		if err != nil || len(got) != int(sheetMS/hourMS) {
			differs = append(differs, "case "+c.ID+": the hours kept from "+stamp(v.AtMS)+" cannot be read")
			continue
		}
		want, err := New(store).Hours(ctx, c, v.AtMS, v.AtMS+sheetMS)
		if err != nil {
			return checked, differs, err
		}
		for k := range want {
			a, b := numbers(want[k]), numbers(got[k])
			for n := range a {
				// The last bit of an hour may depend on where a look begins.
				if math.Abs(a[n]-b[n]) > 1e-9*math.Max(1, math.Abs(a[n])) {
					differs = append(differs, fmt.Sprintf("case %s: the hour from %s is kept with %g where the record gives %g", c.ID,
						stamp(v.AtMS+int64(k)*hourMS), b[n], a[n]))
					break
				}
			}
		}
	}
	return checked, differs, nil
}

// numbers lists the figures of a row.
func numbers(r timeline.Row) (out []float64) {
	for _, p := range r.Positions {
		out = append(out, float64(p.ObservedMS))
		for _, b := range []series.Bin{p.TempC, p.RHPct, p.DewPointC, p.FrostPointC} {
			out = append(out, float64(b.ObservedMS), b.Mean, b.Min, b.Max)
		}
	}
	for _, s := range r.Surfaces {
		out = append(out, s.ObservedMS, s.CondensingMS, s.AtRiskMS, s.FrostMS, s.MarginMean, s.MarginMin, s.MarginMax)
	}
	return out
}

func stamp(ms int64) string { return time.UnixMilli(ms).UTC().Format(time.RFC3339) }
