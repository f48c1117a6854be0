//go:build trials

package predict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/abroad"
	"dewcase/internal/testkit/roofworlds"
	"dewcase/internal/words"
)

// TestTrials sets predictions beside the truth on simulated winters: the same
// house in the same weather and household, with and without the work from the
// first day. TRIAL_FROM and TRIAL_TO are the seeds, TRIAL_PHYSICS=abroad takes
// the winters that nothing here was tuned on; a table is printed every tenth
// roof, so that a broken-off run has its figures.
func TestTrials(t *testing.T) {
	var y scores
	for seed := number("TRIAL_FROM", 1); seed <= number("TRIAL_TO", 40); seed++ {
		l := liveBy(t, lives(), uint64(seed), true)
		begun := time.Now()
		h := Fit(l.set, Before(l.set))
		took := time.Since(begun)
		p := DefaultPlan()
		p.HouseLeft = l.left
		n := len(y.rows)
		for _, x := range h.Predict(p).Predictions {
			if x.Work == Leave || x.AtRisk == nil || !(l.left > 0) {
				continue
			}
			y.rows = append(y.rows, scored{seed, x, l.truth(x.Work, x.Surface, h.Era)})
		}
		var refused []string
		for _, f := range h.Surfaces {
			if f.Refused.Kind != words.Predicted {
				refused = append(refused, f.Position.ID+": "+f.Refused.String())
			}
		}
		fmt.Printf("%d: %d predictions, %.1f s, %.0f nights; %s\n", seed, len(y.rows)-n, took.Seconds(),
			float64(h.Era.UntilMS-h.Era.FromMS)/float64(dayMS), strings.Join(refused, "; "))
		if len(y.rows) > n {
			y.roofs = append(y.roofs, seed)
		}
		if seed%10 == 0 {
			fmt.Println(y.String())
		}
	}
	fmt.Println(y.String())
}

// hours are the truth of a surface over [from, until).
func (l *lived) hours(w *roofsim.Winter, surface string, from, until time.Time) roofworlds.Hours {
	if surface == "underlay" {
		return roofworlds.UnderlayHours(w, l.slope, from, until)
	}
	return roofworlds.CoverHours(w, l.slope, from, until)
}

// truth is the logarithm of each quantity's ratio, with the work over without.
func (l *lived) truth(work Work, surface string, e Era) (out [quantities]float64) {
	from, until := time.UnixMilli(e.FromMS), time.UnixMilli(e.UntilMS)
	a, b := l.hours(l.worked[work], surface, from, until), l.hours(l.bare, surface, from, until)
	ln := func(x, y float64) float64 { return math.Log((x + 2) / (y + 2)) }
	out[atRisk], out[wet], out[water] = ln(a.AtRisk, b.AtRisk), ln(a.Condensing, b.Condensing),
		ln(a.DepositGM2, b.DepositGM2)
	return out
}

func number(key string, usual int) int {
	if n, err := strconv.Atoi(os.Getenv(key)); err == nil {
		return n
	}
	return usual
}

func lives() physics {
	if os.Getenv("TRIAL_PHYSICS") == "abroad" {
		return abroad.Run
	}
	return roofsim.Run
}

// TestTrialsOfScores sets what is scored beside the truth: a prediction of the
// last evening before a work, run on through the nights after it, against the
// same house without the work in the same weather.
func TestTrialsOfScores(t *testing.T) {
	held := map[Work][4]int{} // n, 80 % at risk, 95 % at risk, 95 % wet
	for seed := number("TRIAL_FROM", 1); seed <= number("TRIAL_TO", 40); seed++ {
		w := []Work{VoidVented, LoftVented, CeilingSealed, VentsAndCeiling}[seed%4]
		l, e := repaired(t, lives(), uint64(seed), w)
		h := Fit(l.set, BeforeWork(l.set, e, func(roof.Event) bool { return false }))
		for _, f := range h.Surfaces {
			s, why := h.Score(l.set, e, f.Position.ID, DefaultPlan())
			if why != words.Scored {
				continue
			}
			after := Era{FromMS: e.At.UnixMilli() + 4*dayMS, UntilMS: l.set.UntilMS}
			truth := l.truth(w, f.Position.ID, after)
			x := held[w]
			count := func(i int, q quantity, r *Range, reach float64) {
				if r != nil && math.Abs(truth[q]-r.Mean) <= reach*r.Sigma {
					x[i]++
				}
			}
			x[0]++
			count(1, atRisk, &s.AtRisk, reach80)
			count(2, atRisk, &s.AtRisk, reach95)
			count(3, wet, s.Wet, reach95)
			held[w] = x
			fmt.Printf("%d %s %s: true %.2f, predicted %.2f +- %.2f (%d nights)\n", seed, w, f.Position.ID, truth[atRisk],
				s.AtRisk.Mean, s.AtRisk.Sigma, s.Nights)
		}
		if seed%10 == 0 {
			fmt.Println(held)
		}
	}
	fmt.Println("work: n, 80 % at risk held, 95 % at risk held, 95 % wet held:", held)
}

