package casefile

import (
	"fmt"
	"math"
	"sort"
	"time"

	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

func (r *reader) loggers(n strictyaml.Node) (out []roof.Logger) {
	lines := map[string]int{}
	for _, entry := range n.List() {
		m := entry.Map("id", "interval_s", "accuracy", "fitted", "offsets")
		l := roof.Logger{ID: ident(m.Need("id",
			"name the logger with 1 to 64 of A-Z, a-z, 0-9, . _ -, as it stands in its topic"), "a logger")}
		unique(m.Get("id"), l.ID, lines)
		if s, ok := m.Get("interval_s").Number(1, 86_400); ok {
			l.Interval = time.Duration(math.Round(s*1000)) * time.Millisecond
		}
		accuracy := m.Get("accuracy").Map("temp_c", "rh_pct", "k")
		l.Accuracy.TempC = number(accuracy.Get("temp_c"), 0, 100)
		l.Accuracy.RHPct = number(accuracy.Get("rh_pct"), 0, 100)
		if k, ok := accuracy.Get("k").Number(0.01, 100); ok {
			l.Accuracy.K = k
		}
		l.Fitted = r.fitted(m.Get("fitted"))
		l.Offsets = r.offsets(m.Get("offsets"))
		out = append(out, l)
	}
	return out
}

// fitting is a fitting with where it was written.
type fitting struct {
	roof.Fitting
	from, to strictyaml.Node
}

func (r *reader) fitted(n strictyaml.Node) []roof.Fitting {
	var all []fitting
	for _, entry := range n.List() {
		m := entry.Map("position", "from", "to")
		f := fitting{from: m.Get("from"), to: m.Get("to")}
		at := m.Need("position", "name the position where the logger was")
		if id, ok := at.Text(); ok {
			r.known(at, id)
			f.Position = id
		}
		start, ok := r.instant(m.Need("from", "write from when it was there, such as 2026-10-01T12:00:00Z"))
		end, hasEnd := r.instant(f.to)
		if f.From, f.To = start, end; !ok {
			continue
		}
		if hasEnd && !end.After(start) {
			f.to.Fault("is not after its from", "write when the logger left, or leave to out while it is there")
			continue
		}
		all = append(all, f)
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].From.Before(all[j].From) })
	// A long fitting can reach over several that follow, so the latest end is
	// what the next start is held against.
	var latest time.Time
	for i := range all {
		f := &all[i]
		if i > 0 {
			before := &all[i-1]
			switch {
			case f.From.Equal(before.From):
				f.from.Fault("is the same as that of the fitting at "+quoted(before.Position),
					"a logger is in one place at a time; correct one of the two")
			case before.To.IsZero():
				before.To = f.From
			case f.From.Before(latest):
				f.from.Fault(fmt.Sprintf("lies within another fitting of this logger, which ends %s", latest.Format(time.RFC3339)),
					"a logger is in one place at a time; correct from here or to there")
			}
		}
		if f.To.After(latest) {
			latest = f.To
		}
	}
	var out []roof.Fitting
	for _, f := range all {
		out = append(out, f.Fitting)
	}
	return out
}

func (r *reader) offsets(n strictyaml.Node) (out []roof.Offset) {
	starts := map[int64]int{}
	for _, entry := range n.List() {
		m := entry.Map("from", "temp_c", "rh_pct", "check", "temp_unc_c", "rh_unc_pct")
		var o roof.Offset
		from := m.Need("from", "write from when the offset holds, such as 2026-09-28T00:00:00Z")
		at, ok := r.instant(from)
		if o.From = at; ok {
			if line, twice := starts[at.UnixNano()]; twice {
				from.Fault(fmt.Sprintf("is the same as that of the offset on line %d", line),
					"one offset holds from a time until the next; join the two")
			}
			starts[at.UnixNano()] = from.Line
		}
		if x, ok := m.Get("temp_c").Number(-50, 50); ok {
			o.TempC = x
		}
		if x, ok := m.Get("rh_pct").Number(-100, 100); ok {
			o.RHPct = x
		}
		o.Check = label(m.Get("check"), 1000)
		o.TempUncC = number(m.Get("temp_unc_c"), 0, 50)
		o.RHUncPct = number(m.Get("rh_unc_pct"), 0, 100)
		out = append(out, o)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].From.Before(out[j].From) })
	return out
}
