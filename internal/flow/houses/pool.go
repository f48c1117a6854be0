package houses

import (
	"dewcase/internal/roof"
)

// Instance is what one of several instances counted last.
type Instance struct {
	Name    string   `json:"name"`
	URL     string   `json:"url,omitempty" doc:"of its pages; empty: this instance"`
	Figures *Figures `json:"figures" doc:"the last that it gave, as of their time; null: none yet"`
	Failed  string   `json:"failed,omitempty" doc:"why it did not answer when it was last asked"`
}

// Pooled are the counts of several instances.
type Pooled struct {
	Figures   Figures    `json:"figures" doc:"summed over all that ever answered; at is the oldest of their times"`
	Instances []Instance `json:"instances"`
	Missing   int        `json:"missing" doc:"instances whose houses are not counted, as they never answered"`
}

// Pool sums up what instances counted. Each counts the houses that it keeps, so that
// no house is counted twice.
func Pool(all []Instance) Pooled {
	p := Pooled{Instances: all, Figures: Figures{Needs: map[roof.HouseNeed]int{}, SweatingBy: map[string]int{},
		Findings: map[string]int{}, Repairs: map[string]int{}}}
	for _, x := range all {
		if x.Figures == nil {
			p.Missing++
			continue
		}
		p.Figures.plus(*x.Figures)
	}
	return p
}

func (f *Figures) plus(o Figures) {
	if f.At.IsZero() || o.At.Before(f.At) {
		f.At = o.At
	}
	f.Houses += o.Houses
	f.NeedALook += o.NeedALook
	f.Sweating += o.Sweating
	addAll(f.Needs, o.Needs)
	addAll(f.SweatingBy, o.SweatingBy)
	addAll(f.Findings, o.Findings)
	addAll(f.Repairs, o.Repairs)
	f.Week.plus(o.Week)
	f.Month.plus(o.Month)
	f.Summaries.plus(o.Summaries)
}

func addAll[K comparable](to, from map[K]int) {
	for k, n := range from {
		to[k] += n
	}
}

func (w *WetNights) plus(o WetNights) {
	w.None += o.None
	w.Few += o.Few
	w.Many += o.Many
	w.Most += o.Most
	w.Unwatched += o.Unwatched
}

func (a *Ages) plus(o Ages) {
	a.Hour += o.Hour
	a.Day += o.Day
	a.Older += o.Older
	a.None += o.None
	if a.Oldest.IsZero() || !o.Oldest.IsZero() && o.Oldest.Before(a.Oldest) {
		a.Oldest = o.Oldest
	}
}
