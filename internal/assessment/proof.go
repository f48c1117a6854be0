package assessment

import (
	"dewcase/internal/cause"
	"dewcase/internal/repair"
	"dewcase/internal/roof"
)

// unchanged tells which repairs were shown to change nothing at any surface
// they treat, so that the search for the cause may look across them.
func unchanged(results []repair.Result) func(roof.Event) bool {
	return func(e roof.Event) bool {
		seen := false
		for _, r := range results {
			if !r.At.Equal(e.At) {
				continue
			}
			if r.Verdict != repair.NoChangeShown {
				return false
			}
			seen = true
		}
		return seen
	}
}

func verdicts(results []repair.Result) []Repair {
	out := []Repair{}
	for _, r := range results {
		out = append(out, Repair{At: r.At.UTC(), Surface: r.Surface, Verdict: string(r.Verdict),
			ReductionPct: tenth(r.ReductionPct), LowPct: tenth(r.LowPct), HighPct: tenth(r.HighPct),
			AtRiskReductionPct: tenth(r.AtRiskReductionPct), AtRiskLowPct: tenth(r.AtRiskLowPct), AtRiskHighPct: tenth(r.AtRiskHighPct),
			CondensateReductionPct: tenth(r.CondensateReductionPct), CondensateLowPct: tenth(r.CondensateLowPct), CondensateHighPct: tenth(r.CondensateHighPct),
			NightsBefore: r.NightsBefore, NightsAfter: r.NightsAfter, Needs: r.Needs})
	}
	return out
}

func diagnosis(f cause.Finding) Diagnosis {
	d := Diagnosis{Finding: string(f.Finding), Causes: []Cause{}, Next: f.NextText()}
	for _, s := range f.Causes {
		d.Causes = append(d.Causes, Cause{Cause: string(s.Cause), Support: round(s.Support, supportDecimals), For: texts(s.For), Against: texts(s.Against)})
	}
	sumToOne(d.Causes)
	return d
}

const supportDecimals = 6

// sumToOne gives what rounding lost to the best supported cause, where it
// weighs least, so that the figures as printed sum to 1.
func sumToOne(causes []Cause) {
	if len(causes) == 0 {
		return
	}
	rest := 1.0
	for _, c := range causes[1:] {
		rest -= c.Support
	}
	causes[0].Support = round(rest, supportDecimals)
}

func texts(lines []cause.Evidence) []string {
	out := []string{}
	for _, e := range lines {
		out = append(out, e.Text)
	}
	return out
}

func tenth(x *float64) *float64 {
	if x == nil {
		return nil
	}
	y := round(*x, 2)
	return &y
}
