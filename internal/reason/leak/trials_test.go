//go:build trials

package leak

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"dewcase/internal/words"
)

// TestTrials measures how often a leak's repair is judged rightly by wood, on
// boards of diffusion: TRIAL_N of each share that is left, seeds from TRIAL_FROM.
func TestTrials(t *testing.T) {
	number := func(key string, usual int) int {
		if n, err := strconv.Atoi(os.Getenv(key)); err == nil {
			return n
		}
		return usual
	}
	n, from := number("TRIAL_N", 200), number("TRIAL_FROM", 1)
	for _, left := range []float64{1, 0.7, 0.5, 0.25, 0} {
		worked, none, told := 0, 0, 0
		by := map[int]int{20: 0, 40: 0, 60: 0}
		covered, shares := 0, 0
		for seed := range n {
			r := rand.New(rand.NewPCG(uint64(from+seed), 0x77e7))
			b := drawBoard(r, left)
			set := b.lived(r)
			first, ever := 0, false
			for day := 6; day <= 60; day += 2 {
				x := Judge(asOf(set, float64(day)), set.Case.Events[0])
				if x.Verdict == words.Worked && first == 0 {
					first = day
				}
				ever = ever || x.Verdict == words.NoChangeShown && day < 60
				if day == 60 {
					told++
					if x.Share != nil {
						shares++
						if *x.ShareLow <= left && left <= *x.ShareHigh {
							covered++
						}
					}
				}
			}
			if first > 0 {
				worked++
				for d := range by {
					if first <= d {
						by[d]++
					}
				}
			}
			if ever {
				none++
			}
		}
		low, high := wilson(worked, n)
		fmt.Printf("left %.2f, n %d: worked ever %d (%.1f %% [%.1f, %.1f]); by 20 days %d, 40 %d, 60 %d; no change shown "+
			"before day 60 %d; a share told %d, its interval holds %d\n", left, n, worked, 100*float64(worked)/float64(n),
			100*low, 100*high, by[20], by[40], by[60], none, shares, covered)
	}
}

// wilson is the 95 % interval of a share (Wilson 1927).
func wilson(k, n int) (low, high float64) {
	const z = 1.96
	p, m := float64(k)/float64(n), float64(n)
	den := 1 + z*z/m
	c := (p + z*z/(2*m)) / den
	h := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m)) / den
	return max(c-h, 0), min(c+h, 1)
}

// TestProbes measures what wood at the wet spot settles, by how it is read: whether
// more water comes in than the air gives, before any work and of boards that no
// water reaches, and whether a leak that was stopped is called so by 60 days.
func TestProbes(t *testing.T) {
	number := func(key string, usual int) int {
		if n, err := strconv.Atoi(os.Getenv(key)); err == nil {
			return n
		}
		return usual
	}
	n, from := number("TRIAL_N", 200), number("TRIAL_FROM", 1)
	for _, byHand := range []bool{false, true} {
		shown, dryShown := 0, 0
		worked := map[int]int{}
		for seed := range n {
			r := rand.New(rand.NewPCG(uint64(from+seed), 0x77e7))
			b := drawBoard(r, 0)
			b.byHand = byHand
			dry := b
			dry.excessPct = 0
			told := func(x Result) bool { return len(x.Spots) > 0 && x.Spots[0].share != nil }
			set, untouched := b.lived(r), dry.lived(r)
			first := 0
			for day := 14; day <= 60; day += 2 {
				if x := Judge(asOf(set, float64(day)), set.Case.Events[0]); x.Verdict == words.Worked {
					first = day
					break
				}
			}
			for _, day := range []int{20, 40, 60} {
				if first > 0 && first <= day {
					worked[day]++
				}
			}
			if told(Judge(asOf(set, 20), set.Case.Events[0])) {
				shown++
			}
			if told(Judge(asOf(untouched, 20), untouched.Case.Events[0])) {
				dryShown++
			}
		}
		rate := func(k int) string {
			low, high := wilson(k, n)
			return fmt.Sprintf("%d (%.0f %% [%.0f, %.0f])", k, 100*float64(k)/float64(n), 100*low, 100*high)
		}
		fmt.Printf("by hand %v, n %d: water shown %s, of dry boards %s; stopped called so by 20 days %s, 40 %s, 60 %s\n",
			byHand, n, rate(shown), rate(dryShown), rate(worked[20]), rate(worked[40]), rate(worked[60]))
	}
}

func drawBoard(r *rand.Rand, left float64) board {
	b := board{thicknessM: 0.025 + 0.025*r.Float64(), diffusion: 0.6e-10 * math.Pow(3, r.Float64()),
		excessPct: 6 + 16*r.Float64(), depth: r.IntN(cells), hysteresisPct: 2 * r.Float64(), rainy: 0.25 + 0.3*r.Float64(),
		plumbing: r.IntN(4) == 0, left: left, byHand: r.IntN(2) == 0, biasPct: r.NormFloat64()}
	if r.IntN(3) == 0 {
		b.oneFace, b.thicknessM = true, 0.018+0.007*r.Float64()
	}
	return b
}
