package casefile

import (
	"fmt"
	"slices"
	"time"

	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

func (s *section) loggers(c *roof.Case) {
	lines := map[string]int{}
	list(s, "loggers", true, &c.Loggers, func(s *section, l *roof.Logger) {
		s.id(&l.ID, "name the logger with 1 to 64 of A-Z, a-z, 0-9, . _ -, as it stands in its topic", "a logger")
		s.key("interval_s", "", given(l.Interval.Seconds()), func(n strictyaml.Node) {
			seconds, _ := n.Number(1, 86_400)
			l.Interval = toMillisecond(seconds)
		})
		s.inline("accuracy", func(s *section) {
			s.number("temp_c", &l.Accuracy.TempC, 0, 100)
			s.number("rh_pct", &l.Accuracy.RHPct, 0, 100)
			s.given("k", &l.Accuracy.K, 0.01, 100)
		})
		s.station(l)
		s.fitted(l)
		s.offsets(l)
		if s.task == reading {
			unique(s.m.Get("id"), l.ID, lines)
		}
	})
}

// station says that the logger is a weather station, which the key alone does:
// station: {} is one whose distance and height are not known.
func (s *section) station(l *roof.Logger) {
	written := ""
	if s.task == writing && l.Station != nil {
		written = WriteStation(*l.Station)
	}
	s.key("station", "", written, func(n strictyaml.Node) {
		if n.Present() {
			l.Station = ReadStation(n)
		}
	})
}

func stationKeys(at *roof.Station) func(*section) {
	return func(s *section) {
		s.label("source", &at.Source, 200)
		s.number("distance_km", &at.DistanceKM, 0, MaxStationKM)
		s.number("height_difference_m", &at.HeightDifferenceM, -MaxStationM, MaxStationM)
	}
}

// ReadStation reads the value of the key station, as a recipe has it too.
func ReadStation(n strictyaml.Node) *roof.Station {
	at := roof.Station{}
	(&met{}).read(n, stationKeys(&at))
	return &at
}

// The bounds of where a weather station stands.
const (
	MaxStationKM = 500.0
	MaxStationM  = 4000.0 // above or below the house
)

// WriteStation writes the value of the key station.
func WriteStation(at roof.Station) string { return braced((&met{}).write(stationKeys(&at))) }

// fitting is a fitting with where its start was written.
type fitting struct {
	roof.Fitting
	from strictyaml.Node
}

func (s *section) fitted(l *roof.Logger) {
	var all []fitting
	list(s, "fitted", false, &l.Fitted, func(s *section, f *roof.Fitting) {
		s.key("position", "name the position where the logger was", text(f.Position),
			func(n strictyaml.Node) { f.Position, _ = s.position(n) })
		s.instant("from", "write from when it was there, such as 2026-10-01T12:00:00Z", &f.From)
		s.instant("to", "", &f.To)
		switch {
		case s.task != reading || f.From.IsZero():
		case !f.To.IsZero() && !f.To.After(f.From):
			s.m.Get("to").Fault("is not after its from", "write when the logger left, or leave to out while it is there")
		default:
			all = append(all, fitting{*f, s.m.Get("from")})
		}
	})
	if s.task != reading {
		return
	}
	slices.SortStableFunc(all, func(a, b fitting) int { return a.From.Compare(b.From) })
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
	l.Fitted = nil
	for _, f := range all {
		l.Fitted = append(l.Fitted, f.Fitting)
	}
}

func (s *section) offsets(l *roof.Logger) {
	starts := map[int64]int{}
	list(s, "offsets", false, &l.Offsets, func(s *section, o *roof.Offset) {
		s.instant("from", "write from when the offset holds, such as 2026-09-28T00:00:00Z", &o.From)
		s.given("temp_c", &o.TempC, -50, 50)
		s.given("rh_pct", &o.RHPct, -100, 100)
		s.label("check", &o.Check, 1000)
		s.number("temp_unc_c", &o.TempUncC, 0, 50)
		s.number("rh_unc_pct", &o.RHUncPct, 0, 100)
		if s.task != reading || o.From.IsZero() {
			return
		}
		from := s.m.Get("from")
		if line, twice := starts[o.From.UnixNano()]; twice {
			from.Fault(fmt.Sprintf("is the same as that of the offset on line %d", line),
				"one offset holds from a time until the next; join the two")
		}
		starts[o.From.UnixNano()] = from.Line
	})
	if s.task == reading {
		slices.SortStableFunc(l.Offsets, func(a, b roof.Offset) int { return a.From.Compare(b.From) })
	}
}
