package web_test

import (
	"context"
	"flag"
	"fmt"
	"iter"
	"maps"
	"math"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/dashboards"
	"dewcase/internal/door/http/web"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
)

var serve = flag.String("serve", "", "serve the pages over the invented house on this address instead of testing")

func TestMain(m *testing.M) {
	flag.Parse()
	if *serve != "" {
		if err := serveFixture(*serve); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// houseFile is an invented house: nobody lives there.
const houseFile = `case: larch-end-4
property:
  label: "4 Larch End"
  timezone: Europe/London
  altitude_m: 60
roof:
  pitch_deg: 32
  span_m: 8.5
  covering: {material: fibre-cement slate, air: closed}
  underlay: {class: LR, air_permeable: no, drape_mm: 15}
  battens: single
  openings_mm: {loft_eaves: 10, loft_ridge: 0, void_eaves: 0, void_ridge: 0}
  ceiling: {sealed: unknown, downlights: 6, vapour_control_layer: no}
  insulation: ceiling
positions:
  - {id: landing, place: indoor_air}
  - {id: loft, place: loft_air}
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
  - {id: felt, place: underlay_underside, meets: loft}
  - {id: outside, place: outdoor_air}
loggers:
  - {id: k7-landing, interval_s: 900, accuracy: {temp_c: 0.3, rh_pct: 2.0}, fitted: [{position: landing, from: 2026-10-01T12:00:00Z}]}
  - {id: k7-loft, interval_s: 900, accuracy: {temp_c: 0.3, rh_pct: 2.0}, fitted: [{position: loft, from: 2026-10-01T12:00:00Z}]}
  - {id: k7-void, interval_s: 900, accuracy: {temp_c: 0.3, rh_pct: 2.0}, offsets: [{from: 2026-09-28T00:00:00Z, temp_c: 0.0, rh_pct: 0.4, check: "NaCl 75.3 %RH at 25 C"}], fitted: [{position: void, from: 2026-10-01T12:00:00Z}]}
  - {id: k7-slate, interval_s: 900, accuracy: {temp_c: 0.3}, fitted: [{position: slate, from: 2026-10-01T12:00:00Z}]}
  - {id: k7-felt, interval_s: 900, accuracy: {temp_c: 0.3}, fitted: [{position: felt, from: 2026-10-01T12:00:00Z}]}
  - {id: k7-out, interval_s: 900, fitted: [{position: outside, from: 2026-10-01T12:00:00Z}]}
events:
  - {at: 2026-11-08T10:00:00Z, kind: inspection, what: "nail plates wet, drips on the ceiling boards"}
  - {at: 2026-12-20T12:00:00Z, kind: repair, what: "counter-battens and eaves vents fitted, ridge opened", treats: [slate], changes: [void_ventilation]}
  - {at: 2027-01-14T09:00:00Z, kind: note, what: "family away for a week"}
`

// quietFile is a second house that has just been set up.
const quietFile = `case: orchard-row-2
property: {label: "2 Orchard Row", timezone: Europe/Helsinki}
positions:
  - {id: loft, place: loft_air}
  - {id: deck, place: covering_underside, meets: loft}
loggers:
  - {id: a1, fitted: [{position: loft, from: 2026-10-01T12:00:00Z}]}
`

// fixture answers the pages from invented readings through the real analysis.
type fixture struct {
	cases   map[string]*roof.Case
	files   map[string]string
	kept    map[string][]roof.CaseVersion // oldest first
	sets    map[string]*series.Set
	now     time.Time
	answers map[string]assessment.Answer
	mu      sync.Mutex
}

func newFixture() (*fixture, error) {
	f := &fixture{cases: map[string]*roof.Case{}, files: map[string]string{}, kept: map[string][]roof.CaseVersion{},
		sets: map[string]*series.Set{}, now: time.Date(2027, 3, 1, 7, 12, 0, 0, time.UTC)}
	for _, text := range []string{houseFile, quietFile} {
		c, faults := casefile.Parse("case.yaml", []byte(text))
		if len(faults) > 0 {
			return nil, fmt.Errorf("the invented case file: %w", faults)
		}
		f.cases[c.ID] = c
		f.keep(c.ID, text, "consultant", f.now.Add(-150*24*time.Hour))
	}
	winter := inventWinter(f.now)
	set, err := series.Build(f.cases["larch-end-4"], 0, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for _, r := range winter[logger] {
				if !yield(r, nil) {
					return
				}
			}
		}
	})
	if err != nil {
		return nil, err
	}
	f.sets["larch-end-4"] = set
	return f, nil
}

