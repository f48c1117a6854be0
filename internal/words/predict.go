package words

import (
	"fmt"
	"math"
	"time"
)

// works are the candidates for repair by the contract's name: what would be
// done, as the subject of a sentence.
var works = map[string]string{
	"void_vented":       "opening the batten void",
	"loft_vented":       "opening the loft’s vents",
	"ceiling_sealed":    "sealing the ceiling",
	"vents_and_ceiling": "opening the loft’s vents and sealing the ceiling",
	"drier_house":       "a drier house",
	"leave":             "leaving it as it is",
	"leak_stopped":      "stopping a leak",
	"drying_out":        "letting it dry out",
	"underlay_replaced": "replacing the underlay",
	"insulated":         "insulating",
	"dehumidified":      "drying the loft’s air with a machine",
}

// Work is a candidate for repair as the subject of a sentence: opening the batten
// void.
func Work(work string) string {
	if w, ok := works[work]; ok {
		return w
	}
	return Key(work)
}

// Planned says which work the case file plans.
func Planned(work, assumes string) string {
	return "Planned by the case file: " + Work(work) + " (" + assumes + "). It is a plan and no work done; cutting it " +
		"needs the cautions here and the rules that apply."
}

// Slots says openings in mm: 25 mm continuous at both eaves and 10 mm at the ridge.
func Slots(eavesMM, ridgeMM float64) string {
	if ridgeMM == 0 {
		return fmt.Sprintf("%g mm continuous at both eaves", eavesMM)
	}
	return fmt.Sprintf("%g mm continuous at both eaves and %g mm at the ridge", eavesMM, ridgeMM)
}

// SealedByHand says what a sealed ceiling is taken to be.
const SealedByHand = "hatch, downlights and pipes sealed by hand, so that about 40 % of the leakage is left (12 % " +
	"to all " +
	"of it)"

// DrierRooms says what a drier house is taken to be: the share left of the rooms'
// vapour over outdoors, and that vapour in Pa where it was measured.
func DrierRooms(left, excessPa float64) string {
	s := fmt.Sprintf("%s %% of the vapour that the rooms’ air carries above outdoor air is left", Percent(left))
	if excessPa > 0 {
		s += fmt.Sprintf(" (%s Pa instead of %s)", Whole(left*excessPa), Whole(excessPa))
	}
	return s
}

// NoPredictionKind says why there is no prediction.
type NoPredictionKind int

// Why there can be no prediction.
const (
	Predicted     NoPredictionKind = iota
	OwnLook                        // of this kind of work the loggers say nothing
	FewNights                      // Have of Least count
	LittleWater                    // Have hours of Least were wet
	MissingLogger                  // What
	ModelAstray                    // it misses the air by Have K
	LoftNotLogged                  // so that only the void's work can be told
	VoidNotLogged                  // so that its work cannot be told here
	TooWarm                        // outdoors, Have C on the mean
	RafterInsulation
	NoUnderlay
	LowPitch // Have degrees
	NotASurface
	LeftUntouched
)

// NoPrediction is why there is no prediction, with its figures.
type NoPrediction struct {
	Kind        NoPredictionKind
	Have, Least float64
	What        string
}

// String is the reason as a clause, empty where there is a prediction.
func (n NoPrediction) String() string {
	switch n.Kind {
	case Predicted:
		return ""
	case OwnLook:
		return "these loggers cannot tell; look first"
	case FewNights:
		return fmt.Sprintf("too few nights to predict from: %s well observed, at least %.0f are needed",
			Count(int(n.Have), "night"), n.Least)
	case LittleWater:
		return fmt.Sprintf("too little condensation to predict from: counted wet for %s h, at least %.0f h are needed",
			Hours(n.Have), n.Least)
	case MissingLogger:
		return "it cannot be predicted without " + n.What
	case ModelAstray:
		return fmt.Sprintf("the readings do not follow the usual physics of a roof (the model misses the air’s dew "+
			"point "+
			"by %.1f K): check logger places", n.Have)
	case LoftNotLogged:
		return "no logger in the loft: only work on the batten void can be predicted here"
	case VoidNotLogged:
		return "no logger in the batten void"
	case TooWarm:
		return fmt.Sprintf("the record is not of a cold season: outdoor air was at %s °C on the mean, and nothing "+
			"over "+
			"%.0f °C was tried", Signed(n.Have), n.Least)
	case RafterInsulation:
		return "a roof insulated at the rafters was not tried"
	case NoUnderlay:
		return "a roof without an underlay was not tried"
	case LowPitch:
		return fmt.Sprintf("a roof of under %.0f degrees was not tried", n.Least)
	case NotASurface:
		return "it meets neither the loft nor the batten void"
	}
	return "it is to be left untouched"
}

