package web

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"slices"
	"time"

	"dewcase/internal/assessment"
	"dewcase/internal/picture"
	"dewcase/internal/repair"
)

// repairsBody is the contractor's page.
type repairsBody struct {
	Sentence string
	Results  []resultView
}

type resultView struct {
	repair.Result
	Words        string // of the surface
	Sentence     string
	Effect       *picture.Scene
	Wet, Risk    *picture.Scene // nights after, measured against unrepaired
	Used, Left   int
	LeftOut      []repair.NightUse
	Before       string // link to the timeline around the repair
	MeasuredWet  *float64
	WithWet      *float64
	WithRisk     *float64
	WithoutWet   *float64
	MeasuredRisk *float64
	WithoutRisk  *float64
}

func (p *Pages) repairs(w http.ResponseWriter, r *http.Request) {
	h, a, ok := p.asked(w, r, "repairs")
	if !ok {
		return
	}
	var b repairsBody
	for i, res := range a.Results {
		pos, _ := h.Case.Position(res.Surface)
		v := resultView{Result: res, Words: surfaceWords(h.Case, pos)}
		v.Sentence = verdictSentence(h, v.Words, res)
		if res.ReductionPct != nil || res.AtRiskReductionPct != nil || res.CondensateReductionPct != nil {
			v.Effect = effectPicture(i, res)
		}
		for _, n := range res.Nights {
			if n.Used {
				v.Used++
			} else {
				v.Left++
				v.LeftOut = append(v.LeftOut, n)
			}
		}
		if wet, risk := paired(h, res, i); len(wet.Nights) > 0 {
			v.Wet, v.Risk = wet.Scene(), risk.Scene()
		}
		if res.Hours != nil {
			v.MeasuredWet, v.WithoutWet = &res.Hours.MeasuredWet, &res.Hours.WetWithout
			v.WithWet, v.WithRisk = &res.Hours.WetWith, &res.Hours.RiskWith
			v.MeasuredRisk, v.WithoutRisk = &res.Hours.MeasuredRisk, &res.Hours.RiskWithout
		}
		v.Before = "/cases/" + h.ID + "?" + stretch(res.At.Add(-21*24*time.Hour), res.At.Add(21*24*time.Hour)).Encode() + "&surface=" + res.Surface + "#margin"
		b.Results = append(b.Results, v)
	}
	// What can be said comes first: the latest repair with a verdict.
	slices.SortStableFunc(b.Results, func(x, y resultView) int {
		firm := func(v resultView) int {
			if v.Verdict == repair.TooEarly {
				return 1
			}
			return 0
		}
		if d := firm(x) - firm(y); d != 0 {
			return d
		}
		return y.At.Compare(x.At)
	})
	switch {
	case !h.Repairs:
		b.Sentence = "No repair is in the case file."
	case len(b.Results) == 0:
		b.Sentence = "No repair can be judged yet."
	default:
		b.Sentence = b.Results[0].Sentence
	}
	p.render(w, r, http.StatusOK, "repairs", page{Title: "Did it work, " + h.Label, Case: h, Tab: "repairs", Body: b})
}

func effectPicture(i int, res repair.Result) *picture.Scene {
	return picture.Effect{ID: fmt.Sprintf("effect-%d", i), Falls: []picture.Fall{
		{Words: "wet hours", Pct: res.ReductionPct, Low: res.LowPct, High: res.HighPct},
		{Words: "hours at risk", Pct: res.AtRiskReductionPct, Low: res.AtRiskLowPct, High: res.AtRiskHighPct},
		{Words: "condensed water", Pct: res.CondensateReductionPct, Low: res.CondensateLowPct, High: res.CondensateHighPct}}}.Scene()
}