// inventWinter makes six loggers' readings with a rough hand: cold clear spells,
// a damp void that dries after the repair, two gaps.
func inventWinter(until time.Time) map[string][]roof.Reading {
	rnd := rand.New(rand.NewPCG(4, 9))
	start := time.Date(2026, 10, 3, 9, 0, 0, 0, time.UTC)
	repair := time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC)
	out := map[string][]roof.Reading{}
	cold, clear, slate, wet := 0.0, 0.5, 10.0, 0.0
	for at := start; at.Before(until); at = at.Add(15 * time.Minute) {
		days := at.Sub(start).Hours() / 24
		hour := float64(at.Hour()) + float64(at.Minute())/60
		if at.Hour() == 12 && at.Minute() == 0 {
			cold += -0.3*cold + rnd.NormFloat64()*1.8
			clear = math.Min(1, math.Max(0, 0.6*clear+0.4*rnd.Float64()*1.6-0.1))
		}
		season := 11 - 9*math.Sin(math.Pi*math.Min(days/190, 1))
		sun := math.Max(0, math.Sin((hour-7)/10*math.Pi)) * (0.3 + clear)
		outC := season + cold + 2.2*math.Sin((hour-9)/24*2*math.Pi) - clear*1.5
		sky := clear * 4.2
		if sun > 0 {
			sky *= 0.2
		}
		slate += (outC + 6*sun - sky - slate) * 0.25
		outDew := outC - 2.0 - 3.2*clear - 2*sun
		indoorDew := outDew + 5 + 1.2*math.Sin((hour-15)/24*2*math.Pi)
		share := 0.30
		if at.After(repair) {
			share = 0.06
		}
		wet += (share*(indoorDew-outDew) - wet) * 0.05
		voidDew := math.Min(outDew+wet+0.35*math.Max(0, slate-outDew), slate+1.5)
		loftC := 0.7*outC + 0.3*19 - 0.25*sky + sun
		add := func(logger string, c float64, dew *float64) {
			if rnd.Float64() < 0.004 {
				return
			}
			r := roof.Reading{Logger: logger, At: at, Arrived: at}
			r.Values.Set(roof.TempC, math.Round((c+rnd.NormFloat64()*0.06)*100)/100)
			if dew != nil {
				rh := 100 * math.Exp(17.62**dew/(243.12+*dew)-17.62*c/(243.12+c))
				r.Values.Set(roof.RHPct, math.Round(math.Min(100, rh+rnd.NormFloat64()*0.3)*10)/10)
			}
			out[logger] = append(out[logger], r)
		}
		loftDew := outDew + 0.6*wet
		add("k7-landing", 19.5+math.Sin((hour-14)/24*2*math.Pi), &indoorDew)
		add("k7-loft", loftC, &loftDew)
		gap := at.Day() > 26 && at.Month() == time.November || at.Month() == time.February && at.Day() == 9
		if !gap {
			add("k7-void", slate+0.6, &voidDew)
		}
		add("k7-slate", slate, nil)
		add("k7-felt", loftC-0.5*sky, nil)
		if at.Before(until.Add(-20 * time.Hour)) {
			add("k7-out", outC, &outDew)
		}
	}
	return out
}

func (f *fixture) All() []*roof.Case {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.SortedFunc(maps.Values(f.cases), func(a, b *roof.Case) int { return strings.Compare(a.ID, b.ID) })
}

func (f *fixture) Create(ctx context.Context, file []byte, by string) (string, error) {
	c, faults := casefile.Parse("case file", file)
	if len(faults) > 0 {
		return "", faults
	}
	if _, err := f.Case(ctx, c.ID); err == nil {
		return "", fmt.Errorf("case %s %w", c.ID, roof.ErrTaken)
	}
	_, _, err := f.Put(ctx, c.ID, file, casebook.If{}, by)
	return c.ID, err
}

func (f *fixture) Case(_ context.Context, id string) (*roof.Case, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	c, ok := f.cases[id]
	if !ok {
		return nil, fmt.Errorf("case %s: %w", id, roof.ErrNotFound)
	}
	return c, nil
}

func (f *fixture) File(_ context.Context, id string) ([]byte, string, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	text, ok := f.files[id]
	if !ok {
		return nil, "", fmt.Errorf("case %s: %w", id, roof.ErrNotFound)
	}
	return []byte(text), fmt.Sprintf("%d", len(text)), nil
}

