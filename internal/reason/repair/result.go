package repair

import (
	"time"

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
// had; Needs or Notes say why.
type Result struct {
	At           time.Time
	What         string
	Surface, Air string
	Verdict      Verdict

	ReductionPct, LowPct, HighPct                               *float64 // condensing hours
	AtRiskReductionPct, AtRiskLowPct, AtRiskHighPct             *float64
	CondensateReductionPct, CondensateLowPct, CondensateHighPct *float64
	NightsBefore, NightsAfter                                   int
	Needs                                                       string

	Reason      string // one sentence: why this verdict
	Credit      Credit
	Mechanism   []Factor
	Nights      []NightUse
	Weather     string // how cold and clear after against before
	Overlap     int    // nights after with weather met before
	Hours       *Hours
	Companion   *Companion
	Gates       []Gate
	Evenings    []Evening
	Control     *Control
	Sensitivity []Variant
	CrossCheck  *CrossCheck
	Progress    string // to a firm verdict, "about 15 more cold nights"
	Notes       []string
	Course      []Point
	Sigma       [2]*float64 // K of dew point: loft, covering's void
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

// Hours over the nights that count after the repair: the model's two runs,
// means of the draws.
type Hours struct {
	WetWithout, WetWith, RiskWithout, RiskWith float64
	MeasuredWet, MeasuredRisk                  float64
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
	Night                   string
	RiskLowPct, RiskHighPct float64
	ReductionPct, Q         float64
	Holds                   bool
}

// Control is an untouched place of the same kind, judged the same way.
type Control struct {
	Surface, Air string
	Verdict      Verdict
	RiskFallPct  *float64
	RiskLow      *float64
	RiskHigh     *float64
	Vetoes       bool
	Text         string
	ReductionPct *float64
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
	Method                   string
	FallPct, LowPct, HighPct *float64
	Nights                   int
	Agrees                   bool
	Text                     string
}

// Point is one half hour after the repair for the drawing: margins with the
// repair as modelled, without it, and as measured (nil where not observed).
type Point struct {
	AtMS            int64
	WithK, WithoutK float64
	MeasuredK       *float64
}