// repaired is a house that lives through a winter with one of the works done on
// its 45th day, beside its twin without.
func repaired(t *testing.T, run physics, seed uint64, w Work) (*lived, roof.Event) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 0x5c07ed))
	causes := roofworlds.Causes()
	world := roofworlds.SecondKind.Draw(seed, causes[int(seed/4)%len(causes)])
	at := world.Start.AddDate(0, 0, 45).Add(10 * time.Hour)
	p := DefaultPlan()
	most := func(a, b float64) *float64 { x := max(a, b); return &x }
	x := roofsim.Repair{At: at}
	var changes []roof.Change
	if w == VoidVented {
		x.VoidEavesMM, x.VoidRidgeMM = most(world.Roof.VoidEavesMM[0], p.VoidEavesMM),
			most(world.Roof.VoidRidgeMM[0], p.VoidRidgeMM)
		changes = append(changes, roof.VoidVentilation)
	}
	if w == LoftVented || w == VentsAndCeiling {
		x.LoftEavesMM, x.LoftRidgeMM = most(world.Roof.LoftEavesMM, p.LoftEavesMM),
			most(world.Roof.LoftRidgeMM, p.LoftRidgeMM)
		changes = append(changes, roof.LoftVentilation)
	}
	if w == CeilingSealed || w == VentsAndCeiling {
		x.CeilingLeakFactor = 0.08 + 0.6*r.Float64()
		changes = append(changes, roof.CeilingChange)
	}
	o := roofsim.Options{Days: 95}
	bare := run(world, o)
	o.Repairs = []roofsim.Repair{x}
	with := run(world, o)
	kit := roofworlds.Kit{Interval: 10 * time.Minute, Faults: roofworlds.RoughFaults(), CaseID: "trial"}
	m := kit.Measure(with, seed)
	for i := range m.Case.Events {
		m.Case.Events[i].Changes = changes
	}
	return &lived{set: buildSet(t, m), slope: m.Slope, bare: bare, worked: map[Work]*roofsim.Winter{w: with}},
		m.Case.Repairs()[0]
}

type scored struct {
	seed int
	Prediction
	truth [quantities]float64
}

func (s scored) of(q quantity) *Range { return [quantities]*Range{s.AtRisk, s.Wet, s.Water}[q] }

type scores struct {
	roofs []int
	rows  []scored
}

var quantityNames = [quantities]string{"at-risk", "wet", "water"}

// String is the table: coverages with bootstrap intervals over roofs, mean
// absolute errors of the fall beside those of the average effect and of saying
// nothing, directions, pairs and warnings.
func (y *scores) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d roofs, %d predictions\n", len(y.roofs), len(y.rows))
	for _, surface := range []string{"", "slate", "underlay"} {
		for q := range quantities {
			rows := slices.DeleteFunc(slices.Clone(y.rows),
				func(s scored) bool { return s.of(q) == nil || surface != "" && s.Surface != surface })
			y.line(&b, strings.TrimSpace(quantityNames[q]+" "+surface), q, rows)
		}
	}
	for _, surface := range []string{"slate", "underlay"} {
		for _, w := range Works()[:5] {
			for q := range water {
				rows := slices.DeleteFunc(slices.Clone(y.rows),
					func(s scored) bool { return s.of(q) == nil || s.Surface != surface || s.Work != w })
				y.line(&b, fmt.Sprintf("%s %s %s", quantityNames[q], surface, w), q, rows)
			}
		}
	}
	y.pairs(&b)
	y.harm(&b)
	return b.String()
}

