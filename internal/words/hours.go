package words

import "fmt"

// Span is one stretch of a surface's record: how many nights were wet, and for
// how many hours. A record is one span, or two that are never added up: before
// the latest repair and since.
type Span struct {
	Nights
	ObservedH         float64
	WetH, LowH, HighH *float64 // expected over the loggers' accuracy, with its 95 % interval
	FrostH, AtRiskH   *float64 // counted at the calibrated readings
	At                string   // path of the figures in the assessment, with its dot; "" none
}

func (s Span) figure(key string, h *float64) Run {
	if h == nil {
		return Run{Words: Missing}
	}
	r := Run{Words: Hours(*h)}
	if s.At != "" {
		r.From, r.Scale = s.At+key, 1
	}
	return r
}

// Hours says for how long it was wet: wet for 1,234 h (310 to 1,750 h with
// the loggers' accuracy, 95 %) of 2,834 h observed; frost for 327 h; at risk for
// 1,984 h.
func (s Span) Hours() Text {
	if s.WetH == nil {
		return nil
	}
	t := Say("wet for %s h", s.figure("hours_condensing", s.WetH))
	if s.LowH != nil && s.HighH != nil {
		t = append(t, Say(" (%s to %s h with the loggers’ accuracy, 95 %)", s.figure("hours_condensing_low", s.LowH),
			s.figure("hours_condensing_high", s.HighH))...)
	} else {
		t = append(t, Run{Words: " (how sure cannot be said: a logger’s accuracy is not in the case file)"})
	}
	t = append(t, Say(" of %s h observed", s.figure("hours_observed", &s.ObservedH))...)
	if s.FrostH != nil && *s.FrostH >= 0.05 {
		t = append(t, Say("; frost for %s h", s.figure("frost_hours", s.FrostH))...)
	}
	if s.AtRiskH != nil {
		t = append(t, Say("; at risk for %s h", s.figure("hours_at_risk", s.AtRiskH))...)
	}
	return append(t, Run{Words: "."})
}

// SurfaceRecord is the record of one surface in words.
type SurfaceRecord struct {
	Where  string // under the covering
	Repair string // day of the latest repair within the record; "" none
	Spans  []Span // one, or with a repair two
}

// Nights says on how many nights it was wet.
func (r SurfaceRecord) Nights() string {
	if len(r.Spans) == 0 || len(r.Spans) == 1 && r.Spans[0].Observed == 0 {
		return "No night was observed well enough to say whether it was wet " + r.Where + "."
	}
	if len(r.Spans) == 1 {
		n := r.Spans[0].Nights
		if n.Wet == 0 && n.Briefly == 0 {
			return fmt.Sprintf("It stayed dry %s on %s observed%s.", r.Where, Count(n.Observed, "night"), n.after())
		}
		if n.Wet == 0 {
			missed := Nights{Missed: n.Missed}
			return fmt.Sprintf("It was briefly wet %s on %d of %s observed, on none for an hour%s.", r.Where, n.Briefly,
				Count(n.Observed, "night"), missed.after())
		}
		return fmt.Sprintf("It was wet %s on %d of %s observed%s.", r.Where, n.Wet, Count(n.Observed, "night"), n.after())
	}
	b, s := r.Spans[0].Nights, r.Spans[1].Nights
	said := fmt.Sprintf("Before the repair of %s it was wet %s on %d of %s observed%s", r.Repair, r.Where, b.Wet,
		Count(b.Observed, "night"), b.after())
	if b.Observed == 0 {
		said = fmt.Sprintf("Before the repair of %s no night was observed well enough to say whether it was wet %s", r.Repair,
			r.Where)
	}
	if s.Observed == 0 {
		return said + "; since then no night was observed well enough."
	}
	return fmt.Sprintf("%s; since then on %d of %d%s.", said, s.Wet, s.Observed, s.after())
}

// after says what else there is of a count, beginning with a comma.
func (n Nights) after() string {
	if more := n.More(); more != "" {
		return ", " + more
	}
	return ""
}

// Hours says for how long it was wet, span by span.
func (r SurfaceRecord) Hours() []Text {
	var out []Text
	for i, s := range r.Spans {
		h := s.Hours()
		if h == nil {
			continue
		}
		when := "In all "
		if len(r.Spans) == 2 {
			when = []string{"Before the repair ", "Since the repair "}[i]
		}
		out = append(out, append(Say("%s", when), h...))
	}
	return out
}

// TwoChanges is why no hours are given by the model over two repairs.
const TwoChanges = "only one repair: more than one changed this roof in the record"

// TriedPlaces is why none are given at other surfaces.
const TriedPlaces = "the underside of a covering or underlay; no other surface was tried"

// ShorterRecord is why none are given over a long record.
func ShorterRecord(nights int) string {
	return fmt.Sprintf("a stretch of the record of at most %d nights", nights)
}

// NoHours says why the model gives no wet hours: what it would need.
func NoHours(needs string) string { return "no wet hours by the model: it would need " + needs }

// FewNightsForHours is that need where the record is short.
func FewNightsForHours(have, least int) string {
	return fmt.Sprintf("%d well-observed nights (%s)", least, CountAre(have, "night"))
}

// CountAre says how many there are: 1 night is, 3 nights are usable.
func CountAre(n int, one string) string {
	if n == 1 {
		return "1 " + one + " is usable"
	}
	return Count(n, one) + " are usable"
}

// Astray is that need where the model does not follow the readings.
func Astray(sigmaK, mostK float64) string {
	return fmt.Sprintf("readings that follow the usual physics of this roof (it misses the air’s dew point by %s K, and "+
		"%s K is the limit): check logger places", Fixed(sigmaK, 1), Fixed(mostK, 1))
}

// ModelHours sets the wet hours by the fitted roof beside those of the readings.
type ModelHours struct {
	At                        string // path of its figures: surfaces.0.
	Where, When               string // under the covering; BeforeIt, SinceIt or "" for the whole record
	WetH, LowH, HighH         float64
	CountedLowH, CountedHighH *float64 // of the readings with the loggers' accuracy; nil where one is unknown
	Logger, Quantity, CheckBy string   // the check that would settle it; "" none
}

// The two spans of a record with a repair.
const (
	BeforeIt = "before the repair"
	SinceIt  = "since the repair"
)

// Apart reports that the two differ by more than their intervals.
func (m ModelHours) Apart() bool {
	return m.CountedLowH != nil && m.CountedHighH != nil && (m.LowH > *m.CountedHighH || m.HighH < *m.CountedLowH)
}

// Sentence is the model's figure, and where the readings differ by more than the
// intervals, what would settle it.
func (m ModelHours) Sentence() Text {
	figure := func(key string, h float64) Run {
		return Run{Words: Hours(h), From: m.At + "hours_condensing_model" + key, Scale: 1}
	}
	when := ""
	if m.When != "" {
		when = ", " + m.When
	}
	t := Say("By a model of this roof fitted to the readings it was wet %s for %s h (%s to %s h, 95 %)%s.", m.Where,
		figure("", m.WetH), figure("_low", m.LowH), figure("_high", m.HighH), when)
	if !m.Apart() {
		return t
	}
	t = append(t, Say(" Model and readings differ by more than their intervals")...)
	if m.Logger == "" {
		return append(t, Say(".")...)
	}
	return append(t, Say(": a check of the %s of %s (%s) would settle it.", m.Quantity, m.Logger, m.CheckBy)...)
}