// Reach is a prediction's figure: the best estimate and an interval, in hours or
// per cent.
type Reach struct{ Best, Low, High float64 }

// Prediction is what one work would have done at one surface.
type Prediction struct {
	Work    string // of the contract
	Assumes string // 25 mm continuous at both eaves
	Where   string // under the covering
	Since   time.Time
	Zone    *time.Location
	BeforeH float64 // hours at risk by the fitted roof, as it stands
	After   Reach   // with the work, in four of five such roofs
	WetPct  float64 // change of the wet hours, above zero more
	// HarmChance is the chance that the wet hours rise by a tenth or more; Harms
	// that a warning is due.
	HarmChance float64
	Harms      bool
	Little     bool // within 5 % either way
	Uncertain  bool // its size is small and uncertain
	Refused    NoPrediction
}

// Done is the work with what it is taken to be: opening the batten void (25 mm
// continuous at both eaves).
func (p Prediction) done() string {
	if p.Assumes == "" {
		return Upper(Work(p.Work))
	}
	return Upper(Work(p.Work)) + " (" + p.Assumes + ")"
}

// Sentence is the prediction with its figure and how sure it is.
func (p Prediction) Sentence() Text {
	if p.Refused.Kind != Predicted {
		return Say("%s, %s: %s.", Upper(Work(p.Work)), p.Where, p.Refused.String())
	}
	fitted := fmt.Sprintf("the fitted roof’s %s hours at risk %s since %s", Round(p.BeforeH), p.Where,
		Day(p.Since, p.Zone))
	reach := fmt.Sprintf("between %s and %s in four of five such roofs", Round(p.After.Low), Round(p.After.High))
	var t Text
	switch {
	case p.Harms:
		t = Say("%s %s: wet hours about %s, chance %s of a tenth more or worse.",
			Bold(p.done()+" would probably make it worse"), p.Where, More(p.WetPct), InTen(p.HarmChance))
		if p.Work == "void_vented" {
			t = append(t, Say(" On clear nights outdoor air wets this covering, and a shut void keeps much of it "+
				"away.")...)
		}
		t = append(t, Say(" Hours at risk of the fitted roof: about %s instead of %s, %s.", Round(p.After.Best),
			Round(p.BeforeH), reach)...)
		return t
	case p.Little:
		t = Say("%s would change little: of %s it would have left about %s, %s.", p.done(), fitted,
			Round(p.After.Best),
			reach)
	case p.After.Best > p.BeforeH:
		t = Say("%s: instead of %s there would have been about %s, %s.", p.done(), fitted, Round(p.After.Best), reach)
	default:
		t = Say("%s: of %s it would have left about %s, %s.", p.done(), fitted, Round(p.After.Best), reach)
	}
	if p.Uncertain {
		t = append(t, Say(" Small and uncertain.")...)
	}
	return t
}

// Round writes hours as a prediction may: 8, 45, 210, 1,250.
func Round(h float64) string {
	switch {
	case h < 20:
		return fmt.Sprintf("%.0f", h)
	case h < 200:
		return fmt.Sprintf("%.0f", 5*math.Round(h/5))
	}
	return Whole(10 * math.Round(h/10))
}

// More writes a change in per cent with its sign, by fives: +60 %, −35 %.
func More(pct float64) string {
	n := 5 * math.Round(pct/5)
	switch {
	case n > 0:
		return fmt.Sprintf("+%.0f %%", n)
	case n < 0:
		return fmt.Sprintf("−%.0f %%", -n)
	}
	return "unchanged"
}

// InTen writes a chance out of ten: 9 in 10, over 9 in 10.
func InTen(p float64) string {
	switch n := math.Round(10 * p); {
	case p > 0.95:
		return "over 9 in 10"
	case p < 0.05:
		return "under 1 in 10"
	default:
		return fmt.Sprintf("%.0f in 10", n)
	}
}

// Rank is a candidate's place over all surfaces.
type Rank struct {
	Work    string
	BeforeH float64 // hours at risk over all surfaces, as it stands
	AfterH  float64
	Helps   bool // enough to be recommended
	Harms   bool
	Alike   bool // with the first, by less than can be told apart
	Open    bool // no change at all lies within four of five such roofs
}

