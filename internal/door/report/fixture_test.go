package report

import (
	"encoding/json"
	"iter"
	"math"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/mechanism"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

// houseFile is an invented house: nobody lives there.
const houseFile = `case: elder-bank-3
property: {label: "3 Elder Bank", timezone: Europe/London, altitude_m: 60}
roof:
  pitch_deg: 32
  length_m: 8
  covering: {material: fibre-cement slate, air: closed}
  underlay: {class: LR, air_permeable: no, drape_mm: 15}
  battens: single
  openings_mm: {loft_eaves: 10, loft_ridge: 0, void_eaves: 0, void_ridge: 0}
  insulation: ceiling
  fixings: galvanised
positions:
  - {id: landing, place: indoor_air}
  - {id: loft, place: loft_air}
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
  - {id: felt, place: underlay_underside, meets: loft}
  - {id: lonely, place: timber}
  - {id: outside, place: outdoor_air}
loggers:
  - {id: e1, interval_s: 1800, accuracy: {temp_c: 0.3, rh_pct: 2.0}, fitted: [{position: landing, from: 2026-10-01T12:00:00Z}]}
  - {id: e2, interval_s: 1800, accuracy: {temp_c: 0.3, rh_pct: 2.0}, fitted: [{position: loft, from: 2026-10-01T12:00:00Z}], offsets: [{from: 2026-09-28T00:00:00Z, temp_c: -0.2, rh_pct: 1.0, check: "NaCl 75.3 %RH at 25 C"}]}
  - {id: e3, interval_s: 1800, accuracy: {temp_c: 0.3, rh_pct: 2.0}, fitted: [{position: void, from: 2026-10-01T12:00:00Z}]}
  - {id: e4, interval_s: 1800, accuracy: {temp_c: 0.3}, fitted: [{position: slate, from: 2026-10-01T12:00:00Z}]}
  - {id: e5, interval_s: 1800, fitted: [{position: felt, from: 2026-10-01T12:00:00Z}]}
  - {id: e6, interval_s: 1800, accuracy: {temp_c: 0.3, rh_pct: 2.0, k: 2}, fitted: [{position: outside, from: 2026-10-01T12:00:00Z}]}
events:
  - {at: 2026-11-20T12:00:00Z, kind: repair, what: "eaves and ridge of the void opened", treats: [slate], changes: [void_ventilation]}
  - {at: 2026-11-28T09:00:00Z, kind: note, what: "family away"}
`

var madeAt = time.Date(2026, 12, 9, 8, 30, 0, 0, time.UTC)

func parseCase(t testing.TB, text string) *roof.Case {
	c, faults := casefile.Parse("case.yaml", []byte(text))
	require.Empty(t, faults)
	return c
}

// inventedSet is forty days of a roof that wets at night, with one logger
// silent for two days.
var inventedSet = sync.OnceValues(func() (*series.Set, error) {
	c, faults := casefile.Parse("case.yaml", []byte(houseFile))
	if len(faults) > 0 {
		return nil, faults
	}
	from := time.Date(2026, 10, 28, 9, 0, 0, 0, time.UTC)
	return series.Build(c, 0, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for i := range 40 * 48 {
				at := from.Add(time.Duration(i) * 30 * time.Minute)
				if logger == "e4" && i > 500 && i < 596 {
					continue
				}
				day := math.Cos(2 * math.Pi * (float64(at.Hour()) - 14) / 24)
				week := math.Sin(float64(i) / 90)
				out := 4 + 3*day + 3*week
				temp := map[string]float64{"e1": 19.5, "e2": out + 2, "e3": out + 0.5, "e4": out + 1.5*day - 0.8, "e5": out + 0.7,
					"e6": out}[logger]
				rh := map[string]float64{"e1": 55, "e2": 82 - 6*day, "e3": 94 - 5*day, "e6": 86 - 6*day}[logger]
				r := roof.Reading{Logger: logger, At: at, Arrived: at}
				r.Values.Set(roof.TempC, temp)
				if rh > 0 {
					r.Values.Set(roof.RHPct, rh)
				}
				if !yield(r, nil) {
					return
				}
			}
		}
	})
})

// source is the invented house as a report's source. The repair's result is
// written by hand, so that every part of it is there.
func source(t testing.TB) Source {
	set, err := inventedSet()
	require.NoError(t, err)
	a := assessment.Of(set)
	a.Take(assessment.Foresee(set, a, nil))
	two, three := 2, 3
	worked(&a, set.Case)
	return Source{Case: set.Case, Answer: a, Version: "1.2.3", MadeAt: madeAt, MadeBy: "A. Surveyor",
		CaseFile: Digest{SHA256: strings.Repeat("ab", 32), Of: "of the file elder.yaml"},
		Readings: Digest{SHA256: strings.Repeat("cd", 32), Of: "of the file elder.csv"},
		Intake: Intake{Known: true, Rejected: []Rejected{{"rh_out_of_range", 4}}, Duplicates: &two, Conflicts: &three,
			Notes: []string{"a column was not used"}},
		Originals: []roof.Original{{Case: set.Case.ID, Name: "k7-loft_2026-10.csv", At: madeAt,
			SHA256: strings.Repeat("0123456789abcdef", 4), Taken: 4021, Rejected: 3, Recipe: "usb-loggers"}},
		Laid: laid(set)}
}

