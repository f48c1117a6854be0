package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// measured is the part on positions, loggers, checks, coverage and gaps.
func (b *builder) measured(p *part) {
	if b.recorded() {
		p.lead("%s and %s in %s, from %s to %s.", words.Count(len(b.Case.Positions), "position"),
			words.Count(len(b.Case.Loggers), "logger"), b.label(),
			local(b.from, b.zone, timeLayout), local(b.until, b.zone, timeLayout))
	} else {
		p.lead("No reading of a fitted logger is in the record: %s and %s are in the case file.",
			words.Count(len(b.Case.Positions), "position"), words.Count(len(b.Case.Loggers), "logger"))
	}
	for _, n := range b.Answer.Notes {
		p.warn("%s", words.Sentence(n))
	}
	b.positions(p)
	b.course(p)
	b.loggers(p)
	b.checks(p)
	b.intake(p)
	b.gaps(p)
	b.events(p)
}

// course is the picture of all positions over the whole record.
func (b *builder) course(p *part) {
	if !b.recorded() {
		return
	}
	all := drawing.Multiples(b.Case, b.coarse, b.zone)
	all.ID = "report-positions"
	if len(all.Tracks) > 0 {
		p.figure("positions", all.Scene(), GapLegend, say("Temperature (solid, with its range: grey) and, in air, dew "+
			"point (dashed), °C, from indoors to outdoors. Times in %s.", b.zone.String()))
	}
}

func (b *builder) positions(p *part) {
	t := &Table{Caption: "Positions", Head: []string{"Position", "Place", "Meets the air of", "Observed, %",
		"Longest gap, h", "Readings kept out"}, Numeric: []bool{false, false, false, true, true, true}}
	for _, pos := range b.Case.Positions {
		r := cells(pos.ID, pos.Place.Words(), "–", "–", "–", "–")
		if pos.Place.IsSurface() {
			r.Cells[2] = say("%s", pos.Meets)
			if pos.Meets == "" {
				r.Cells[2] = say("not named: hours cannot be computed")
			}
		}
		if pos.Untouched {
			r.Cells[1] = say("%s; untouched by the repair", pos.Place.Words())
		}
		for i, c := range b.Answer.Coverage {
			if c.Position != pos.ID || !b.recorded() {
				continue
			}
			path := fmt.Sprintf("coverage.%d.", i)
			r.Cells[3], r.Cells[4], r.Cells[5] = Text{shareAt(path+"share", c.Share)},
				Text{hoursAt(path+"longest_gap_h", c.LongestGapH)}, Text{countAt(path+"excluded_readings", c.Excluded)}
		}
		t.Rows = append(t.Rows, r)
	}
	p.table(t)
	p.quiet("Observed is the share of the record’s span in which the position’s readings were no further apart than " +
		"the rule of the annex allows; the rest is no data and counts neither as dry nor as wet. A reading is kept out of " +
		"hours only where a flag says that it cannot be what it claims: its clock was wrong, its probe had stopped " +
		"moving, or it is older than the logger’s fitting. Readings outside the maker’s range, jumps and saturation are " +
		"kept and counted.")
}

func accuracyWords(a roof.Accuracy) string {
	var out []string
	if a.TempC != nil {
		out = append(out, fmt.Sprintf("±%g K", *a.TempC))
	}
	if a.RHPct != nil {
		out = append(out, fmt.Sprintf("±%g %%RH", *a.RHPct))
	}
	if len(out) == 0 {
		return "not stated"
	}
	if a.K > 0 {
		return strings.Join(out, ", ") + fmt.Sprintf(" (%g standard uncertainties)", a.K)
	}
	return strings.Join(out, ", ") + " (limits)"
}

func intervalWords(d time.Duration) string {
	switch {
	case d%time.Hour == 0:
		return fmt.Sprintf("%d h", d/time.Hour)
	case d%time.Minute == 0:
		return fmt.Sprintf("%d min", d/time.Minute)
	}
	return fmt.Sprintf("%g s", d.Seconds())
}

func (b *builder) loggers(p *part) {
	t := &Table{Caption: "Loggers", Head: []string{"Logger", "Every", "Accuracy stated", "Fitted"}}
	for _, l := range b.Case.Loggers {
		every := "not stated"
		if l.Interval > 0 {
			every = intervalWords(l.Interval)
		}
		var fitted []string
		for _, f := range l.Fitted {
			s := f.Position + " from " + day(f.From, b.zone)
			if !f.To.IsZero() {
				s += " to " + day(f.To, b.zone)
			}
			fitted = append(fitted, s)
		}
		if len(fitted) == 0 {
			fitted = []string{"nowhere"}
		}
		t.Rows = append(t.Rows, cells(l.ID, every, accuracyWords(l.Accuracy), strings.Join(fitted, "; ")))
	}
	p.table(t)
}

