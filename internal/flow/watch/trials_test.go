//go:build trials

package watch

import (
	"os"
	"slices"
	"strconv"
	"testing"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/testkit/roofworlds"
)

// TestTrials measures what households are told over many simulated winters:
//
//	nice -n 15 go test -tags trials -run TestTrials -timeout 3h -v ./internal/flow/watch
//
// DEWCASE_TRIALS is the number of winters (default 200, half of them healthy),
// DEWCASE_SEED the first seed.
func TestTrials(t *testing.T) {
	number := func(key string, or int) int {
		if n, err := strconv.Atoi(os.Getenv(key)); err == nil {
			return n
		}
		return or
	}
	n, seed := number("DEWCASE_TRIALS", 200), uint64(number("DEWCASE_SEED", 910_000))
	const days = 120
	var healthy, defective figures
	by := map[roofsim.Cause]*figures{}
	for k := range n / 2 {
		for _, c := range []roofsim.Cause{healthyCauses[k%2], defects()[k%len(defects())]} {
			if by[c] == nil {
				by[c] = &figures{}
			}
			f := &healthy
			if k%2 >= 0 && c != roofsim.NoneFound && c != roofsim.NightSkyCooling {
				f = &defective
			}
			one := &figures{}
			one.add(t, seed+uint64(k), c, days)
			f.join(one)
			by[c].join(one)
		}
	}
	for c, f := range by {
		t.Logf("%-22s %s", c, f)
	}
	t.Logf("HEALTHY %s", &healthy)
	t.Logf("DEFECTIVE %s", &defective)
	if healthy.quantile(.5) != 0 || healthy.quantile(.95) > 1 {
		t.Errorf("a healthy roof rings too often")
	}
	if defective.quantile(.5) > 8 {
		t.Errorf("a defective roof rings %d times a winter", defective.quantile(.5))
	}
	// Leaks that do not yet show in the air cannot be announced.
	if missed := defective.by["no"]; float64(missed) > 0.02*float64(defective.spells) {
		t.Errorf("%d of %d spells of six wet hours were not announced", missed, defective.spells)
	}
}

// healthyCauses have no defect; every other planted cause is one.
var healthyCauses = []roofsim.Cause{roofsim.NoneFound, roofsim.NightSkyCooling}

func defects() (out []roofsim.Cause) {
	for _, c := range roofworlds.Causes() {
		if !slices.Contains(healthyCauses, c) {
			out = append(out, c)
		}
	}
	return out
}

// join adds the figures of further winters.
func (f *figures) join(o *figures) {
	f.messages = append(f.messages, o.messages...)
	f.spells += o.spells
	for _, p := range []struct {
		to   *map[string]int
		from map[string]int
	}{{&f.by, o.by}, {&f.after, o.after}, {&f.kinds, o.kinds}} {
		if *p.to == nil {
			*p.to = map[string]int{}
		}
		for k, v := range p.from {
			(*p.to)[k] += v
		}
	}
}

// TestVigilTrials holds many winters watched by a vigil against the same winters
// looked at with every reading; DEWCASE_TRIALS is their number (default 40).
func TestVigilTrials(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("DEWCASE_TRIALS"))
	if err != nil {
		n = 40
	}
	var f vigils
	causes := roofworlds.Causes()
	for k := range n {
		f.add(t, 960_000+uint64(k), causes[k%len(causes)], 60)
	}
	t.Logf("%d looks of %d; otherwise %d of %d messages, %d of %d steps", f.looks, f.every, f.otherMessages, f.messages,
		f.otherSteps, f.steps)
	// One message that comes with another moves all that are counted after it.
	if f.otherMessages*50 > f.messages || f.otherSteps*50 > f.steps {
		t.Errorf("a vigil changes what is told")
	}
}
