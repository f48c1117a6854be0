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
		doubts[i].Text = words.UnitDoubt(string(d.Kind), d.Logger, d.Value)
	}
	return doubts
}

// DoubtAt says why nothing is concluded at a surface, in words; "" where all can
// be.
func (a *Assessment) DoubtAt(s Surface) string {
	for _, d := range a.Doubts {
		if d.Position == s.Surface || d.Position == s.Air {
			return d.Text
		}
	}
	return ""
}

// doubt says first which loggers cannot be believed, and takes back what would
// be concluded without them: no cause is named and no repair judged.
func (a *Answer) doubt(whole *series.Set, doubts []evidence.Doubt) {
	a.Doubts = append([]evidence.Doubt{}, doubts...)
	if len(doubts) == 0 {
		return
	}
	var texts []string
	for _, d := range doubts {
		texts = append(texts, d.Text)
	}
	a.Notes = slices.Concat(texts, a.Notes)
	for i := range whole.Courses {
		a.Coverage[i] = coverage(whole, &whole.Courses[i])
	}
	for i, s := range a.Surfaces {
		if text := a.DoubtAt(s); text != "" {
			a.Surfaces[i].Notes = slices.Insert(a.Surfaces[i].Notes, 0, text)
		}
	}
	needs := strings.Join(texts, " ")
	f := &a.Finding
	f.Finding, f.Strength, f.Firm, f.Mixed, f.With = cause.Undetermined, "", false, "", ""
	f.Reasons, f.Next, f.Activities, f.Settle = texts, []string{needs}, nil, nil
	for i, r := range a.Repairs {
		a.Repairs[i].Exchanges = []mechanism.Result{}
		a.Repairs[i].Result = repair.Result{At: r.At, What: r.What, Surface: r.Surface, Air: r.Air, Verdict: repair.TooEarly,
			NightsBefore: r.NightsBefore, NightsAfter: r.NightsAfter, Needs: needs, Reason: needs, Notes: r.Notes,
			Credit: r.Credit}
	}
}