// Ranking is what the candidates would have done over all surfaces.
type Ranking struct {
	Ranks   []Rank // best first
	Since   time.Time
	Zone    *time.Location
	Water   string // a cause, named or leading, that brings water: water getting in
	Refused string // why there is none, a clause
}

// help is the best of the candidates worth doing, nil where none is.
func (r Ranking) help() *Rank {
	for i := range r.Ranks {
		if x := &r.Ranks[i]; x.Helps {
			return x
		}
	}
	return nil
}

// NoneHelps reports that no candidate would help much.
func (r Ranking) NoneHelps() bool { return len(r.Ranks) > 0 && r.help() == nil }

// Recommended is the work that would help most, empty where none is to be
// recommended.
func (r Ranking) Recommended() string {
	if h := r.help(); h != nil && r.Water == "" {
		return h.Work
	}
	return ""
}

// Headline is the answer in one sentence: which work would have helped most, or
// that none would.
func (r Ranking) Headline() Text {
	h := r.help()
	switch {
	case len(r.Ranks) == 0:
		return Say("What repairs would do cannot be predicted here: %s.", r.Refused)
	case h == nil:
		return Say("%s: leave alone, or look for water.", Bold("None of these would help much"))
	}
	of := fmt.Sprintf("of the fitted roof’s %s hours at risk since %s about %s would have been left", Round(h.BeforeH),
		Day(r.Since, r.Zone), Round(h.AfterH))
	t := Say("%s: %s.", Bold(Upper(Work(h.Work))+" would help most"), of)
	if r.Water != "" {
		t = Say("%s. By air alone %s would do most: %s.", Bold(WaterFirst(r.Water)), Work(h.Work), of)
	}
	if h.Open {
		t = append(t, Say(" That is a best estimate: no change at all lies within what is likely.")...)
	}
	for _, x := range r.Ranks {
		if x.Alike && x.Work != h.Work && x.Helps {
			t = append(t, Say(" %s would do about as much.", Upper(Work(x.Work)))...)
			break
		}
	}
	return t
}

// Harms are the sentences on works that would make it worse, as loud as those
// that would help.
func (r Ranking) Harms() []Text {
	var out []Text
	for _, x := range r.Ranks {
		if x.Harms {
			out = append(out, Say("%s.", Bold(Upper(Work(x.Work))+" would probably make it worse")))
		}
	}
	return out
}

// WaterFirst is said beside predictions where water may be getting in; cause is
// in words.
func WaterFirst(cause string) string {
	return "The readings may point to " + cause + ": if water is getting in, ventilation hides it and the timber " +
		"stays " +
		"wet: find it first"
}

// What is said beside every prediction.
const (
	OverTheseNights = "Had it been done before these nights; another winter differs."
	OnlyAir         = "This is a calculation of air and vapour. It does not replace looking for wet patches."
	RulesDecide     = "A rule may ask for an opening that the readings do not: the rule decides, and whoever signs " +
		"for the " +
		"work."
	FromTrials = "In trials on 278 simulated roofs of two kinds of physics, four-of-five intervals held 86 to 89 " +
		"times in " +
		"100 (hours at risk) and 84 to 90 (wet hours). No real roof was repaired in these trials."
)

// WidestKind is what widens a prediction most.
type WidestKind int

// What can widen a prediction.
const (
	NothingWidest  WidestKind = iota
	StrengthWidest            // how much the work will change the exchange
	LoggerWidest              // an error of a logger
)

// Widest is the input that widens a prediction most.
type Widest struct {
	Kind    WidestKind
	Work    string
	Logger  string // position
	Share   float64
	Unknown string // a survey item that is not known, in words
}

// String says what would narrow the prediction, a sentence; empty where nothing
// stands out.
func (w Widest) String() string {
	switch w.Kind {
	case StrengthWidest:
		s := fmt.Sprintf("The largest part of this prediction’s doubt (%s %%) is how much the work will change the "+
			"flow of "+
			"air", Percent(w.Share))
		if w.Unknown != "" {
			return s + ": survey " + w.Unknown + "."
		}
		return s + "; no survey settles that beforehand."
	case LoggerWidest:
		return fmt.Sprintf("The largest part of this prediction’s doubt (%s %%) is the logger at %s: check it "+
			"against a "+
			"reference.", Percent(w.Share), w.Logger)
	}
	return ""
}