// checks are the loggers' checks against a reference, and what is added since.
func (b *builder) checks(p *part) {
	t := &Table{Caption: "Checks against a reference, and what is added to each reading since",
		Head:    []string{"Logger", "From", "Temperature, K", "Humidity, %RH", "Checked against"},
		Numeric: []bool{false, false, true, true}}
	unchecked := []string{}
	for _, l := range b.Case.Loggers {
		if len(l.Offsets) == 0 {
			unchecked = append(unchecked, l.ID)
		}
		for _, o := range l.Offsets {
			check := o.Check
			if check == "" {
				check = "not said"
			}
			t.Rows = append(t.Rows, cells(l.ID, day(o.From, b.zone), signedPlus(o.TempC, o.TempUncC),
				signedPlus(o.RHPct, o.RHUncPct), check))
		}
	}
	p.table(t)
	if len(unchecked) > 0 {
		p.para("No check against a reference is in the case file for %s: the maker’s accuracy stands for %s.",
			words.List(unchecked), map[bool]string{true: "it", false: "them"}[len(unchecked) == 1])
	}
}

func signedPlus(x float64, unc *float64) string {
	s := words.Fixed(x, 2)
	if x > 0 {
		s = "+" + s
	}
	if unc != nil {
		s += fmt.Sprintf(" ±%g", *unc)
	}
	return s
}

// intake says what became of what came in.
func (b *builder) intake(p *part) {
	in := b.Intake
	if !in.Known {
		p.para("How many readings were rejected, sent twice or contradicted is not known to this report.")
		return
	}
	total := 0
	t := &Table{Caption: "Rejected, with the reason", Head: []string{"Reason", "Count"}, Numeric: []bool{false, true}}
	for _, r := range in.Rejected {
		total += r.Count
		t.Rows = append(t.Rows, cells(words.Upper(words.Rejected(r.Reason)), fmt.Sprint(r.Count)))
	}
	least := ""
	if in.AtLeast {
		least = "at least "
	}
	line := say("Rejected: %s%s.", least, fmt.Sprint(total))
	if in.Conflicts != nil {
		line = append(line, say(" A second value for a time already read (the first is used, the other kept aside): %s.",
			fmt.Sprint(*in.Conflicts))...)
	}
	if in.Duplicates != nil {
		line = append(line, say(" Sent twice with the same values and dropped: %s.", fmt.Sprint(*in.Duplicates))...)
	}
	p.add(Para, line)
	p.table(t)
	for _, n := range in.Notes {
		p.para("%s", words.Sentence(n))
	}
}

// The gaps worth a line: long enough to lose a night.
const (
	gapLines = 30
	gapHours = 12
)

type gap struct {
	position    string
	from, until time.Time
}

// gaps lists where a position was silent for half a day or more.
func (b *builder) gaps(p *part) {
	if !b.recorded() {
		return
	}
	var all []gap
	for _, w := range b.winters {
		for _, q := range w.hourly.Positions {
			for _, g := range silent(w.hourly, q) {
				if g.from.Before(b.from) {
					g.from = b.from
				}
				if g.until.After(b.until) {
					g.until = b.until
				}
				if n := len(all); n > 0 && all[n-1].position == g.position && all[n-1].until.Equal(g.from) {
					all[n-1].until = g.until
				} else {
					all = append(all, g)
				}
			}
		}
	}
	all = slices.DeleteFunc(all, func(g gap) bool { return g.until.Sub(g.from) < gapHours*time.Hour })
	slices.SortStableFunc(all, func(x, y gap) int { return cmp.Compare(y.until.Sub(y.from), x.until.Sub(x.from)) })
	t := &Table{Caption: fmt.Sprintf("Gaps of %d hours or more", gapHours),
		Head: []string{"Position", "From", "To", "Hours, about"}, Numeric: []bool{false, false, false, true}}
	for i, g := range all {
		if i == gapLines {
			break
		}
		t.Rows = append(t.Rows, cells(g.position, local(g.from, b.zone, "2 Jan 2006 15:04"),
			local(g.until, b.zone, "2 Jan 2006 15:04"), words.Whole(g.until.Sub(g.from).Hours())))
	}
	if len(all) == 0 {
		p.para("No position was silent for %s hours or more.", fmt.Sprint(gapHours))
		return
	}
	p.table(t)
	if len(all) > gapLines {
		p.para("And %s more.", words.Count(len(all)-gapLines, "shorter gap"))
	}
}

// silent are the stretches of whole hours in which a position was not observed.
func silent(v timeline.View, q timeline.Position) []gap {
	var out []gap
	for i, t := range v.Time {
		if c, ok := q.Coverage.Get(i); ok && c > 0 {
			continue
		}
		end := t.Add(time.Hour)
		if n := len(out); n > 0 && out[n-1].until.Equal(t) {
			out[n-1].until = end
			continue
		}
		out = append(out, gap{q.Position, t, end})
	}
	return out
}

func (b *builder) events(p *part) {
	t := &Table{Caption: "Repairs, notes and inspections, by the numbers of the pictures",
		Head: []string{"No.", "When", "Kind", "What"}, Numeric: []bool{true}}
	for i, e := range drawing.Events(b.Case) {
		t.Rows = append(t.Rows, cells(fmt.Sprint(i+1), local(e.At, b.zone, "2 Jan 2006 15:04"), e.Kind, e.What))
	}
	p.table(t)
}