func laid(set *series.Set) func(from, until time.Time, step time.Duration) (timeline.View, error) {
	return func(from, until time.Time, step time.Duration) (timeline.View, error) {
		return timeline.Stepped(set, from.UnixMilli(), until.UnixMilli(), step.Milliseconds())
	}
}

func worked(a *assessment.Answer, c *roof.Case) {
	f := func(x float64) *float64 { return &x }
	at := c.Repairs()[0].At
	r := repair.Result{At: at, What: "eaves", Surface: "slate", Air: "void", Verdict: repair.Worked,
		ReductionPct: f(71.2), LowPct: f(55), HighPct: f(83.4), AtRiskReductionPct: f(38.1), AtRiskLowPct: f(29),
		AtRiskHighPct:          f(47.6),
		CondensateReductionPct: f(84), CondensateLowPct: f(-3.2), CondensateHighPct: f(92), NightsBefore: 21, NightsAfter: 16,
		Reason: "hours at risk fell by 38 %", Credit: repair.Credit{VoidVentilation: true, Declared: true,
			Text: "credited with changes of the void's ventilation"},
		Mechanism: []repair.Factor{{What: "exchange of the void with outdoor air", Factor: 3.1, Low: 1.9, High: 5,
			Credited: true, Identified: true}},
		Nights: []repair.NightUse{{Night: "2026-11-01", Period: "before", Why: "a hole of 150 min"},
			{Night: "2026-11-02", Period: "before", Why: "a hole of 150 min"},
			{Night: "2026-11-03", Period: "before", Used: true}},
		Weather: "outdoor air averaged 4.0 C before and -3.1 C after", Overlap: 12,
		Wet: &repair.Comparison{UnrepairedH: 120.4, ModelH: 34.6, MeasuredH: 33.3,
			Measured: &repair.Effect{Pct: 72.3, Low: 31.2, High: 84.1}, Model: &repair.Effect{Pct: 71.2, Low: 55, High: 83.4}},
		AtRisk: &repair.Comparison{UnrepairedH: 300, ModelH: 185.7, MeasuredH: 181,
			Measured: &repair.Effect{Pct: 39.7, Low: 22.1, High: 51.2}, Model: &repair.Effect{Pct: 38.1, Low: 29, High: 47.6},
			Like: &repair.Effect{Pct: 66.3, Low: 52.4, High: 81.1}, LikeNights: 12, Disagree: true},
		Correction: &repair.Correction{Factor: 1.3, FactorLow: 0.4, FactorHigh: 2.2, From: "simulated roofs", WetPct: 80.3},
		Companion:  &repair.Companion{Text: "at-risk hours were 1.02 of the expected before and 0.61 after"},
		Gates: []repair.Gate{{Name: "nights", Figure: "21 before, 16 after", Limit: "14 before and 14 after",
			Open: true}},
		Evenings: []repair.Evening{{Night: "2026-12-06", AtRisk: repair.Effect{Pct: 38.1, Low: 29, High: 47.6},
			Wet: repair.Effect{Pct: 71.2, Low: 55, High: 83.4}, Q: -0.6, Holds: true}},
		Control: &repair.Control{Surface: "felt", Verdict: repair.NoChangeShown,
			Text: "the place left alone did not change"},
		Sensitivity: []repair.Variant{{What: "the first week left out", RiskFallPct: f(36)},
			{What: "without the indoor logger", Why: "it is not there"}},
		CrossCheck: &repair.CrossCheck{Text: "like nights fell by 66 %", Agrees: true}, Sigma: [2]*float64{f(0.4), nil}}
	for i := range 5 * 48 {
		m := math.Sin(float64(i)/8) * 2
		r.Course = append(r.Course, repair.Point{AtMS: at.UnixMilli() + int64(i)*1800_000, WithK: m + 1, WithoutK: m - 1,
			MeasuredK: f(m)})
	}
	a.Repairs = []assessment.Repair{{Result: r, Exchanges: []mechanism.Result{opened(at)}}}
}

// everyText calls each with every text of a document.
func everyText(d *Document, each func(Text)) {
	for _, f := range d.Facts {
		each(f.Is)
	}
	for _, t := range d.Answer {
		each(t)
	}
	for _, p := range d.Parts {
		for _, b := range p.Blocks {
			each(b.Text)
			for _, t := range b.Items {
				each(t)
			}
			if b.Table != nil {
				for _, r := range b.Table.Rows {
					for _, c := range r.Cells {
						each(c)
					}
				}
			}
		}
	}
}

// figures are the figures of an assessment by their place in its JSON.
func figures(t require.TestingT, a assessment.Assessment) map[string]float64 {
	text, err := json.Marshal(a)
	require.NoError(t, err)
	var tree any
	require.NoError(t, json.Unmarshal(text, &tree))
	out := map[string]float64{}
	var walk func(path string, x any)
	walk = func(path string, x any) {
		join := func(k string) string { return strings.TrimPrefix(path+"."+k, ".") }
		switch v := x.(type) {
		case map[string]any:
			for k, y := range v {
				walk(join(k), y)
			}
		case []any:
			for i, y := range v {
				walk(join(strconv.Itoa(i)), y)
			}
		case float64:
			out[path] = v
		}
	}
	walk("", tree)
	return out
}