// ModelAgainstCount is said where the fitted roof's own hours differ from the
// count by more than half as much again; empty where they do not.
func ModelAgainstCount(modelH, countedH float64) string {
	const apart = 1.5
	if a, b := modelH+1, countedH+1; a <= apart*b && b <= apart*a {
		return ""
	}
	return fmt.Sprintf("The fitted roof has %s hours at risk over these nights where %s were counted; the "+
		"prediction rests "+
		"on the fitted roof.", Round(modelH), Round(countedH))
}

// NoScoreKind says why a repair has no prediction to be set beside its verdict.
type NoScoreKind int

// Why a prediction cannot be scored.
const (
	Scored        NoScoreKind = iota
	NotDeclared               // what the work changed is inferred only
	NotACandidate             // no single work that is predicted
	NotPredicted              // refused at this surface
	NoNightsAfter
)

// String is the reason as a clause.
func (k NoScoreKind) String() string {
	return [...]string{"", "the case file does not say what the work changed (key changes of the event)",
		"work of this kind, or several at once, is not predicted", "nothing was predicted for this surface",
		"no night after the work counts yet"}[k]
}

// Score sets a prediction of the last evening before a work beside what was then
// found.
type Score struct {
	Work      string
	Where     string
	At        time.Time
	Zone      *time.Location
	Nights    int
	Predicted Reach    // fall of the hours at risk in per cent, with its 80 % interval
	Found     *float64 // fall by the verdict; nil while there is none
	Early     bool     // the verdict is still too early
	Hit       bool     // it lies in the interval
	Why       NoScoreKind
}

// Sentence sets the two side by side.
func (s Score) Sentence() Text {
	if s.Why != Scored {
		return Say("No prediction to set beside it %s: %s.", s.Where, s.Why.String())
	}
	t := Say("Predicted before the work (%s), hours at risk %s: %s, between %s and %s in four of five such roofs, "+
		"on the %s "+
		"since that count.", Work(s.Work), s.Where, fallOf(s.Predicted.Best), fallOf(s.Predicted.Low),
		fallOf(s.Predicted.High), Count(s.Nights, "night"))
	switch {
	case s.Found == nil:
		return append(t, Say(" Found: nothing yet.")...)
	case s.Early:
		return append(t, Say(" Found so far: they %s; it is too early to count that.", fellBy(*s.Found))...)
	case s.Hit:
		return append(t, Say(" Found: they %s, within what was predicted.", fellBy(*s.Found))...)
	}
	return append(t, Say(" Found: they %s, outside what was predicted.", Bold(fellBy(*s.Found)))...)
}

// fellBy says a fall in per cent: fell by 40 %, rose by 12 %, did not change.
func fellBy(pct float64) string {
	switch WayOf(pct) {
	case Fell:
		return "fell by " + Whole(pct) + " %"
	case Rose:
		return "rose by " + Whole(-pct) + " %"
	}
	return "did not change"
}

// fallOf says it as a noun: a fall of 40 %, a rise of 12 %, no change.
func fallOf(pct float64) string {
	switch WayOf(pct) {
	case Fell:
		return "a fall of " + Whole(pct) + " %"
	case Rose:
		return "a rise of " + Whole(-pct) + " %"
	}
	return "no change"
}

// Tally says over all houses how predictions fared: 8 of 11.
func Tally(hits, n int) string {
	if n == 0 {
		return "No predicted work has a verdict yet, so that nothing can be said of how predictions fare here."
	}
	return fmt.Sprintf("%d of %d verdicts lay within what had been predicted before the work; four of five are "+
		"expected to.",
		hits, n)
}

// WetTally says the same of the wet hours.
func WetTally(hits, n int) string {
	return fmt.Sprintf("Of the wet hours, which are predicted less surely, %d of %d did.", hits, n)
}

// LeftOf says what a work would leave, for who cannot see the bar.
func LeftOf(beforeH float64, left Reach) string {
	return fmt.Sprintf("about %s of %s hours at risk left, between %s and %s in four of five such roofs",
		Round(left.Best),
		Round(beforeH), Round(left.Low), Round(left.High))
}

// NotASize says what a size that was asked for cannot be, and what is used.
func NotASize(label, given string, lo, hi, used float64, unit string) string {
	return fmt.Sprintf("%s: “%s” is not a figure between %g and %g %s; %g %s is used", label, given, lo, hi, unit,
		used, unit)
}