// verdictSentence says the verdict with its figure and how sure it is.
func verdictSentence(h *head, words string, r repair.Result) string {
	when := "The repair of " + r.At.In(h.Zone).Format("2 January 2006")
	interval := ""
	if r.ReductionPct != nil && r.LowPct != nil && r.HighPct != nil {
		interval = fmt.Sprintf(": wet hours %s fell by %.0f %%, weather being equal (95 %%: %.0f to %.0f)", words, *r.ReductionPct, *r.LowPct, *r.HighPct)
	}
	switch r.Verdict {
	case repair.Worked:
		return when + " worked" + interval + "."
	case repair.GotWorse:
		if r.ReductionPct != nil && *r.ReductionPct < 0 && r.LowPct != nil && r.HighPct != nil {
			interval = fmt.Sprintf(": wet hours %s rose by %.0f %%, weather being equal (95 %%: %.0f to %.0f)", words, -*r.ReductionPct, -*r.HighPct, -*r.LowPct)
		}
		return when + " made it worse" + interval + "."
	case repair.NoChangeShown:
		return when + " has shown no change " + words + " so far" + map[bool]string{true: "; " + interval[min(2, len(interval)):], false: ""}[interval != ""] + "."
	}
	return "It is too early to say whether the repair of " + r.At.In(h.Zone).Format("2 January 2006") + " worked " + words + "."
}

// paired sums the course after a repair up by night: hours measured, and hours
// that the unrepaired roof would have had in the same weather. As on the
// timeline, what the repair did is added to what was measured, so that an error
// that both runs of the model share does not look like an effect.
func paired(h *head, r repair.Result, i int) (wet, risk picture.PairedNights) {
	wet = picture.PairedNights{ID: fmt.Sprintf("wet-%d", i), Words: "wet hours", Zone: h.Zone}
	risk = picture.PairedNights{ID: fmt.Sprintf("risk-%d", i), Words: "hours at risk", Zone: h.Zone}
	const half = 0.5 // h a point
	type sum struct{ wet, wet0, risk, risk0, seen float64 }
	var nights []time.Time
	sums := map[time.Time]*sum{}
	for _, pt := range r.Course {
		noon := nightOf(time.UnixMilli(pt.AtMS), h.Zone)
		s, ok := sums[noon]
		if !ok {
			s = &sum{}
			sums[noon] = s
			nights = append(nights, noon)
		}
		if pt.MeasuredK == nil {
			continue
		}
		s.seen += half
		m, m0 := *pt.MeasuredK, *pt.MeasuredK+pt.WithoutK-pt.WithK
		add := func(into *float64, margin, limit float64) {
			if margin <= limit {
				*into += half
			}
		}
		add(&s.wet, m, 0)
		add(&s.wet0, m0, 0)
		add(&s.risk, m, 1)
		add(&s.risk0, m0, 1)
	}
	for _, noon := range nights {
		s := sums[noon]
		a, b := picture.PairedNight{From: noon}, picture.PairedNight{From: noon}
		if s.seen >= 0.8*nightsAfter(noon, 1, h.Zone).Sub(noon).Hours() {
			a.Measured, a.Without = &s.wet, &s.wet0
			b.Measured, b.Without = &s.risk, &s.risk0
		}
		wet.Nights, risk.Nights = append(wet.Nights, a), append(risk.Nights, b)
	}
	return wet, risk
}

// effect is what the last repair of a surface did to its margin, half hour by
// half hour.
type effect struct {
	Surface string     `json:"surface"`
	At      time.Time  `json:"repair_at"`
	FromMS  int64      `json:"from_ms"`
	StepS   int        `json:"step_s"`
	ChangeK []*float64 `json:"without_minus_with_k"`
}

const halfHourMS = 30 * 60 * 1000

// effectOf finds the last judged repair of a surface that has a course.
func effectOf(a assessment.Answer, surface string) (effect, bool) {
	var last *repair.Result
	for i, r := range a.Results {
		if r.Surface == surface && len(r.Course) > 1 && (last == nil || r.At.After(last.At)) {
			last = &a.Results[i]
		}
	}
	if last == nil {
		return effect{}, false
	}
	first, end := last.Course[0].AtMS, last.Course[len(last.Course)-1].AtMS
	e := effect{Surface: surface, At: last.At.UTC(), FromMS: first, StepS: halfHourMS / 1000, ChangeK: make([]*float64, (end-first)/halfHourMS+1)}
	for _, pt := range last.Course {
		x := math.Round((pt.WithoutK-pt.WithK)*100) / 100
		if i := (pt.AtMS - first) / halfHourMS; i >= 0 && int(i) < len(e.ChangeK) {
			e.ChangeK[i] = &x
		}
	}
	return e, true
}