// keep adds a version as the store does.
func (f *fixture) keep(id, text, by string, at time.Time) {
	f.files[id] = text
	f.kept[id] = append(f.kept[id], roof.CaseVersion{Case: id, Number: len(f.kept[id]) + 1,
		ETag: fmt.Sprintf("%d", len(text)), Updated: at, By: by, Size: len(text), File: []byte(text)})
}

func (f *fixture) History(_ context.Context, id string, limit, before int) (out []roof.CaseVersion, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, v := range slices.Backward(f.kept[id]) {
		if v.File = nil; len(out) < limit && (before < 1 || v.Number < before) {
			out = append(out, v)
		}
	}
	return out, nil
}

func (f *fixture) Version(_ context.Context, id, version string) (roof.CaseVersion, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, v := range f.kept[id] {
		if fmt.Sprint(v.Number) == version {
			return v, nil
		}
	}
	return roof.CaseVersion{}, fmt.Errorf("version %s of case %s: %w", version, id, roof.ErrNotFound)
}

func (f *fixture) Put(ctx context.Context, id string, file []byte, when casebook.If, by string) (bool, string, error) {
	_, etag, err := f.File(ctx, id)
	if err == nil && when.Match != "" && when.Match != etag {
		return false, "", fmt.Errorf("case %s: %w", id, roof.ErrChanged)
	}
	c, faults := casefile.Parse("case.yaml", file)
	if len(faults) > 0 {
		return false, "", faults
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.cases[id] = c
	f.keep(id, string(file), by, f.now)
	return err != nil, fmt.Sprintf("%d", len(file)), nil
}

func (f *fixture) Span(_ context.Context, id string) (from, until time.Time, ok bool, err error) {
	s := f.sets[id]
	if s == nil || s.UntilMS == 0 {
		return from, until, false, nil
	}
	return time.UnixMilli(s.FromMS), time.UnixMilli(s.UntilMS), true, nil
}

func (f *fixture) Timeline(_ context.Context, id string, from, until time.Time, step time.Duration) (timeline.View,
	error) {
	if step == 0 {
		return timeline.Raw(f.sets[id], from.UnixMilli(), until.UnixMilli())
	}
	return timeline.Stepped(f.sets[id], from.UnixMilli(), until.UnixMilli(), step.Milliseconds())
}

func (f *fixture) Curves(ctx context.Context, id string, keys []curves.Key, from, until time.Time,
	stepMS int64, changes ...curves.Change) (curves.View, error) {
	c, err := f.Case(ctx, id)
	if err != nil {
		return curves.View{}, err
	}
	return curves.OfSet(f.sets[id]).Columns(ctx, c, keys, from.UnixMilli(), until.UnixMilli(), stepMS, changes...)
}

func (f *fixture) Answer(_ context.Context, id string) (assessment.Answer, error) {
	return f.answer(id), nil
}

func (f *fixture) AnswerSoon(_ context.Context, id string) (assessment.Answer, bool) {
	return f.answer(id), true
}

// foreseen is kept for all fixtures: their house and winter are the same.
var foreseen struct {
	sync.Mutex
	by map[string]*assessment.Foresight
}

func (f *fixture) Ahead(_ context.Context, id string) (*assessment.Foresight, error) {
	a := f.answer(id)
	if len(a.Doubts) > 0 { // a test has changed the readings
		return assessment.Foresee(f.sets[id], a, nil), nil
	}
	foreseen.Lock()
	defer foreseen.Unlock()
	if foreseen.by == nil {
		foreseen.by = map[string]*assessment.Foresight{}
	}
	if foreseen.by[id] == nil {
		foreseen.by[id] = assessment.Foresee(f.sets[id], a, nil)
	}
	return foreseen.by[id], nil
}

func (f *fixture) AheadSoon(id string) (*assessment.Foresight, bool) {
	if f.sets[id] == nil {
		return nil, false
	}
	x, err := f.Ahead(context.Background(), id)
	return x, err == nil
}

func (f *fixture) Latest(_ context.Context, id string) ([]web.Latest, error) {
	if id != "larch-end-4" {
		return nil, nil
	}
	n := func(x float64) *float64 { return &x }
	out := []web.Latest{
		{Logger: "k7-landing", Position: "landing", At: f.now.Add(-4 * time.Minute), TempC: n(19.42), RHPct: n(47.1),
			DewPointC: n(7.9), BatteryPct: n(88), Usual: 15 * time.Minute},
		{Logger: "k7-loft", Position: "loft", At: f.now.Add(-3 * time.Minute), TempC: n(6.1), RHPct: n(84.2),
			DewPointC: n(3.6), BatteryPct: n(81), Usual: 15 * time.Minute},
		{Logger: "k7-void", Position: "void", At: f.now.Add(-11 * time.Minute), TempC: n(-0.4), RHPct: n(100),
			DewPointC: n(-0.4), BatteryPct: n(12), Flags: []string{"saturated"}, Usual: 15 * time.Minute},
		{Logger: "k7-slate", Position: "slate", At: f.now.Add(-2 * time.Minute), TempC: n(-1.1), BatteryPct: n(92),
			Usual: 15 * time.Minute},
		{Logger: "k7-felt", Position: "felt", At: f.now.Add(-2 * time.Minute), TempC: n(4.8), BatteryPct: n(90),
			Usual: 15 * time.Minute},
		{Logger: "k7-out", Position: "outside", At: f.now.Add(-20 * time.Hour), TempC: n(2.2), RHPct: n(91),
			DewPointC: n(0.9), BatteryPct: n(40), Usual: 15 * time.Minute},
		{Logger: "garage-9", At: f.now.Add(-6 * time.Minute), TempC: n(7.7), RHPct: n(70)},
	}
	return out, nil
}

func (f *fixture) Rejects(context.Context, string, int, int64) ([]roof.KeptReject, error) {
	return []roof.KeptReject{
		{ID: 9, Reject: roof.Reject{At: f.now.Add(-time.Hour), Case: "larch-end-4", Logger: "k7-void",
			Source: "dewcase/larch-end-4/k7-void", Reason: roof.TempOutOfRange,
			Detail:  "temp_c is -127; a temperature lies within -90..100 C. A probe that is cut off often says -127",
			Payload: []byte(`{"temp_c":-127,"rh_pct":100}`)}},
		{ID: 8, Reject: roof.Reject{At: f.now.Add(-3 * time.Hour), Source: "zigbee/<script>alert(1)</script>",
			Reason: roof.BadPayload, Detail: "the message is not JSON: invalid character 'h' looking for beginning of value",
			Payload: []byte("hello \x00\xff <b>there</b>")}},
	}, nil
}

func (f *fixture) RejectCounts(context.Context) (map[roof.Reason]int64, error) {
	return map[roof.Reason]int64{roof.TempOutOfRange: 14, roof.BadPayload: 3, roof.UnknownCase: 122}, nil
}

func (f *fixture) Heard(context.Context) ([]roof.HeardName, error) {
	return []roof.HeardName{{Case: "orchard-row-3", Logger: "a1", Count: 122, First: f.now.Add(-48 * time.Hour),
		Last: f.now.Add(-9 * time.Minute)}}, nil
}

// asker demands a password as the gate does.
type asker struct{ demand bool }

func (a asker) Demanded() bool { return a.demand }
func (a asker) SetUp() bool    { return false }
func (a asker) SetPassword(*http.Request, string, string) (ok, tired bool, err error) {
	return false, false, nil
}
func (a asker) LogIn(_ *http.Request, password string) (ok, _ bool) {
	return password == "right", false
}
func (a asker) LogOut(*http.Request) error { return nil }

func newPages(demand bool) (http.Handler, *fixture, error) {
	f, err := newFixture()
	if err != nil {
		return nil, nil, err
	}
	p, err := web.New(web.Options{Cases: f, Record: f, Rejects: f, LogIn: asker{demand}, Bundle: dashboards.Bundle(),
		Version: "0.1.0-test", Now: func() time.Time { return f.now }})
	if err != nil {
		return nil, nil, err
	}
	r := chi.NewRouter()
	p.Mount(r)
	r.NotFound(p.NotFound)
	return r, f, nil
}

func serveFixture(addr string) error {
	h, f, err := newPages(false)
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return err
	}
	fmt.Println("http://" + l.Addr().String())
	return http.Serve(l, withAPI(h, f))
}

// answer assesses a house once: it does not change while it is served.
func (f *fixture) answer(id string) assessment.Answer {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.answers == nil {
		f.answers = map[string]assessment.Answer{}
	}
	a, ok := f.answers[id]
	if !ok {
		a = assessment.Of(f.sets[id])
		f.answers[id] = a
	}
	return a
}
