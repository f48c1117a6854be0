// Package assessment computes every answer about one case's record and returns
// them in one object: coverage, hours at each surface, the cause that the
// evidence supports, and whether each repair worked.
package assessment

import (
	"fmt"
	"math"
	"time"

	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/mechanism"
	"dewcase/internal/reason/predict"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/risk"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Assessment is the whole answer (contract, section 4). A null figure is
// explained in the notes beside it.
type Assessment struct {
	Case  string     `json:"case"`
	From  *time.Time `json:"from"`
	Until *time.Time `json:"until"`
	// Doubts name loggers whose figures cannot be in their unit; they come first,
	// and nothing is concluded from these loggers.
	Doubts    []evidence.Doubt `json:"doubts" doc:"loggers whose units cannot be; nothing is concluded from them"`
	Coverage  []Coverage       `json:"coverage"`
	Surfaces  []Surface        `json:"surfaces"`
	Diagnosis Diagnosis        `json:"diagnosis"`
	Repairs   []Repair         `json:"repairs"`
	// Predictions, Help, Now and Scores are filled in by Take: they are worked out
	// where they are asked for.
	Predictions []Prediction  `json:"predictions" doc:"what each work would have done, over the record before any repair"`
	Help        *Help         `json:"what_would_help,omitempty" doc:"the same over all surfaces, ranked"`
	Now         *Now          `json:"what_would_help_now,omitempty" doc:"over the time since the latest work; none without one"`
	Scores      []Score       `json:"prediction_scores" doc:"predictions before the works done, beside what was found"`
	Physics     PhysicsAnswer `json:"physics"`
	Settle      []Settle      `json:"settle" doc:"what one more logger, look or check would do for what is open"`
	Notes       []string      `json:"notes"`
}

// Coverage is how much of the span a position was observed.
type Coverage struct {
	Position    string   `json:"position"`
	Share       float64  `json:"share" doc:"observed time over elapsed time, 0..1"`
	LongestGapH *float64 `json:"longest_gap_h"`
	Excluded    int      `json:"excluded_readings" doc:"readings kept out of hours by a flag"`
	LeftOutH    float64  `json:"left_out_h,omitempty" doc:"hours of the span that a person left out (key excluded)"`
}

// Surface is what happened at one surface, in hours.
type Surface struct {
	Surface             string    `json:"surface"`
	Air                 string    `json:"air"`
	HoursObserved       float64   `json:"hours_observed"`
	HoursCondensing     *float64  `json:"hours_condensing"`
	HoursCondensingLow  *float64  `json:"hours_condensing_low"`
	HoursCondensingHigh *float64  `json:"hours_condensing_high"`
	HoursCondensingRaw  *float64  `json:"hours_condensing_raw"`
	HoursModel          *float64  `json:"hours_condensing_model" doc:"by the fitted roof; null where it does not follow"`
	HoursModelLow       *float64  `json:"hours_condensing_model_low"`
	HoursModelHigh      *float64  `json:"hours_condensing_model_high"`
	HoursAtRisk         *float64  `json:"hours_at_risk"`
	FrostHours          *float64  `json:"frost_hours"`
	PeakCondensateGM2   *float64  `json:"peak_condensate_g_m2"`
	HowSure             []HowSure `json:"how_sure"`
	Spans               []Span    `json:"spans" doc:"before the latest repair and since; empty without one"`
	Notes               []string  `json:"notes"`
}

// Span is a part of the record at one surface.
type Span struct {
	From                time.Time `json:"from"`
	Until               time.Time `json:"until"`
	HoursObserved       float64   `json:"hours_observed"`
	HoursCondensing     *float64  `json:"hours_condensing"`
	HoursCondensingLow  *float64  `json:"hours_condensing_low"`
	HoursCondensingHigh *float64  `json:"hours_condensing_high"`
	HoursCondensingRaw  *float64  `json:"hours_condensing_raw"`
	HoursModel          *float64  `json:"hours_condensing_model"`
	HoursModelLow       *float64  `json:"hours_condensing_model_low"`
	HoursModelHigh      *float64  `json:"hours_condensing_model_high"`
	HoursAtRisk         *float64  `json:"hours_at_risk"`
	FrostHours          *float64  `json:"frost_hours"`
	HowSure             []HowSure `json:"how_sure"`
}

// HowSure is one logger term's part in the width of the interval, and the
// interval that a check of that term would leave.
type HowSure struct {
	Logger      string  `json:"logger"`
	Quantity    string  `json:"quantity"`
	Part        float64 `json:"part" doc:"share of the variance, 0..1"`
	CheckedLow  float64 `json:"hours_condensing_low_if_checked"`
	CheckedHigh float64 `json:"hours_condensing_high_if_checked"`
}

// Diagnosis is the cause the evidence supports.
type Diagnosis struct {
	Finding  string     `json:"finding"`
	Sentence string     `json:"sentence" doc:"the finding with its share of the evidence and the runner-up"`
	Strength string     `json:"strength" doc:"strong, probable, or empty while undetermined"`
	From     *time.Time `json:"from" doc:"the stretch of the record that the cause was looked for in"`
	Until    *time.Time `json:"until"`
	Causes   []Cause    `json:"causes"`
	// Ledger shows how the shares came about, line by line.
	Ledger  *cause.Ledger `json:"ledger,omitempty"`
	Reasons []string      `json:"reasons" doc:"why it is undetermined"`
	Next    string        `json:"next"`
	Notes   []string      `json:"notes" doc:"what must be said beside the finding"`
}

// Cause is one candidate with its support and its evidence.
type Cause struct {
	Cause   string   `json:"cause"`
	Support float64  `json:"support"`
	Alone   float64  `json:"support_by_readings_alone" doc:"with everything seen on the survey left out"`
	For     []string `json:"for"`
	Against []string `json:"against"`
}

// Repair is the verdict on one repair at one surface, with everything behind it,
// and what it changed of the roof's exchange of air.
type Repair struct {
	repair.Result
	Exchanges []mechanism.Result `json:"mechanism" doc:"what the work changed; says nothing of wet hours"`
	OnlySeen  *OnlySeen          `json:"only_measured,omitempty" doc:"no verdict: nothing outdoors was logged"`
}

// Answer is an assessment with everything behind its figures, for pages and
// reports.
type Answer struct {
	Assessment
	Finding cause.Finding
	Behind  Physics
}

// Of assesses a case's record.
func Of(set *series.Set) Answer { return OfBy(roof.InTurn, set) }

// OfBy is Of, the parts that need nothing of each other by workers.
func OfBy(by roof.Workers, set *series.Set) Answer {
	p := partsOf(set)
	by(mainParts, p.work)
	return p.answer()
}

// Whole is Of and Foresee, the parts that need nothing of each other by workers.
func Whole(by roof.Workers, set *series.Set) (Answer, *Foresight) {
	p := partsOf(set)
	by(allParts, p.work)
	a := p.answer()
	return a, Foresee(set, a, &Foresight{fitted: p.fitted[:]})
}

// The parts of an answer, none of which needs another; the last two are of what
// works would do.
const (
	verdicts = iota
	exchanges
	counted
	mainParts
	before = iota - 1
	since
	allParts
)

// parts is an answer in the making.
type parts struct {
	whole, set *series.Set // set without the loggers in doubt
	doubts     []evidence.Doubt
	results    []repair.Result
	exchanges  mechanism.Prepared
	measured   Assessment
	fitted     [2]*predict.House
}

func partsOf(set *series.Set) *parts {
	doubts := doubtsOf(set)
	return &parts{whole: set, set: evidence.Undoubted(set, doubts), doubts: doubts}
}

// work works one part out.
func (p *parts) work(i int) {
	switch i {
	case verdicts:
		p.results = repair.Assess(p.set, repair.Options{Witness: mechanism.NewWitness(p.set)})
	case exchanges:
		p.exchanges = mechanism.Prepare(p.set)
	case counted:
		p.measured = measured(p.set)
	case before:
		p.fitted[0] = predict.Fit(p.set, predict.Before(p.set))
	case since: // as it will be unless a work is found to have changed nothing
		if era, ok := predict.Since(p.set, func(roof.Event) bool { return false }); ok {
			p.fitted[1] = predict.Fit(p.set, era)
		}
	}
}

func (p *parts) answer() Answer {
	whole, set, doubts, results := p.whole, p.set, p.doubts, p.results
	a := Answer{Assessment: p.measured}
	if len(doubts) == 0 {
		a.takeModelHours(set, results)
	}
	for i, x := range p.exchanges.Assess(results) {
		a.Repairs = append(a.Repairs, Repair{Result: results[i], Exchanges: x})
		if results[i].NoOutdoor {
			a.Repairs[i].takeSeen(onlySeen(set, results[i]))
		}
	}
	a.Finding = cause.Find(set, cause.Options{Unchanged: unchanged(a.Repairs)})
	a.doubt(whole, doubts)
	a.Notes = append(append(a.Notes, unjudged(set.Case)...), leftOut(set)...)
	a.Diagnosis = diagnosis(a.Finding)
	a.Diagnosis.Sentence = a.Cause(set.Case).Sentence().String()
	a.Behind = physics(set, a.Finding)
	a.Physics = physicsAnswer(a.Behind)
	a.Physics.Cautions = cautions(a.Finding, a.Behind)
	a.settle(set)
	for i := range a.Surfaces {
		if c := a.Behind.Surfaces[i].Condensate; c != nil && a.Surfaces[i].HoursObserved > 0 {
			a.Surfaces[i].PeakCondensateGM2 = rounded(c.PeakGM2)
		}
	}
	return a
}

// measured is what the readings say without any model: coverage and hours.
func measured(set *series.Set) Assessment {
	a := Assessment{Case: set.Case.ID, Coverage: []Coverage{}, Surfaces: []Surface{}, Repairs: []Repair{},
		Predictions: []Prediction{}, Scores: []Score{}, Settle: []Settle{}, Notes: []string{}}
	if set.UntilMS > 0 {
		from, until := time.UnixMilli(set.FromMS).UTC(), time.UnixMilli(set.UntilMS).UTC()
		a.From, a.Until = &from, &until
	} else {
		a.Notes = append(a.Notes, "no reading of a fitted logger lies in the span: fit loggers in the case file (key "+
			"loggers.fitted) or send readings")
	}
	for i := range set.Courses {
		a.Coverage = append(a.Coverage, coverage(set, &set.Courses[i]))
		for _, l := range set.Courses[i].Shadowed {
			a.Notes = append(a.Notes, "position "+set.Courses[i].Position.ID+": logger "+
				l+" reported there while the one fitted before it still did; the earlier one counts until its last reading "+
				"(give its fitting an end, key to)")
		}
	}
	for _, p := range set.Case.Surfaces() {
		a.Surfaces = append(a.Surfaces, surface(set, p))
	}
	return a
}

// leftOut says what a person left out of the record, how much it is and why.
func leftOut(set *series.Set) (notes []string) {
	c, from, until := set.Case, time.UnixMilli(set.FromMS), time.UnixMilli(set.UntilMS)
	n := 0
	for _, x := range c.Excluded {
		if x.From.Before(until) && x.To.After(from) {
			n++
			notes = append(notes, words.LeftOutStretch(x.From, x.To, c.Property.Zone, x.Position, x.Reason))
		}
	}
	if n > 0 {
		notes = append([]string{words.LeftOut(c.LeftOut("", from, until).Hours(), n)}, notes...)
	}
	return notes
}

func coverage(set *series.Set, c *series.Course) Coverage {
	out := Coverage{Position: c.Position.ID, Excluded: c.Excluded}
	if set.UntilMS > set.FromMS {
		share, gap := timeline.CoverageOf(c, set.FromMS, set.UntilMS)
		out.Share, out.LongestGapH = round(share, 5), rounded(gap)
		out.LeftOutH = round(set.Case.LeftOut(c.Position.ID, time.UnixMilli(set.FromMS),
			time.UnixMilli(set.UntilMS)).Hours(), 2)
	}
	return out
}

func surface(set *series.Set, p roof.Position) Surface {
	s := Surface{Surface: p.ID, Air: p.Meets, HowSure: []HowSure{}, Spans: []Span{}, Notes: keptOut(set, p)}
	c, err := risk.Margin(set, p.ID)
	if err != nil {
		s.Notes = append(s.Notes, err.Error())
		return s
	}
	var all Span
	if all = span(c, set.FromMS, set.UntilMS); all.HoursObserved == 0 {
		s.Notes = append(s.Notes, "surface "+p.ID+" and its air "+p.Meets+
			" were never observed at the same time: hours are not computable")
		return s
	}
	s.HoursObserved, s.HoursCondensing, s.HoursAtRisk, s.FrostHours = all.HoursObserved, all.HoursCondensing,
		all.HoursAtRisk, all.FrostHours
	s.HoursCondensingLow, s.HoursCondensingHigh = all.HoursCondensingLow, all.HoursCondensingHigh
	s.HoursCondensingRaw = all.HoursCondensingRaw
	if at := latestRepair(set); at > 0 {
		s.Spans = append(s.Spans, span(c, set.FromMS, at), span(c, at, set.UntilMS))
	}
	if s.HoursCondensingLow != nil {
		s.HowSure = all.HowSure
	} else {
		missing, _ := c.Accurate()
		s.Notes = append(s.Notes, "the accuracy of logger "+missing+
			" is unknown: the wet hours are a plain count without an interval (key loggers.accuracy)")
	}
	return s
}

// span sums a stretch of a surface's record up; the wet hours counted at the
// calibrated readings stand in for the expected ones where an accuracy is unknown.
func span(c risk.Course, fromMS, untilMS int64) (s Span) {
	sum := c.Sum(fromMS, untilMS)
	counted := rounded(sum.CondensingMS / 3.6e6)
	s = Span{From: time.UnixMilli(fromMS).UTC(), Until: time.UnixMilli(untilMS).UTC(),
		HoursObserved: round(sum.ObservedMS/3.6e6, 4), HowSure: []HowSure{}, HoursCondensing: counted,
		HoursCondensingRaw: counted, HoursAtRisk: rounded(sum.AtRiskMS / 3.6e6), FrostHours: rounded(sum.FrostMS / 3.6e6)}
	if e, shares, ok := c.ExpectedAndShares([]risk.Span{{FromMS: fromMS, UntilMS: untilMS}}, 0); ok {
		s.HoursCondensing, s.HoursCondensingLow, s.HoursCondensingHigh = rounded(e.MeanH), rounded(e.LowH), rounded(e.HighH)
		for _, sh := range shares {
			s.HowSure = append(s.HowSure, HowSure{sh.Logger, sh.Quantity.String(), round(sh.Part, 4), round(sh.CheckedLow, 4),
				round(sh.CheckedHigh, 4)})
		}
	}
	return s
}

// latestRepair is the time of the last repair within the record, 0 for none.
func latestRepair(set *series.Set) (at int64) {
	for _, e := range set.Case.Repairs() {
		if ms := e.At.UnixMilli(); ms > set.FromMS && ms < set.UntilMS {
			at = max(at, ms)
		}
	}
	return at
}

// excludingWords say in a note why readings do not count.
var excludingWords = []struct {
	flag  roof.Flags
	words string
}{
	{roof.FlagClockWrong, "the logger's clock cannot be right"},
	{roof.FlagBeforeFitting, "they are older than the logger's fitting"},
	{roof.FlagFlatLine, "the probe showed no movement for 8 h while its neighbours moved"},
}

// keptOut says which readings behind a surface were kept out of its hours.
func keptOut(set *series.Set, p roof.Position) []string {
	notes := []string{}
	for _, id := range []string{p.ID, p.Meets} {
		c := set.Course(id)
		if c == nil {
			continue
		}
		for _, e := range excludingWords {
			if n := c.Flagged[e.flag]; n > 0 {
				notes = append(notes, fmt.Sprintf("readings at %s kept out of hours: %d, because %s", id, n, e.words))
			}
		}
	}
	return notes
}

func round(x float64, decimals int) float64 {
	f := math.Pow10(decimals)
	return math.Round(x*f) / f
}

func rounded(x float64) *float64 {
	x = round(x, 4)
	return &x
}
