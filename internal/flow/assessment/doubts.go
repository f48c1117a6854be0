package assessment

import (
	"slices"
	"strings"

	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/mechanism"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/words"
)

// doubtsOf lists the loggers whose units cannot be, each put into words.
func doubtsOf(set *series.Set) []evidence.Doubt {
	doubts := evidence.Doubts(set)
	for i, d := range doubts {
		said, step := words.UnitDoubt(string(d.Kind), d.Logger, d.Value)
		doubts[i].Said, doubts[i].Step, doubts[i].Text = said, step, said+" "+words.Sentence(step)
	}
	return doubts
}

// DoubtAt says why nothing is concluded at a surface, in words; "" where all can
// be.
func (a *Assessment) DoubtAt(s Surface) string {
	for _, d := range a.Doubts {
		if d.Position == s.Surface || d.Position == s.Air {
			return d.Said
		}
	}
	return ""
}

// doubt takes back what would be concluded without the loggers that cannot be
// believed: no cause is named and no repair judged. Doubts names them first; each
// section after it says once why it is silent and what would help.
func (a *Answer) doubt(whole *series.Set, doubts []evidence.Doubt) {
	a.Doubts = append([]evidence.Doubt{}, doubts...)
	if len(doubts) == 0 {
		return
	}
	var said, steps []string
	for _, d := range doubts {
		said, steps = append(said, d.Said), append(steps, d.Step)
	}
	for i := range whole.Courses {
		a.Coverage[i] = coverage(whole, &whole.Courses[i])
	}
	for i, s := range a.Surfaces {
		if text := a.DoubtAt(s); text != "" {
			a.Surfaces[i].Notes = slices.Insert(a.Surfaces[i].Notes, 0, text)
		}
	}
	f := &a.Finding
	f.Finding, f.Strength, f.Firm, f.Mixed, f.With = cause.Undetermined, "", false, "", ""
	f.Reasons, f.Next, f.Activities, f.Settle = said, steps, nil, nil
	for i, r := range a.Repairs {
		a.Repairs[i].Exchanges, a.Repairs[i].OnlySeen = []mechanism.Result{}, nil
		a.Repairs[i].Result = repair.Result{At: r.At, What: r.What, Surface: r.Surface, Air: r.Air, Verdict: repair.TooEarly,
			NightsBefore: r.NightsBefore, NightsAfter: r.NightsAfter, Needs: strings.Join(steps, "; "),
			Reason: strings.Join(said, " "), Notes: r.Notes, Credit: r.Credit}
	}
}

// doubted reports that a line was said at the head of the text, among the doubts.
func (a Assessment) doubted(line string) bool {
	return slices.ContainsFunc(a.Doubts, func(d evidence.Doubt) bool {
		return strings.Contains(line, d.Said) || strings.Contains(line, d.Step)
	})
}