func (y *scores) line(b *strings.Builder, name string, q quantity, rows []scored) {
	if len(rows) == 0 {
		return
	}
	average := map[string][2]float64{}
	for _, s := range rows {
		k := s.Surface + string(s.Work)
		average[k] = [2]float64{average[k][0] + math.Expm1(s.truth[q]), average[k][1] + 1}
	}
	var mine, mean, nothing float64
	right, effects := 0, 0
	for _, s := range rows {
		r, true_ := s.of(q), math.Expm1(s.truth[q])
		a := average[s.Surface+string(s.Work)]
		mine += math.Abs(math.Expm1(r.Mean) - true_)
		mean += math.Abs(a[0]/a[1] - true_)
		nothing += math.Abs(true_)
		if math.Abs(true_) > 0.1 {
			effects++
			if r.Mean*true_ > 0 {
				right++
			}
		}
	}
	n := float64(len(rows))
	holds := func(reach float64) string {
		in := func(s scored) float64 {
			if math.Abs(s.truth[q]-s.of(q).Mean) <= reach*s.of(q).Sigma {
				return 1
			}
			return 0
		}
		share, lo, hi := overRoofs(rows, in)
		return fmt.Sprintf("%.0f [%.0f, %.0f]", 100*share, 100*lo, 100*hi)
	}
	fmt.Fprintf(b, "%-36s n %4d  95 %%: %-14s 80 %%: %-14s error %.3f average %.3f nothing %.3f direction %d of %d\n",
		name,
		len(rows), holds(reach95), holds(reach80), mine/n, mean/n, nothing/n, right, effects)
}

// overRoofs is a share with its bootstrap interval over roofs.
func overRoofs(rows []scored, in func(scored) float64) (share, lo, hi float64) {
	by := map[int][2]float64{}
	for _, s := range rows {
		by[s.seed] = [2]float64{by[s.seed][0] + in(s), by[s.seed][1] + 1}
	}
	var all [][2]float64
	sum, n := 0.0, 0.0
	for _, x := range by {
		all = append(all, x)
		sum, n = sum+x[0], n+x[1]
	}
	slices.SortFunc(all, func(a, c [2]float64) int { return int(math.Copysign(1, a[0]/a[1]-c[0]/c[1])) })
	r := rand.New(rand.NewPCG(1, 2))
	var got []float64
	for range 1000 {
		a, c := 0.0, 0.0
		for range all {
			x := all[r.IntN(len(all))]
			a, c = a+x[0], c+x[1]
		}
		got = append(got, a/c)
	}
	slices.Sort(got)
	return sum / n, got[25], got[975]
}

// pairs counts the pairs of works at one surface whose true falls of the hours
// at risk, and of the wet hours, lie over ten points apart.
func (y *scores) pairs(b *strings.Builder) {
	for q := range water {
		right, n := 0, 0
		for i, s := range y.rows {
			for _, o := range y.rows[i+1:] {
				if o.seed != s.seed || o.Surface != s.Surface || s.of(q) == nil || o.of(q) == nil {
					continue
				}
				if d := math.Expm1(s.truth[q]) - math.Expm1(o.truth[q]); math.Abs(d) > 0.1 {
					n++
					if d*(s.of(q).Mean-o.of(q).Mean) > 0 {
						right++
					}
				}
			}
		}
		fmt.Fprintf(b, "pairs over 10 points apart, %s: %d of %d in the right order\n", quantityNames[q], right, n)
	}
}

// harm counts warnings on the covering against wet hours that rose by a tenth.
func (y *scores) harm(b *strings.Builder) {
	warned, truly, both := 0, 0, 0
	for _, s := range y.rows {
		if s.Surface != "slate" || s.Wet == nil {
			continue
		}
		bad := s.truth[wet] >= harmLn
		switch {
		case s.Harms && bad:
			warned, truly, both = warned+1, truly+1, both+1
		case s.Harms:
			warned++
		case bad:
			truly++
		}
	}
	fmt.Fprintf(b, "harm on the covering: %d truly, %d warned, %d of these truly\n", truly, warned, both)
}
