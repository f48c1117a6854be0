package words

import (
	"fmt"
	"math"
	"strings"
)

// Fall is a fall in per cent, a rise below zero, with its own 95 % interval.
type Fall struct{ Pct, Low, High float64 }

// String is the figure with its interval: 71 (39 to 93).
func (f Fall) String() string { return Whole(f.Pct) + " (" + Interval(f.Low, f.High) + ")" }

// Three are the answers on one quantity beside a verdict, in the order in which
// they are told. Nil is an answer that could not be had.
type Three struct {
	What                  string // "hours at risk"
	Measured, Model, Like *Fall
	LikeNights            int
	Disagree              bool // two of them differ by more than their intervals
}

// String is the three in one sentence, empty where there is none.
func (t Three) String() string {
	var parts []string
	way, sign := "Fall", 1.0
	if rose := func(f *Fall) bool { return f == nil || f.Pct < 0 }; rose(t.Measured) && rose(t.Model) && rose(t.Like) {
		way, sign = "Rise", -1
	}
	for _, p := range []struct {
		by   string
		fall *Fall
	}{{"measured against unrepaired", t.Measured}, {"by the model", t.Model},
		{"on " + Count(t.LikeNights, "like night"), t.Like}} {
		if f := p.fall; f != nil {
			parts = append(parts, fmt.Sprintf("%s %s %% (%s)", p.by, Whole(sign*f.Pct),
				Interval(min(sign*f.Low, sign*f.High), max(sign*f.Low, sign*f.High))))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return way + " of the " + t.What + ", with 95 % intervals: " + strings.Join(parts, ", ") + "."
}

// Apart says where two of the three differ by more than their intervals; empty
// where none do.
func (t Three) Apart(where string) string {
	if !t.Disagree {
		return ""
	}
	return Upper(where) + ", the answers on the " + t.What +
		" differ by more than their intervals: weigh the verdict with " +
		"that. " + t.String()
}

// Correction says how roofs react beyond the model, and that no figure is moved
// by it.
func Correction(factor, low, high, wetPct float64, from string) string {
	return fmt.Sprintf("Not in these figures: beyond the model, roofs were found to react by a factor of %s (%s to %s) "+
		"on the logarithm of the change (%s). With it the wet hours would have %s by %s %%. It widens the intervals.",
		Fixed(factor, 1), Fixed(low, 1), Fixed(high, 1), from, map[bool]string{true: "risen", false: "fallen"}[wetPct < 0],
		Whole(math.Abs(wetPct)))
}

// Odds says what a sum of weights, in nats, makes of the odds of two causes.
func Odds(sum float64) string {
	x := math.Exp(math.Abs(sum))
	times := Figure(x)
	if x >= 1000 {
		times = "over a thousand"
	}
	if sum < 0 {
		return "the other is " + times + " times as likely"
	}
	return times + " times as likely as the other"
}

// Weight writes a weight of the ledger with its sign.
func Weight(nats float64) string { return Plus(nats, 2) }
