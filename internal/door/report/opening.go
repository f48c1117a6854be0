package report

import (
	"fmt"
	"slices"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/cause"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// observed is the mean share observed over the positions, as on the pages.
func (b *builder) observed() (float64, bool) {
	if len(b.Answer.Coverage) == 0 || !b.recorded() {
		return 0, false
	}
	sum := 0.0
	for _, c := range b.Answer.Coverage {
		sum += c.Share
	}
	return sum / float64(len(b.Answer.Coverage)), true
}

// footLabel is how much of a property's label stands in the foot.
const footLabel = 60

func (b *builder) foot() Foot {
	span := "no record"
	if b.recorded() {
		span = day(b.from, b.zone) + " to " + day(b.until, b.zone)
	}
	label := b.label()
	if r := []rune(label); len(r) > footLabel { // the rest of the foot must be there too
		label = string(r[:footLabel]) + "…"
	}
	f := Foot{Case: label + " (" + b.Case.ID + ")", Span: span, Version: "dewcase " + b.Version,
		Made: "made " + local(b.MadeAt, b.zone, "2 Jan 2006 15:04 MST")}
	if b.label() == b.Case.ID {
		f.Case = b.Case.ID
	}
	if x, ok := b.observed(); ok {
		f.Coverage = "observed " + words.Percent(x) + " %"
	}
	if b.Demo {
		f.Case += " · INVENTED DATA"
	}
	return f
}

func (b *builder) facts() []Fact {
	out := []Fact{{"Property", say("%s", b.label())}, {"Case", say("%s", b.Case.ID)}}
	if b.recorded() {
		out = append(out, Fact{"Record", say("%s to %s (times in %s)", local(b.from, b.zone, timeLayout),
			local(b.until, b.zone, timeLayout), b.zone.String())})
	} else {
		out = append(out, Fact{"Record", say("none: no reading of a fitted logger")})
	}
	made := local(b.MadeAt, b.zone, timeLayout) + " (" + b.MadeAt.In(b.zone).Format("MST") + ")"
	if b.MadeBy != "" {
		made += ", by " + b.MadeBy
	}
	out = append(out, Fact{"Made", say("%s, with dewcase %s, from what had come in by then", made, b.Version)})
	for _, d := range []struct {
		name string
		Digest
	}{{"Case file", b.CaseFile}, {"Readings", b.Readings}} {
		if d.SHA256 != "" {
			out = append(out, Fact{d.name, say("SHA-256 %s %s", mono(d.SHA256), d.Of)})
		}
	}
	return out
}

// answer says the whole of it in a paragraph: how wet, why, and whether the
// repair worked; or plainly that it cannot be told, and what would settle it.
func (b *builder) answer() []Text {
	if !b.recorded() {
		return []Text{say("Nothing was measured yet: the record holds no reading of a fitted logger. Nothing can be said " +
			"about this roof from measurement. What was seen on the survey, and what the rules of the trade make of it, " +
			"follows.")}
	}
	var out []Text
	if i, ok := b.wettest(); ok {
		out = append(out, b.surfaceSentence(i))
	} else if len(b.Answer.Surfaces) == 0 {
		out = append(out, say("No surface is among the positions: wet hours cannot be given."))
	} else {
		out = append(out, say("At no surface could wet hours be counted: part 2 says why."))
	}
	out = append(out, b.Answer.Cause(b.Case).Sentence())
	f := b.Answer.Finding
	if f.Finding == cause.Undetermined {
		for _, r := range f.Reasons {
			out = append(out, say("%s", words.Sentence(r)))
		}
	}
	out = append(out, b.verdicts()...)
	if len(b.Case.Repairs()) > 0 && len(b.Answer.Repairs) == 0 {
		out = append(out, say("No repair can be judged from this record."))
	}
	if len(f.Next) > 0 {
		t := say("%s ", bold("What would settle it:"))
		for i, n := range f.Next {
			if i > 0 {
				t = append(t, Run{Words: " "})
			}
			t = append(t, Run{Words: words.Sentence(n)})
		}
		out = append(out, t)
	}
	return out
}

// verdicts are the sentences on all repairs and surfaces; those for which it is
// too early for the same reason are one.
func (b *builder) verdicts() []Text {
	var out []Text
	type early struct {
		at    int64
		needs string
	}
	where := map[early][]string{}
	order := drawing.ResultsInOrder(b.Case, b.Answer)
	for _, i := range order {
		if v := b.Answer.Verdict(b.Case, i); v.Kind == words.TooEarly {
			k := early{v.At.UnixMilli(), v.Needs}
			where[k] = append(where[k], v.Where)
		}
	}
	for _, i := range order {
		v := b.Answer.Verdict(b.Case, i)
		if v.Kind == words.TooEarly {
			k := early{v.At.UnixMilli(), v.Needs}
			if len(where[k]) == 0 {
				continue
			}
			v.Where = words.List(where[k])
			delete(where, k)
		}
		// A leak is of the house: what was found of it is said once.
		said := v.Sentence()
		same := func(t Text) bool { return t.String() == said.String() }
		if v.Leak == nil || !slices.ContainsFunc(out, same) {
			out = append(out, said)
		}
		for _, s := range assessment.Apart(b.Case, b.Answer.Repairs[i]) {
			out = append(out, say("%s", s))
		}
	}
	return out
}

// wettest is the surface, of those that speak for the house, with the most wet
// hours.
func (b *builder) wettest() (int, bool) {
	of := b.Answer.Surfaces
	order := drawing.InOrder(b.Case, b.Answer, len(of), func(i int) string { return of[i].Surface })
	if len(order) == 0 {
		return 0, false
	}
	return order[0], of[order[0]].HoursCondensing != nil
}

func surfacePath(i int, field string) string { return fmt.Sprintf("surfaces.%d.%s", i, field) }

// nights are all the nights of a surface's sheets.
func (b *builder) nights(pos roof.Position) picture.WinterSheet {
	all := picture.WinterSheet{Zone: b.zone, Events: drawing.Events(b.Case)}
	for _, w := range b.winters {
		all.Nights = append(all.Nights, drawing.Sheet(b.Case, w.hourly, pos, w.from, w.until, b.zone).Nights...)
	}
	return all
}

// surfaceSentence says on how many nights it was wet, and for how long.
func (b *builder) surfaceSentence(i int) Text {
	pos, _ := b.Case.Position(b.Answer.Surfaces[i].Surface)
	if b.Answer.DoubtAt(b.Answer.Surfaces[i]) != "" {
		return say("%s", words.Untold(words.Surface(b.Case, pos)))
	}
	t := say("%s", b.nights(pos).Said(words.Surface(b.Case, pos)).Nights())
	for _, h := range b.Answer.Hours(i).Hours() {
		t = append(append(t, Run{Words: " "}), h...)
	}
	return t
}

func repairPath(i int, field string) string { return fmt.Sprintf("repairs.%d.%s", i, field) }

var (
	wetNames  = [3]string{"reduction_pct", "low_pct", "high_pct"}
	riskNames = [3]string{"at_risk_reduction_pct", "at_risk_low_pct", "at_risk_high_pct"}
	massNames = [3]string{"condensate_reduction_pct", "condensate_low_pct", "condensate_high_pct"}
)

// position is a position's place in words with its id.
func (b *builder) position(id string) string {
	if p, ok := b.Case.Position(id); ok {
		return words.Position(p)
	}
	return id
}

func (b *builder) effects(surface string) (assessment.SurfaceEffects, int, bool) {
	for i, s := range b.Answer.Physics.Surfaces {
		if s.Surface == surface {
			return s, i, true
		}
	}
	return assessment.SurfaceEffects{}, 0, false
}

func day(t time.Time, zone *time.Location) string { return t.In(zone).Format("2 Jan 2006") }
