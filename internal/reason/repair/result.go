package repair

import (
	"time"

	"dewcase/internal/reason/leak"
	"dewcase/internal/roof"
)

// Verdict is the answer for one repair and one surface (contract, section 4).
type Verdict string

// The four answers.
const (
	Worked        Verdict = "worked"
	NoChangeShown Verdict = "no_change_shown"
	GotWorse      Verdict = "got_worse"
	TooEarly      Verdict = "too_early"
)

// Result is the answer with everything it rests on. A nil number could not be
// had; Needs or Notes say why. Every hour and every per cent is rounded to a
// tenth where it is made, so that all who print it print the same.
type Result struct {
	At      time.Time `json:"at"`
	What    string    `json:"-"`
	Surface string    `json:"surface"`
	Air     string    `json:"-"`
	Verdict Verdict   `json:"verdict"`

	// The fall by the two runs of the model, 1 - with / without, and its interval:
	// of the wet hours, of the hours at risk, of the condensed water.
	ReductionPct           *float64 `json:"reduction_pct"`
	LowPct                 *float64 `json:"low_pct"`
	HighPct                *float64 `json:"high_pct"`
	AtRiskReductionPct     *float64 `json:"at_risk_reduction_pct"`
	AtRiskLowPct           *float64 `json:"at_risk_low_pct"`
	AtRiskHighPct          *float64 `json:"at_risk_high_pct"`
	CondensateReductionPct *float64 `json:"condensate_reduction_pct"`
	CondensateLowPct       *float64 `json:"condensate_low_pct"`
	CondensateHighPct      *float64 `json:"condensate_high_pct"`

	AtRisk     *Comparison `json:"at_risk_hours,omitempty" doc:"the verdict rests on these"`
	Wet        *Comparison `json:"wet_hours,omitempty"`
	Correction *Correction `json:"correction,omitempty" doc:"what widens the interval and moves no figure"`

	House *House `json:"house,omitempty" doc:"loft and ceiling work: all its surfaces together, the same on each row"`

	NightsBefore int      `json:"nights_before"`
	NightsAfter  int      `json:"nights_after"`
	Needs        string   `json:"needs"`
	Reason       string   `json:"reason" doc:"one sentence: why this verdict"`
	Notes        []string `json:"notes" doc:"what must be known to read it, with what the repair is credited with"`

	Leak *leak.Result `json:"leak,omitempty" doc:"whether a leak was stopped, where the repair is said to have stopped one"`

	NoOutdoor   bool        `json:"-"` // nothing told of outdoor air, so that nothing is judged
	Credit      Credit      `json:"-"`
	Mechanism   []Factor    `json:"-"`
	Nights      []NightUse  `json:"-"`
	Weather     string      `json:"-"` // how cold and clear after against before
	Overlap     int         `json:"-"` // nights after with weather met before
	Companion   *Companion  `json:"-"`
	Gates       []Gate      `json:"-"`
	Evenings    []Evening   `json:"-"`
	Control     *Control    `json:"-"`
	Sensitivity []Variant   `json:"-"`
	CrossCheck  *CrossCheck `json:"-"`
	Progress    string      `json:"-"` // to a firm verdict, "about 15 more cold nights"
	Course      []Point     `json:"-"`
	Sigma       [2]*float64 `json:"-"` // K of dew point: loft, covering's void
	Modelled    *Modelled   `json:"-"` // wet hours by the fit, where the answer rests on one
}

// Effect is a fall in per cent (a rise is below 0) with its 95 % interval, which
// holds it.
type Effect struct {
	Pct  float64 `json:"fall_pct"`
	Low  float64 `json:"low_pct"`
	High float64 `json:"high_pct"`
}

// Comparison sets three answers on one quantity side by side, in the order in
// which they are given: what was measured against the run of the model without
// the repair, the two runs of the model, and nights of like weather, which need
// no model.
type Comparison struct {
	UnrepairedH float64 `json:"unrepaired_h" doc:"by the model without the repair, over the nights that count"`
	ModelH      float64 `json:"model_h" doc:"by the model with the repair"`
	MeasuredH   float64 `json:"measured_h"`
	Measured    *Effect `json:"measured,omitempty" doc:"1 - measured / unrepaired"`
	Model       *Effect `json:"model,omitempty" doc:"1 - model / unrepaired"`
	Like        *Effect `json:"like_nights,omitempty" doc:"measured hours, nights after against the most alike nights before"`
	LikeNights  int     `json:"like_nights_n"`
	// Disagree says that two of the three differ by more than their intervals.
	Disagree bool `json:"disagree"`
}

// Correction is how roofs were found to react to a repair beyond the model: as a
// factor on the logarithm of the fall of the wet hours. It may widen the
// interval; no figure given is moved by it.
type Correction struct {
	Factor     float64 `json:"factor"`
	FactorLow  float64 `json:"factor_low"`
	FactorHigh float64 `json:"factor_high"`
	From       string  `json:"from" doc:"where the factor was had"`
	WetPct     float64 `json:"wet_fall_pct" doc:"the fall of the wet hours as it would read with it"`
}

// Credit is what the repair is credited with and where that was taken from.
type Credit struct {
	LoftVentilation, Ceiling, VoidVentilation bool
	Declared                                  bool          // by the event's changes; else inferred from what it treats
	NotModelled                               []roof.Change // declared, but beyond these loggers
	Text                                      string
}

// Factor is one change of the roof: exchange after over before.
type Factor struct {
	What              string // "exchange of the void with outdoor air"
	Factor, Low, High float64
	Credited          bool
	Identified        bool
	Text              string
}

// NightUse is one night and whether it counted.
type NightUse struct {
	Night    string // date of its evening
	FromMS   int64
	Period   string // "before", "lock", "after"
	Used     bool
	Why      string // why left out
	OutdoorC float64
	ClearK   float64 // outdoor air less covering
	Coverage float64
}

// Companion sets measured at-risk hours against expected ones.
type Companion struct {
	Before, After float64 // measured over expected
	Q             float64
	Text          string
}

// Gate is a condition for any verdict other than too_early.
type Gate struct {
	Name, Figure, Limit string
	Open                bool
}

// Evening is one of the nightly evaluations behind the verdict.
type Evening struct {
	Night       string
	AtRisk, Wet Effect
	Q           float64
	Holds       bool
}

// Control is an untouched place of the same kind, judged the same way.
type Control struct {
	Surface, Air string
	Verdict      Verdict
	AtRisk       *Effect
	Vetoes       bool
	Text         string
}

// Variant is one row of the sensitivity list: the fall of at-risk hours when
// something is done otherwise.
type Variant struct {
	What        string
	RiskFallPct *float64
	LowPct      *float64 // where the row changes the interval and not the estimate
	HighPct     *float64
	Flips       bool
	Why         string // why it could not be had
}

// CrossCheck is an answer reached without the model.
type CrossCheck struct {
	Method string
	AtRisk *Effect
	Wet    *Effect
	Nights int
	Agrees bool
	Text   string
}

// Point is one half hour after the repair for the drawing: margins with the
// repair as modelled, without it, and as measured (nil where not observed).
type Point struct {
	AtMS            int64
	WithK, WithoutK float64
	MeasuredK       *float64
}