// over is the mean change over [fromMS, untilMS); ok is false where none is
// known.
func (e effect) over(fromMS, untilMS int64) (float64, bool) {
	if untilMS <= e.FromMS {
		return 0, false
	}
	first := max(fromMS-e.FromMS, 0) / halfHourMS
	end := min((untilMS-e.FromMS+halfHourMS-1)/halfHourMS, int64(len(e.ChangeK)))
	sum, n := 0.0, 0
	for i := first; i < end; i++ {
		if x := e.ChangeK[i]; x != nil {
			sum, n = sum+*x, n+1
		}
	}
	if n == 0 {
		return 0, false
	}
	return sum / float64(n), true
}

// unrepairedColumn is the margin that the roof would have had without the
// repair: what was measured, and the change between the model's two runs.
func unrepairedColumn(m picture.MarginChart, e effect) picture.Column {
	f := picture.NewFigures(len(m.Time))
	any := false
	for i, t := range m.Time {
		if m.MarginMean == nil {
			break
		}
		x, ok := m.MarginMean.Get(i)
		if !ok {
			continue
		}
		from := t.UnixMilli()
		until := from + max(m.Step.Milliseconds(), 1)
		if d, ok := e.over(from, until); ok {
			f.Set(i, x+d)
			any = true
		}
	}
	if !any {
		return nil
	}
	return f
}

// beside is what the script draws with the margin beyond the readings.
type beside struct {
	Effect *effect       `json:"effect"`
	Strips []besideStrip `json:"strips"`
}

type besideStrip struct {
	Words  string    `json:"words"`
	Top    float64   `json:"top"`
	Mark   float64   `json:"mark"`
	Filled bool      `json:"filled"`
	AtMS   []int64   `json:"at_ms"`
	Value  []float64 `json:"value"`
	Joined []bool    `json:"joined"`
}

// besideMargin hands these to the page's script.
func (p *Pages) besideMargin(w http.ResponseWriter, r *http.Request) {
	h, a, ok := p.asked(w, r, "timeline")
	if !ok {
		return
	}
	v := readView(h, a, r.URL.Query())
	out := beside{Strips: []besideStrip{}}
	if e, ok := effectOf(a, v.surface.ID); ok {
		out.Effect = &e
	}
	for _, q := range strips(a, v.surface.ID) {
		b := besideStrip{Words: q.Words, Top: q.Top, Mark: q.Mark, Filled: q.Filled, AtMS: q.Course.AtMS, Joined: q.Course.Joined}
		for _, x := range q.Course.Value {
			b.Value = append(b.Value, math.Round(x*100)/100)
		}
		out.Strips = append(out.Strips, b)
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-cache")
	if err := json.NewEncoder(w).Encode(out); err != nil {
		p.Log.Debug("what stands beside the margin was not read to its end", "case", h.ID, "error", err)
	}
}

// stripPoints is how many points of a course the page is given.
const stripPoints = 1500

// strips are what follows from a surface's margin: water, mould, timber.
func strips(a assessment.Answer, surface string) []picture.Quiet {
	var out []picture.Quiet
	for _, s := range a.Behind.Surfaces {
		if s.Surface != surface {
			continue
		}
		if len(s.Film) > 0 {
			c := picture.Course{}
			for _, p := range s.Film {
				c.AtMS, c.Value, c.Joined = append(c.AtMS, p.AtMS), append(c.Value, p.MassGM2), append(c.Joined, p.Joined)
			}
			out = append(out, picture.Quiet{Words: "water on the surface, g/m²", Course: c, Top: 10, Filled: true})
		}
		if s.Mould != nil && len(s.Mould.Course) > 0 {
			c := picture.Course{}
			for _, p := range s.Mould.Course {
				c.AtMS, c.Value, c.Joined = append(c.AtMS, p.AtMS), append(c.Value, p.Index), append(c.Joined, true)
			}
			out = append(out, picture.Quiet{Words: "mould index (3: visible)", Course: c.Thin(stripPoints), Top: 6, Mark: 3})
		}
		wood, words := s.Wood, "wood moisture measured, %"
		if wood == nil {
			wood, words = s.Timber, "wood moisture estimated, %"
		}
		if wood != nil && len(wood.Course) > 0 {
			c := picture.Course{}
			for i, p := range wood.Course {
				joined := i+1 < len(wood.Course) && wood.Course[i+1].Joined
				c.AtMS, c.Value, c.Joined = append(c.AtMS, p.AtMS), append(c.Value, p.MCPct), append(c.Joined, joined)
			}
			out = append(out, picture.Quiet{Words: words, Course: c.Thin(stripPoints), Top: 30, Mark: 20})
		}
	}
	return out
}
