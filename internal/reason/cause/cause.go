package cause

import (
	"math"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
	"dewcase/internal/words"
)

// Cause is one of the named causes of a wet roof.
type Cause string

// The causes, and the answer that no cause is shown.
const (
	CeilingLeakage Cause = "ceiling_leakage" // moist house air into an under-ventilated loft
	// vapour through a permeable underlay, trapped under a close-fitting covering
	UnventedBattenVoid Cause = "unvented_batten_void"
	NightSkyCooling    Cause = "night_sky_cooling"     // the covering wets from outdoor air on clear nights; no defect
	WaterIngress       Cause = "water_ingress"         // rain or plumbing
	ConstructionMoist  Cause = "construction_moisture" // drying out
	BlockedVentilation Cause = "blocked_ventilation"   // openings that do not work
	NoneFound          Cause = "none_found"            // no condensation problem seen
	Undetermined       Cause = "undetermined"
)

// Thresholds of the decision (method, section 7), as shares of 1.
const (
	settledSupport    = 0.45 // of the leading cause, to be named at all
	settledMembership = 0.60 // and the chance that it is among the causes; of 30 names below, 18 were wrong
	strongSupport     = 0.8
	mixedPosterior    = 0.5 // of a mixed state, for the hint at a second cause
	fewPlacesSupport  = 0.7 // to be named where void or covering is not logged
	noHouseSupport    = 0.6 // the same where the house's air is not
	cappedSupport     = 0.6 // outside what the table knows
)

// Named lists the seven causes in the fixed order that breaks ties.
func Named() []Cause {
	return []Cause{CeilingLeakage, UnventedBattenVoid, NightSkyCooling, WaterIngress, ConstructionMoist,
		BlockedVentilation, NoneFound}
}

// Words is the cause in plain words.
func (c Cause) Words() string { return words.CauseName(string(c)) }

// Evidence is one line that speaks for or against a cause.
type Evidence struct {
	Text     string   `json:"text"`
	Basis    string   `json:"basis" doc:"measured, survey, or empty for a correction"`
	Group    string   `json:"group" doc:"which kind of evidence: load, exchange, ... or survey"`
	Feature  string   `json:"feature" doc:"the figure's short name in the method"`
	Figure   *float64 `json:"figure"` // nil for survey lines
	Unit     string   `json:"unit"`
	Accuracy *float64 `json:"accuracy" doc:"+/-, twice the standard uncertainty; null: not known"`
	// NearZero says that the figure is not different from 0 within its accuracy.
	NearZero  bool     `json:"near_zero"`
	Nights    int      `json:"nights" doc:"nights the figure rests on"`
	Weight    float64  `json:"-"` // nats for (positive) or against (negative) the cause it is listed under
	FromMS    int64    `json:"-"` // the stretch of the timeline it rests on
	UntilMS   int64    `json:"-"`
	Positions []string `json:"-"` // whose courses it is made of
}

// String is the sentence as printed.
func (e Evidence) String() string { return e.Text }

// Support is what the evidence gives to one cause.
type Support struct {
	Cause      Cause
	Support    float64 // sums to one over the causes
	Membership float64 // probability that it is among the causes
	// FromReadings is what the readings alone give, every survey item left out;
	// ceiling_leakage and blocked_ventilation then share evenly.
	FromReadings float64
	For          []Evidence
	Against      []Evidence
}

// Window is the stretch of the record that was used.
type Window struct {
	FromMS, UntilMS int64
	Days            float64
	ColdNights      int // nights with outdoor air below 5 C
	ClearNights     int // of which the covering tells it (evidence.ClearNightK)
	SpansRepair     bool
	Repair          time.Time    // only the time before it was used; zero: all of it
	Places          []roof.Place // that had enough data
	Missing         []roof.Place // of those the method wants
}

// Figure is one measured feature, for the table behind the answer.
type Figure struct {
	Feature string
	Group   string
	Value   float64
	U       *float64 // standard uncertainty; nil unknown
}

// Finding is the answer.
type Finding struct {
	Finding    Cause
	Leading    Cause              // most support, whatever the finding
	Strength   string             // "strong", "probable" or "" when undetermined
	Firm       bool               // support of 0.8 or more and nothing open
	Causes     []Support          // all seven, most support first
	Mixed      string             // "possibly together with ...", a hint
	With       Cause              // the other cause of the hint; "" none
	Reasons    []string           // why undetermined, or what keeps it from being firm
	Next       []string           // what to fit, look at or wait for; at most two
	Activities []caution.Activity // whose cautions go with Next
	Notes      []string           // what must be said beside it
	Window     Window
	Figures    []Figure
	States     map[string]float64 // posterior of the physical states
	Ledger     *Ledger            // how the shares came about; nil where no cause has any
	Settle     []Settler          // further loggers and looks, most gain first; empty while nothing is open
	// AirChanges is the apparent air change of the loft an hour with the range
	// the method is good to; nil where it could not be had.
	AirChanges *[3]float64
}

// NextText joins what to do next into one text.
func (f Finding) NextText() string {
	out := ""
	for i, n := range f.Next {
		if i > 0 {
			out += " "
		}
		out += n
	}
	return out
}

// Of returns what a cause got.
func (f Finding) Of(c Cause) Support {
	for _, s := range f.Causes {
		if s.Cause == c {
			return s
		}
	}
	return Support{Cause: c}
}

// shares are support and membership from states, section 6: a state of two faults
// supports each by its part, and makes either a member.
func (d division) shares(p [states]float64) (support, member map[Cause]float64) {
	support, member = map[Cause]float64{}, map[Cause]float64{}
	for _, c := range Named() {
		for st, g := range d.gives(c) {
			support[c] += g * p[st]
			member[c] += g / d.part(c, state(st)) * p[st]
		}
	}
	return support, member
}

// capped brings the leading support down to the cap and spreads the rest over
// the others in proportion, or evenly where they have nothing.
func capped(support map[Cause]float64, limit float64) {
	lead, best := leading(support)
	if best <= limit {
		return
	}
	rest := 1 - best
	for _, c := range Named() {
		switch {
		case c == lead:
			support[c] = limit
		case rest > 1e-9:
			support[c] *= (1 - limit) / rest
		default:
			support[c] = (1 - limit) / float64(len(Named())-1)
		}
	}
}

func leading(support map[Cause]float64) (Cause, float64) {
	var lead Cause
	best := math.Inf(-1)
	for _, c := range Named() {
		if support[c] > best {
			lead, best = c, support[c]
		}
	}
	return lead, best
}

func day(ms int64, zone *time.Location) string {
	return time.UnixMilli(ms).In(zone).Format("2 Jan 2006")
}
