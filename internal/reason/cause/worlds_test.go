package cause

import (
	"fmt"
	"iter"
	"math"
	"slices"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/qc"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// world is one simulated winter as measured, with what was planted.
type world struct {
	planted  roofsim.Cause
	seed     uint64
	measured *roofsim.Measured
}

func (w world) rightAnswers() []Cause {
	var out []Cause
	for _, f := range roofworlds.Findings(w.planted) {
		out = append(out, Cause(f))
	}
	return out
}

// measure lets a house live through a winter and reads it.
func measure(seed uint64, w roofsim.World, days int) world {
	return read(seed, roofsim.Run(w, roofsim.Options{Days: days}))
}

// read reads a winter with loggers of ordinary or cheap make and a survey that is
// partly unknown and sometimes wrong.
func read(seed uint64, w *roofsim.Winter) world {
	kit := roofworlds.Kit{Interval: 10 * time.Minute, SecondSlope: seed%3 == 0, Faults: roofsim.FieldFaults(),
		Blur: roofworlds.Blur{UnknownShare: 0.2, WrongShare: 0.04}}
	if seed%2 == 1 {
		kit.Faults = roofworlds.RoughFaults()
	}
	return world{w.World.Cause, seed, kit.Measure(w, seed)}
}

// set builds the series, without the places named and up to some days.
func (w world) set(t testing.TB, days int, without ...roof.Place) *series.Set {
	c := *w.measured.Case
	c.Positions = slices.DeleteFunc(slices.Clone(c.Positions),
		func(p roof.Position) bool { return slices.Contains(without, p.Place) })
	var until int64
	if days > 0 {
		first := w.measured.Readings[0].At
		until = first.Add(time.Duration(days) * 24 * time.Hour).UnixMilli()
	}
	by := map[string][]roof.Reading{}
	for _, r := range w.measured.Readings {
		by[r.Logger] = append(by[r.Logger], r)
	}
	flagged, err := qc.Flag(&c, func(logger string) iter.Seq2[roof.Reading, error] {
		rows := slices.Clone(by[logger])
		sort.SliceStable(rows, func(i, j int) bool { return rows[i].At.Before(rows[j].At) })
		return func(yield func(roof.Reading, error) bool) {
			for _, r := range rows {
				// a clock a year early is flagged on arrival
				if r.Arrived.Sub(r.At) > 48*time.Hour {
					continue
				}
				if !yield(r, nil) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	set, err := series.Build(&c, until, flagged)
	require.NoError(t, err)
	return set
}

// tally counts answers against the truth.
type tally struct {
	n, right, wrong, undetermined, confidentRight, confidentWrong int
	brier                                                         float64
	confusion                                                     map[string]map[Cause]int
	hints                                                         map[string]int // answers that named a second cause
	bins                                                          [10]struct {
		n         int
		hit, mean float64
	}
	// bands are those of the leading cause's support, below 0.5, 0.7, 0.8 and
	// above: how often it was among the true causes, and how often it was said to be.
	bands [4]struct {
		n         int
		hit, said float64
	}
}

func (y *tally) add(planted string, right []Cause, f Finding) {
	y.n++
	if y.confusion == nil {
		y.confusion = map[string]map[Cause]int{}
	}
	if y.confusion[planted] == nil {
		y.confusion[planted] = map[Cause]int{}
	}
	y.confusion[planted][f.Finding]++
	if y.hints == nil {
		y.hints = map[string]int{}
	}
	if f.With != "" {
		y.hints[planted]++
	}
	ok := slices.Contains(right, f.Finding)
	switch {
	case f.Finding == Undetermined:
		y.undetermined++
	case ok:
		y.right++
	default:
		y.wrong++
	}
	// "confident" follows the support, whatever the finding
	if f.Causes[0].Support > 0.8 {
		if slices.Contains(right, f.Leading) {
			y.confidentRight++
		} else {
			y.confidentWrong++
		}
	}
	lead := f.Causes[0].Support
	band := &y.bands[0]
	for i, from := range []float64{0.5, 0.7, 0.8} {
		if lead >= from {
			band = &y.bands[i+1]
		}
	}
	band.n++
	band.said += lead
	if slices.Contains(right, f.Leading) {
		band.hit++
	}
	truth := 0.0
	for _, s := range f.Causes {
		hit := 0.0
		if slices.Contains(right, s.Cause) {
			truth += s.Support
			hit = 1 / float64(len(right))
		}
		b := &y.bins[min(int(s.Support*10), 9)]
		b.n++
		b.hit += hit
		b.mean += s.Support
	}
	y.brier += (1 - truth) * (1 - truth)
}

func (y *tally) pct(n int) float64 { return 100 * float64(n) / math.Max(float64(y.n), 1) }

func (y *tally) String() string {
	return fmt.Sprintf("N %4d  right %5.1f %%  wrong %5.1f %%  undetermined %5.1f %%  confident and right %5.1f %%  "+
		"confident and wrong %4.1f %%  Brier %.3f",
		y.n, y.pct(y.right), y.pct(y.wrong), y.pct(y.undetermined), y.pct(y.confidentRight), y.pct(y.confidentWrong),
		y.brier/math.Max(float64(y.n), 1))
}

func (y *tally) table() string {
	var b strings.Builder
	heads := append(Named(), Undetermined)
	fmt.Fprintf(&b, "%-24s", "")
	for _, c := range heads {
		fmt.Fprintf(&b, "%9.8s", c)
	}
	b.WriteByte('\n')
	for _, p := range roofworlds.Causes() {
		row := y.confusion[string(p)]
		if row == nil {
			continue
		}
		fmt.Fprintf(&b, "%-24s", p)
		for _, c := range heads {
			fmt.Fprintf(&b, "%9d", row[c])
		}
		fmt.Fprintf(&b, "   second cause named %d", y.hints[string(p)])
		b.WriteByte('\n')
	}
	for _, band := range y.bands {
		if n := float64(band.n); n > 0 {
			fmt.Fprintf(&b, "leading: said %.2f right %.2f, difference %+.2f, n %d\n", band.said/n, band.hit/n,
				(band.said-band.hit)/n, band.n)
		}
	}
	for i, bin := range y.bins {
		if bin.n > 0 {
			fmt.Fprintf(&b, "support %.1f-%.1f: mean %.2f true %.2f n %d\n", float64(i)/10, float64(i+1)/10,
				bin.mean/float64(bin.n), bin.hit/float64(bin.n), bin.n)
		}
	}
	return b.String()
}
