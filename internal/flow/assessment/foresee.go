package assessment

import (
	"slices"
	"time"

	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/predict"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Foresight is what each work would have done to this very roof, with what was
// predicted before the works that were done. A plan is answered from it at once;
// making it takes about a second a surface.
type Foresight struct {
	Before *predict.House // the record before any repair
	Since  *predict.House // since the latest work; nil where there was none
	Scores []Score        // one a repair and surface, as in Repairs
	c      *roof.Case
	water  cause.Cause // that brings water, named or leading; "" none
	fitted []*predict.House
}

// Foresee fits the roof as it stood before any repair, and as it stands since,
// and runs what was predicted on through the nights after each work. An earlier
// foresight of the same case file lends what the same readings were fitted to;
// nil lends nothing.
func Foresee(set *series.Set, a Answer, earlier *Foresight) *Foresight {
	set = evidence.Undoubted(set, doubtsOf(set))
	f := &Foresight{c: set.Case, water: waterCause(a.Finding)}
	if earlier != nil {
		f.fitted = earlier.fitted
	}
	f.Before = f.fit(set, predict.Before(set))
	changedNothing := unchanged(a.Repairs)
	if era, ok := predict.Since(set, changedNothing); ok {
		f.Since = f.fit(set, era)
	}
	used := []*predict.House{f.Before, f.Since}
	for _, r := range a.Repairs {
		s, h := f.score(set, r, changedNothing)
		f.Scores, used = append(f.Scores, s), append(used, h)
	}
	f.fitted = slices.DeleteFunc(used, func(h *predict.House) bool { return h == nil })
	return f
}

func (f *Foresight) fit(set *series.Set, era predict.Era) *predict.House {
	h := predict.Fit(set, era, f.fitted...)
	if !slices.Contains(f.fitted, h) {
		f.fitted = append(slices.Clip(f.fitted), h)
	}
	return h
}

// waterCause is the cause that ventilation would only hide, where it is named or
// leads.
func waterCause(f cause.Finding) cause.Cause {
	for _, c := range []cause.Cause{f.Finding, f.Leading} {
		if c == cause.WaterIngress || c == cause.ConstructionMoist {
			return c
		}
	}
	return ""
}

// score sets the prediction of the last evening before a repair beside its
// verdict.
func (f *Foresight) score(set *series.Set, r Repair, unchanged func(roof.Event) bool) (out Score, h *predict.House) {
	out = Score{At: r.At, Surface: r.Surface}
	var e roof.Event
	for _, x := range f.c.Repairs() {
		if x.At.Equal(r.At) {
			e = x
		}
	}
	if e.At.UnixMilli() <= set.FromMS || e.At.UnixMilli() >= set.UntilMS {
		out.why = words.NoNightsAfter
	} else if _, out.why = predict.Done(f.c, e); out.why == words.Scored {
		h = f.fit(set, predict.BeforeWork(set, e, unchanged))
		var s predict.Score
		if s, out.why = h.Score(set, e, r.Surface, predict.DefaultPlan()); out.why == words.Scored {
			out.fill(s, r)
		}
	}
	out.Sentence = out.said(f.c).Sentence().String()
	return out, h
}

// Score is a prediction of the last evening before a work, run on through the
// nights after it, beside what was then found (percentages of change: below zero
// is fewer).
type Score struct {
	At       time.Time `json:"at"`
	Surface  string    `json:"surface"`
	Work     string    `json:"work" doc:"empty where there is no prediction to score"`
	Assumes  string    `json:"assumes"`
	Nights   int       `json:"nights_after"`
	AtRisk   *Spread   `json:"at_risk,omitempty"`
	Wet      *Spread   `json:"hours_condensing,omitempty"`
	FoundPct *float64  `json:"found_at_risk_change_pct"`
	WetFound *float64  `json:"found_change_pct"`
	Counts   bool      `json:"counts" doc:"the verdict is no longer too early, so that it is in the tally"`
	Hit      bool      `json:"hit" doc:"what was found of the hours at risk lies in the 80 % interval"`
	WetHit   bool      `json:"hit_hours_condensing"`
	Sentence string    `json:"sentence"`

	why words.NoScoreKind
}

// ScoreOf is the score of a repair at a surface, nil where it has none.
func (f *Foresight) ScoreOf(r Repair) *Score {
	for i, s := range f.Scores {
		if s.At.Equal(r.At) && s.Surface == r.Surface {
			return &f.Scores[i]
		}
	}
	return nil
}

// Spread is a change in per cent with its 80 and 95 % intervals.
type Spread struct {
	Pct    float64 `json:"change_pct"`
	Low80  float64 `json:"low_80_pct"`
	High80 float64 `json:"high_80_pct"`
	Low95  float64 `json:"low_pct"`
	High95 float64 `json:"high_pct"`
}

func spreadOf(r *predict.Range) *Spread {
	if r == nil {
		return nil
	}
	return &Spread{r.Pct, r.Low80, r.High80, r.Low95, r.High95}
}

func (s *Score) fill(x predict.Score, r Repair) {
	s.Work, s.Nights = string(x.Work), x.Nights
	s.Assumes = workAssumes(x.Work, x.Plan, 0)
	s.AtRisk, s.Wet = spreadOf(&x.AtRisk), spreadOf(x.Wet)
	change := func(fall *float64) *float64 {
		if fall == nil {
			return nil
		}
		y := -*fall + 0
		return &y
	}
	s.FoundPct, s.WetFound = change(r.AtRiskReductionPct), change(r.ReductionPct)
	if s.FoundPct != nil {
		s.Hit, s.Counts = x.AtRisk.Hit(-*s.FoundPct), r.Verdict != repair.TooEarly
	}
	if s.WetFound != nil && x.Wet != nil {
		s.WetHit = x.Wet.Hit(-*s.WetFound)
	}
}

// said is the score for a sentence.
func (s *Score) said(c *roof.Case) words.Score {
	out := words.Score{Work: s.Work, Where: words.SurfaceOf(c, s.Surface), At: s.At, Zone: c.Property.Zone,
		Nights: s.Nights, Hit: s.Hit, Early: !s.Counts, Why: s.why}
	if s.AtRisk != nil {
		out.Predicted = words.Reach{Best: -s.AtRisk.Pct, Low: -s.AtRisk.High80, High: -s.AtRisk.Low80}
	}
	if s.FoundPct != nil {
		fall := -*s.FoundPct
		out.Found = &fall
	}
	return out
}

// Prediction is what one work would have done at one surface over the nights of
// the record, in per cent of what was: below zero is fewer (contract, section 6).
type Prediction struct {
	Work    string   `json:"work"`
	Assumes string   `json:"assumes"`
	Surface string   `json:"surface"`
	WetPct  *float64 `json:"hours_condensing_change_pct"`
	Low     *float64 `json:"low_pct" doc:"95 % interval"`
	High    *float64 `json:"high_pct"`
	RiskPct *float64 `json:"at_risk_change_pct" doc:"the headline"`
	RiskLow *float64 `json:"at_risk_low_pct"`
	RiskHi  *float64 `json:"at_risk_high_pct"`

	WaterPct  *float64 `json:"condensate_change_pct"`
	WaterLow  *float64 `json:"condensate_low_pct"`
	WaterHigh *float64 `json:"condensate_high_pct"`

	Low80       *float64 `json:"low_80_pct" doc:"80 % interval of the wet hours"`
	High80      *float64 `json:"high_80_pct"`
	RiskLow80   *float64 `json:"at_risk_low_80_pct"`
	RiskHigh80  *float64 `json:"at_risk_high_80_pct"`
	WaterLow80  *float64 `json:"condensate_low_80_pct"`
	WaterHigh80 *float64 `json:"condensate_high_80_pct"`

	RiskH      *float64 `json:"hours_at_risk_model" doc:"as the roof stands, by the fitted roof"`
	WetH       *float64 `json:"hours_condensing_model_whole" doc:"the same of the wet hours"`
	RiskAfterH *float64 `json:"hours_at_risk_with_work"`

	HarmChance *float64 `json:"harm_chance" doc:"of a tenth more wet hours, or worse; null where it cannot be told"`
	MakesWorse bool     `json:"makes_worse" doc:"a warning is due"`
	Uncertain  bool     `json:"uncertain"`
	Widest     string   `json:"widest" doc:"what widens it most, and what would narrow it"`
	Sentence   string   `json:"sentence"`
	Refused    string   `json:"refused" doc:"why there is no figure"`
}

// Help is what the candidates would do over all surfaces of a house.
type Help struct {
	From         time.Time      `json:"from" doc:"had the work been done before these nights"`
	Until        time.Time      `json:"until"`
	After        *time.Time     `json:"after" doc:"the work that these nights follow; null before any"`
	Plan         HelpPlan       `json:"plan"`
	Sentence     string         `json:"sentence"`
	Planned      string         `json:"planned" doc:"the work that the case file plans; empty for none"`
	Recommended  string         `json:"recommended" doc:"the work to do first; empty where none is to be recommended"`
	NoneHelps    bool           `json:"none_helps"`
	MakesWorse   []string       `json:"makes_worse" doc:"works that would probably make it worse"`
	Water        string         `json:"water_first" doc:"said where water may be getting in"`
	Ranking      []HelpRank     `json:"ranking" doc:"best first, hours at risk over all surfaces"`
	NotPredicted []NotPredicted `json:"not_predicted" doc:"work that these loggers cannot tell of"`
	Differs      []Differs      `json:"model_against_count" doc:"where fitted roof and count differ much"`
	Notes        []string       `json:"notes"`

	Said words.Ranking `json:"-"`
}

// Differs says of a surface that the fitted roof's hours at risk and those
// counted differ by more than half as much again.
type Differs struct {
	Surface string `json:"surface"`
	Text    string `json:"text"`
}

// HelpPlan is what the works are taken to open, mm, and to spare.
type HelpPlan struct {
	VoidEavesMM float64 `json:"void_eaves_mm"`
	VoidRidgeMM float64 `json:"void_ridge_mm"`
	LoftEavesMM float64 `json:"loft_eaves_mm"`
	LoftRidgeMM float64 `json:"loft_ridge_mm"`
	HouseLeft   float64 `json:"house_vapour_left" doc:"share of the vapour over outdoors, 0.4 to 1"`
}

// HelpRank is one candidate over all surfaces.
type HelpRank struct {
	Work       string  `json:"work"`
	Assumes    string  `json:"assumes"`
	RiskH      float64 `json:"hours_at_risk"`
	RiskAfterH float64 `json:"hours_at_risk_with_work"`
	ChangePct  float64 `json:"at_risk_change_pct"`
	Alike      bool    `json:"alike" doc:"with the first, by less than can be told apart"`
	MakesWorse bool    `json:"makes_worse"`
	Open       bool    `json:"takes_in_no_change" doc:"at every surface the 80 % interval does"`
	Helps      bool    `json:"-"` // enough to be recommended
}

// NotPredicted is work of which nothing is said.
type NotPredicted struct {
	Work    string `json:"work"`
	Refused string `json:"refused"`
}

// ownLook are the works of which loggers of air tell nothing.
var ownLook = []string{"leak_stopped", "drying_out", "underlay_replaced", "insulated", "dehumidified"}

// assumes says what a work is taken to be.
func workAssumes(w predict.Work, p predict.Plan, excessPa float64) string {
	switch w {
	case predict.VoidVented:
		return words.Slots(p.VoidEavesMM, p.VoidRidgeMM)
	case predict.LoftVented:
		return words.Slots(p.LoftEavesMM, p.LoftRidgeMM)
	case predict.CeilingSealed:
		return words.SealedByHand
	case predict.VentsAndCeiling:
		return words.Slots(p.LoftEavesMM, p.LoftRidgeMM) + "; " + words.SealedByHand
	case predict.DrierHouse:
		return words.DrierRooms(p.HouseLeft, excessPa)
	}
	return "nothing is done"
}

// Planned says what work the case file plans; empty for none.
func Planned(c *roof.Case) string {
	if c.Planned.Work == "" {
		return ""
	}
	return words.Planned(c.Planned.Work, workAssumes(predict.Work(c.Planned.Work), predict.PlanOf(c), 0))
}

// opens is what of it is cut, short enough for a sentence.
func opens(w predict.Work, p predict.Plan) string {
	switch w {
	case predict.VoidVented:
		return words.Slots(p.VoidEavesMM, p.VoidRidgeMM)
	case predict.LoftVented, predict.VentsAndCeiling:
		return words.Slots(p.LoftEavesMM, p.LoftRidgeMM)
	}
	return ""
}

// Plan is what the case file plans, the rest as usual.
func (f *Foresight) Plan() predict.Plan { return predict.PlanOf(f.c) }

// Predict answers for a plan, over the time before any repair or, with since,
// over the time since the latest.
func (f *Foresight) Predict(p predict.Plan, since bool) ([]Prediction, Help) {
	h := f.Before
	if since && f.Since != nil {
		h = f.Since
	}
	o := h.Predict(p)
	excess := 0.0
	for _, s := range h.Surfaces {
		excess = max(excess, s.IndoorExcessPa)
	}
	from := time.UnixMilli(h.Era.FromMS).UTC()
	out := []Prediction{}
	for i, x := range o.Predictions {
		s := h.Surfaces[i/len(predict.Works())]
		out = append(out, prediction(f.c, s, x, workAssumes(x.Work, p, excess), opens(x.Work, p), from))
	}
	help := Help{Planned: f.c.Planned.Work, From: from, Until: time.UnixMilli(h.Era.UntilMS).UTC(), Plan: HelpPlan(p),
		Ranking: []HelpRank{}, MakesWorse: []string{}, NotPredicted: []NotPredicted{}, Differs: []Differs{},
		Notes: []string{}}
	if e := h.Era.After; e != nil {
		at := e.At.UTC()
		help.After = &at
	}
	r := words.Ranking{Since: from, Zone: f.c.Property.Zone}
	if f.water != "" {
		r.Water = f.water.Words()
	}
	for _, x := range o.Ranks {
		r.Ranks = append(r.Ranks, words.Rank{Work: string(x.Work), BeforeH: x.BeforeH, AfterH: x.AfterH,
			Helps: x.Helps, Harms: x.Harms, Alike: x.Alike, Open: x.Open})
		help.Ranking = append(help.Ranking, HelpRank{string(x.Work), workAssumes(x.Work, p, excess), round(x.BeforeH, 1),
			round(x.AfterH, 1), -x.FallPct + 0, x.Alike, x.Harms, x.Open, x.Helps})
		if x.Harms {
			help.MakesWorse = append(help.MakesWorse, string(x.Work))
		}
	}
	r.Refused = firstRefusal(h)
	help.Said, help.Sentence, help.NoneHelps, help.Recommended = r, r.Headline().String(), r.NoneHelps(),
		r.Recommended()
	if r.Water != "" {
		help.Water = words.WaterFirst(r.Water) + "."
	}
	for _, w := range ownLook {
		help.NotPredicted = append(help.NotPredicted, NotPredicted{w, words.NoPrediction{Kind: words.OwnLook}.String()})
	}
	for _, s := range h.Surfaces {
		if n := words.ModelAgainstCount(s.ModelAtRiskH,
			s.CountedAtRiskH); n != "" && s.Refused.Kind == words.Predicted {
			help.Differs = append(help.Differs, Differs{s.Position.ID, n})
		}
	}
	help.Notes = append(help.Notes, words.OverTheseNights, words.OnlyAir, words.RulesDecide, words.FromTrials)
	return out, help
}

// firstRefusal is why nothing is predicted, by the surface that came nearest.
func firstRefusal(h *predict.House) string {
	if len(h.Surfaces) == 0 {
		return "the case has no surface"
	}
	best := h.Surfaces[0].Refused
	for _, s := range h.Surfaces {
		if s.Refused.Kind != words.LeftUntouched && s.Refused.Kind != words.NotASurface {
			best = s.Refused
			break
		}
	}
	return best.String()
}

func prediction(c *roof.Case, s *predict.Fitted, x predict.Prediction, assumes, opened string,
	from time.Time) Prediction {
	out := Prediction{Work: string(x.Work), Assumes: assumes, Surface: x.Surface, Refused: x.Refused.String(),
		MakesWorse: x.Harms, Uncertain: x.Uncertain, Widest: x.Widest.String()}
	said := words.Prediction{Work: out.Work, Assumes: opened, Where: words.Surface(c, s.Position), Since: from,
		Zone: c.Property.Zone, Refused: x.Refused, Harms: x.Harms, HarmChance: x.HarmChance, Uncertain: x.Uncertain}
	if r := x.Wet; r != nil {
		out.WetPct, out.Low, out.High, out.Low80, out.High80 = &r.Pct, &r.Low95, &r.High95, &r.Low80, &r.High80
		out.WetH = rounded(s.WetH)
		said.WetPct = r.Pct
		if !s.OnLoft {
			out.HarmChance = rounded(x.HarmChance)
		}
	}
	if r := x.Water; r != nil {
		out.WaterPct, out.WaterLow, out.WaterHigh, out.WaterLow80, out.WaterHigh80 = &r.Pct, &r.Low95, &r.High95,
			&r.Low80,
			&r.High80
	}
	if r := x.AtRisk; r != nil {
		out.RiskPct, out.RiskLow, out.RiskHi, out.RiskLow80, out.RiskHigh80 = &r.Pct, &r.Low95, &r.High95, &r.Low80,
			&r.High80
		of := func(pct float64) float64 { return s.AtRiskH * (1 + pct/100) }
		out.RiskH, out.RiskAfterH = rounded(s.AtRiskH), rounded(of(r.Pct))
		said.BeforeH, said.After = s.AtRiskH, words.Reach{Best: of(r.Pct), Low: of(r.Low80), High: of(r.High80)}
		said.Little = r.Pct > -5 && r.Pct < 5
	}
	out.Sentence = said.Sentence().String()
	return out
}

// Take puts a foresight into the assessment, over the time before any repair and
// since the latest.
func (a *Assessment) Take(f *Foresight) {
	p := f.Plan()
	predictions, help := f.Predict(p, false)
	a.Predictions, a.Help, a.Scores = predictions, &help, f.Scores
	if f.Since != nil {
		since, help := f.Predict(p, true)
		a.Now = &Now{Help: help, Predictions: since}
	}
}

// Now is what would help the roof as it stands since the latest work.
type Now struct {
	Help
	Predictions []Prediction `json:"predictions"`
}
