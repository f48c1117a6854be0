package watch

import (
	"fmt"
	"iter"
	"slices"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/qc"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/physics/mould"
	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/physics/spell"
	"dewcase/internal/physics/timber"
	"dewcase/internal/reason/alert"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/risk"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// stepMS is how often a test looks where it does not say: three times an hour.
const stepMS = int64(20 * 60_000)

// winter is a record laid out so that any moment of it can be looked at with
// what was known then.
type winter struct {
	c       *roof.Case
	set     *series.Set
	step    int64          // ms between two looks; a part of an hour
	fine    []timeline.Row // by the step
	hours   []timeline.Row
	from    int64
	n       int // steps
	mould   map[string]*mould.Result
	wood    map[string]*timber.Result
	healthy map[int]float64 // the diagnosis's support for no defect, by days
}

func layOut(t testing.TB, set *series.Set) *winter { return layOutBy(t, set, stepMS) }

func layOutBy(t testing.TB, set *series.Set, step int64) *winter {
	t.Helper()
	w := &winter{c: set.Case, set: set, step: step, from: set.FromMS / hourMS * hourMS, mould: map[string]*mould.Result{},
		wood: map[string]*timber.Result{}, healthy: map[int]float64{}}
	per := w.perHour()
	w.n = int((set.UntilMS-w.from)/step) / per * per
	w.fine = timeline.Rows(roof.InTurn, set, w.from, w.from+int64(w.n)*step, step)
	w.hours = timeline.Fold(w.fine, per)
	for _, s := range set.Case.Surfaces() {
		c, err := risk.Margin(set, s.ID)
		if err != nil {
			continue
		}
		spells, err := spell.Hourly(c.AtMS, c.SurfaceC, c.AirPa, c.Joined)
		require.NoError(t, err)
		w.mould[s.ID], _ = mould.Run(spells, mould.MediumResistant)
		w.wood[s.ID], _ = timber.Lag(spells, 25)
	}
	return w
}

func (w *winter) perHour() int { return int(hourMS / w.step) }

// input is the look at step k: rows up to there and the slow figures of that
// night.
func (w *winter) input(k int, chance *float64) Input {
	now := w.from + int64(k)*w.step
	per := w.perHour()
	h := k / per
	first := max(0, h-24*Days)
	rows := w.hours[first:h:h]
	if k%per > 0 {
		rows = append(slices.Clone(rows), timeline.Fold(w.fine[h*per:k], per)...)
	}
	in := Input{Case: w.c, Rows: rows, FromMS: w.from + int64(first)*hourMS, Now: time.UnixMilli(now).UTC(),
		Chance: chance}
	night := (now - hourMS*12) / (24 * hourMS) * 24 * hourMS
	in.Slow = &Slow{At: time.UnixMilli(night).UTC()}
	w.diagnose(in.Slow, night)
	for _, s := range w.c.Surfaces() {
		x := SlowSurface{Surface: s.ID}
		if r := w.mould[s.ID]; r != nil {
			x.Mould, x.MouldPast, x.MouldKnown = indexAt(r.Course, night), indexAt(r.Course, night-14*24*hourMS), true
		}
		if r := w.wood[s.ID]; r != nil && len(r.Course) > 0 {
			i := sort.Search(len(r.Course), func(i int) bool { return r.Course[i].AtMS > night })
			if i > 0 {
				x.TimberPct, x.TimberKnown = r.Course[i-1].MCPct, true
			}
		}
		in.Slow.Surfaces = append(in.Slow.Surfaces, x)
	}
	return in
}

// diagnose asks for the cause as the nightly work does, every second day here.
func (w *winter) diagnose(s *Slow, night int64) {
	days := int((night - w.from) / (24 * hourMS))
	if days < enoughDays {
		return
	}
	days -= days % 2
	h, ok := w.healthy[days]
	if !ok {
		cut := *w.set
		cut.UntilMS = w.from + int64(days)*24*hourMS
		cut.Courses = slices.Clone(cut.Courses)
		for i := range cut.Courses {
			c := &cut.Courses[i]
			for _, t := range []*series.Track{&c.TempC, &c.RHPct, &c.VapourPa, &c.WoodPct, &c.WindMS, &c.SunWM2, &c.RainMM} {
				*t = t.Until(cut.UntilMS)
			}
		}
		for _, x := range cause.Find(&cut, cause.Options{}).Causes {
			if x.Cause == cause.NoneFound || x.Cause == cause.NightSkyCooling {
				h += x.Support
			}
		}
		w.healthy[days] = h
	}
	s.Healthy, s.Days = &h, float64(days)
}

func indexAt(c []mould.Point, ms int64) float64 {
	i := sort.Search(len(c), func(i int) bool { return c[i].AtMS > ms })
	if i == 0 {
		return 0
	}
	return c[i-1].Index
}

// spellOf is one unbroken wetting.
type spellOf struct {
	surface     string
	from, until time.Time
}

// truth lists the wettings of at least six hours of the slope that is logged.
func truth(win *roofsim.Winter, slope int) (out []spellOf) {
	course := func(name string, surf, air []float64) {
		start := -1
		for j := 0; j <= win.N; j++ {
			wet := j < win.N && surf[j]-psychro.LimitC(air[j]) <= 0
			switch {
			case wet && start < 0:
				start = j
			case !wet && start >= 0:
				if d := time.Duration(j-start) * win.Step; d >= 6*time.Hour {
					out = append(out, spellOf{name, win.Start.Add(time.Duration(start) * win.Step),
						win.Start.Add(time.Duration(j) * win.Step)})
				}
				start = -1
			}
		}
	}
	s := win.Slope[slope]
	course("slate", s.CoverC, s.VoidPa)
	course("felt", s.UnderlayC, win.LoftPa)
	return out
}

func simulated(t testing.TB, seed uint64, planted roofsim.Cause, days int) (*winter, []spellOf) {
	t.Helper()
	// A house without a planted fault is healthy, whatever dew it gets.
	world, ok := roofworlds.Draw(seed, planted), true
	if planted != roofsim.NoneFound {
		world, _, ok = roofworlds.DrawProven(seed, planted, days)
	}
	if !ok {
		return nil, nil
	}
	win := roofsim.Run(world, roofsim.Options{Days: days})
	w, m := measuredWith(t, win, seed)
	// Until the pipe leaks the roof is sound and its water dew.
	leaks := win.Start
	if world.Roof.PlumbingKgDay > 0 {
		leaks = leaks.Add(time.Duration(world.Roof.PlumbingFrom * float64(24*time.Hour)))
	}
	return w, slices.DeleteFunc(truth(win, m.Slope), func(s spellOf) bool { return s.from.Before(leaks) })
}

// measured is a simulated winter as ordinary loggers saw it.
func measured(t testing.TB, win *roofsim.Winter, seed uint64) *winter {
	w, _ := measuredWith(t, win, seed)
	return w
}

func measuredWith(t testing.TB, win *roofsim.Winter, seed uint64) (*winter, *roofsim.Measured) {
	return measuredBy(t, win, seed, stepMS)
}

func measuredBy(t testing.TB, win *roofsim.Winter, seed uint64, step int64) (*winter, *roofsim.Measured) {
	t.Helper()
	m := roofworlds.Kit{Interval: 10 * time.Minute, Faults: roofsim.FieldFaults()}.Measure(win, seed)
	flagged, err := qc.Flag(m.Case, func(logger string) iter.Seq2[roof.Reading, error] {
		rows := m.Of(logger)
		sort.SliceStable(rows, func(i, j int) bool { return rows[i].At.Before(rows[j].At) })
		return func(yield func(roof.Reading, error) bool) {
			for _, r := range rows {
				if r.Arrived.Sub(r.At) <= 48*time.Hour && !yield(r, nil) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	set, err := series.Build(m.Case, 0, flagged)
	require.NoError(t, err)
	return layOutBy(t, set, step), m
}

// lived is what a household went through in one winter.
type lived struct {
	messages []alert.Message
	covered  []string // each spell: message, standing, no
	known    time.Time
}

// live runs a winter through looks, steps and plans.
func live(w *winter, spells []spellOf, each func(k int, b *alert.Book)) lived {
	b := &alert.Book{}
	rules := alert.RulesOf(w.c.Alerts)
	var out lived
	standing := make([]bool, w.n+1)
	for k := 3; k <= w.n; k++ {
		in := w.input(k, nil)
		v := Look(in)
		if v.Level == alert.Damp && out.known.IsZero() {
			out.known = in.Now
		}
		b.Judge(v.Level, in.Now)
		alert.Step(b, v.Signs, rules, in.Now)
		for _, m := range alert.Plan(b, alert.PlanInput{Case: w.c, Rules: rules}, in.Now) {
			if m.To == alert.Household {
				out.messages = append(out.messages, m)
			}
		}
		standing[k] = b.Announced(in.Now)
		if each != nil {
			each(k, b)
		}
	}
	for _, s := range spells {
		how := "no"
		for _, m := range out.messages {
			if m.Kind != alert.Over && !m.At.Before(s.from.Add(-18*time.Hour)) && !m.At.After(s.from.Add(time.Hour)) {
				how = "message"
			}
		}
		if k := int((s.from.UnixMilli() - w.from) / stepMS); how == "no" && k >= 0 && k <= w.n && standing[min(k+3, w.n)] {
			how = "standing"
		}
		out.covered = append(out.covered, how)
	}
	return out
}

// figures are what many winters came to.
type figures struct {
	messages []int // per winter
	spells   int
	by       map[string]int
	after    map[string]int // spells from the third day on, when a full two days are known
	kinds    map[string]int
}

func (f *figures) add(t testing.TB, seed uint64, planted roofsim.Cause, days int) {
	w, spells := simulated(t, seed, planted, days)
	if w == nil {
		t.Logf("%-22s %6d: no winter in which it matters", planted, seed)
		return
	}
	l := live(w, spells, nil)
	if f.by == nil {
		f.by, f.after, f.kinds = map[string]int{}, map[string]int{}, map[string]int{}
	}
	f.messages = append(f.messages, len(l.messages))
	f.spells += len(spells)
	for i, how := range l.covered {
		f.by[how]++
		if spells[i].from.Sub(time.UnixMilli(w.from)) >= 10*24*time.Hour {
			f.after[how]++
		}
	}
	line := map[string]int{}
	for _, m := range l.messages {
		f.kinds[string(m.Kind)]++
		line[string(m.Kind)+": "+strings.SplitN(m.Subject, ": ", 2)[1]]++
	}
	t.Logf("%-22s %6d: %3d spells %v, %d messages %v", planted, seed, len(spells), f.tallied(l), len(l.messages), line)
}

func (*figures) tallied(l lived) map[string]int {
	out := map[string]int{}
	for _, h := range l.covered {
		out[h]++
	}
	return out
}

// quantile of the messages per winter.
func (f *figures) quantile(p float64) int {
	x := slices.Clone(f.messages)
	slices.Sort(x)
	return x[min(int(p*float64(len(x))), len(x)-1)]
}

func (f *figures) String() string {
	return fmt.Sprintf("%d winters: messages median %d, p95 %d, max %d; spells of 6 h %d %v, from the tenth day %v; "+
		"kinds %v", len(f.messages), f.quantile(.5), f.quantile(.95), f.quantile(1), f.spells, f.by, f.after, f.kinds)
}
