package watch

import (
	"fmt"
	"slices"
	"time"

	"dewcase/internal/reason/alert"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Slow is what the nightly work found: what needs the whole record.
type Slow struct {
	At       time.Time // of the newest reading it rests on
	Done     time.Time // when the work was done
	Finding  string    // of the diagnosis; "" none yet
	Strength string    // of the finding
	Repaired time.Time // the finding rests on the time before this repair; zero: on all of it
	Healthy  *float64  // its support for no defect: nothing found, or dew on clear nights
	Days     float64   // that it rests on
	Surfaces []SlowSurface
	Repairs  []Turn
	Doubts   []evidence.Doubt // loggers whose units cannot be
}

// doubts reports that a logger at a place cannot be believed.
func (s *Slow) doubts(position string) bool {
	return s != nil && slices.ContainsFunc(s.Doubts, func(d evidence.Doubt) bool { return d.Position == position })
}

// SlowSurface is the slow damp of one surface.
type SlowSurface struct {
	Surface          string
	Mould, MouldPast float64 // index now and a fortnight ago
	MouldKnown       bool
	TimberPct        float64 // mean of the last week, measured or estimated
	TimberKnown      bool
	TimberMeasured   bool
}

// Turn is the verdict on a repair and what it was when last firm.
type Turn struct {
	Surface string
	At      time.Time // of the repair
	Verdict string
	Best    string // the best firm verdict so far, "" none
	// Unseen asks after openings that the work was to make and that do not show in
	// the air, "" for none.
	Unseen string
	// Of the wet hours.
	ReductionPct, LowPct, HighPct *float64
}

// Said is the verdict as it is put into words.
func (t Turn) Said(zone *time.Location) words.Verdict {
	return words.Verdict{Kind: words.VerdictKind(t.Verdict), At: t.At, Zone: zone,
		Wet: words.Change{What: words.WetHours, Pct: t.ReductionPct, Low: t.LowPct, High: t.HighPct}}
}

// Cause is the finding as it is put into words.
func (s *Slow) Cause(zone *time.Location) words.Cause {
	return words.Cause{Finding: s.Finding, Strength: words.Strength(s.Strength), Repair: s.Repaired, Zone: zone}
}

func slow(in Input) (out []alert.Sign) {
	if in.Slow == nil {
		return nil
	}
	at := in.Slow.At
	for _, s := range in.Slow.Surfaces {
		pos, ok := in.Case.Position(s.Surface)
		if !ok {
			continue
		}
		spot := alert.Facts{Words: words.HomeSurface(in.Case, pos)}
		m := alert.Sign{Condition: alert.MouldRising, Position: s.Surface, Known: s.MouldKnown, At: at, Facts: spot}
		if s.Mould > s.MouldPast+0.05 || s.Mould < s.MouldPast {
			m.Value = s.Mould
		} else {
			// Neither rising nor falling: the index stays within the band.
			m.Known = m.Known && s.Mould < 0.1
			m.Value = s.Mould
		}
		if s.Mould < s.MouldPast { // falling never raises
			m.Value = min(m.Value, 0.75)
		}
		m.Tell = s.Mould >= alert.HouseholdMould
		m.Facts.Detail = fmt.Sprintf("mould index %.1f of 6 (3: to be seen), a fortnight ago %.1f", s.Mould, s.MouldPast)
		m.From, m.Until = at.AddDate(0, 0, -14), at
		w := alert.Sign{Condition: alert.TimberWet, Position: s.Surface, Known: s.TimberKnown, At: at, Value: s.TimberPct,
			Tell: s.TimberMeasured || s.TimberPct >= 24, Facts: spot}
		how := "estimated from the air at its surface"
		if s.TimberMeasured {
			how = "measured"
		}
		w.Facts.Detail = fmt.Sprintf("%.1f %% moisture, %s", s.TimberPct, how)
		w.From, w.Until = at.AddDate(0, 0, -7), at
		out = append(out, m, w)
	}
	for _, r := range in.Slow.Repairs {
		s := alert.Sign{Condition: alert.RepairFailing, Position: r.Surface, Known: r.Verdict != "too_early", At: at,
			Tell: true, From: r.At, Until: at}
		if r.Verdict == "got_worse" || r.Best == "worked" && r.Verdict == "no_change_shown" {
			s.Value = 1
		}
		s.Facts.Detail = "the verdict on the repair of " + words.ShortDate(r.At, in.Case.Property.Zone) + " is now " +
			words.Key(r.Verdict)
		if r.Best != "" && r.Best != r.Verdict {
			s.Facts.Detail += ", it was " + words.Key(r.Best)
		}
		out = append(out, s)
	}
	return append(out, unseen(in)...)
}

// unseen are the signs of openings that do not show: one a repair, at the first
// surface it answers for, and of each surface the latest repair.
func unseen(in Input) (out []alert.Sign) {
	told := map[int64]bool{}
	at := map[string]int{}
	for _, r := range in.Slow.Repairs {
		if told[r.At.UnixMilli()] {
			continue
		}
		told[r.At.UnixMilli()] = true
		s := alert.Sign{Condition: alert.WorkUnseen, Position: r.Surface, Known: true, At: in.Slow.At, From: r.At,
			Until: in.Slow.At, Facts: alert.Facts{Detail: r.Unseen}}
		if r.Unseen != "" {
			s.Value = 1
		}
		if i, ok := at[r.Surface]; !ok {
			at[r.Surface] = len(out)
			out = append(out, s)
		} else if r.At.After(out[i].From) {
			out[i] = s
		}
	}
	return out
}

// loggers are the signs of the instruments.
func loggers(in Input) (out []alert.Sign) {
	for _, l := range in.Loggers {
		c, known := in.Case.Logger(l.Logger)
		if !known || !fitted(c, in.Now) || l.Last.IsZero() {
			continue
		}
		silent := alert.Sign{Condition: alert.LoggerSilent, Position: l.Logger, At: in.Now,
			Value: max(0, in.Now.Sub(l.Last).Hours()), Since: l.Last, From: l.Last.Add(-24 * time.Hour), Until: in.Now}
		silent.Facts.Detail = "last heard " + l.Last.UTC().Format("2 Jan 2006 15:04") + " UTC"
		// A record that is only just coming in says nothing of silence.
		silent.Known = !l.CatchingUp || silent.Value < 3
		if silent.Value < 3 {
			silent.Since = time.Time{}
		}
		out = append(out, silent)
		b := alert.Sign{Condition: alert.BatteryLow, Position: l.Logger, At: l.BatteryAt}
		if l.BatteryPct != nil {
			b.Known, b.Value = true, *l.BatteryPct
			b.Facts.Detail = fmt.Sprintf("%.0f %%", b.Value)
		}
		p := alert.Sign{Condition: alert.Implausible, Position: l.Logger, At: l.Last, From: l.Last.Add(-24 * time.Hour),
			Until: l.Last}
		k := alert.Sign{Condition: alert.ClockWrong, Position: l.Logger, At: l.Last, From: l.Last.Add(-24 * time.Hour),
			Until: l.Last}
		if l.Day > 0 {
			p.Known, p.Value = true, 100*float64(l.Doubtful)/float64(l.Day)
			k.Known, k.Value = true, 100*float64(l.ClockWrong)/float64(l.Day)
			p.Facts.Detail = fmt.Sprintf("%d of the last day's %d readings are doubtful", l.Doubtful, l.Day)
			k.Facts.Detail = fmt.Sprintf("%d of the last day's %d readings carry a clock that cannot be right", l.ClockWrong,
				l.Day)
		}
		if in.Slow != nil {
			for _, d := range in.Slow.Doubts {
				if d.Logger == l.Logger {
					p.Known, p.Value, p.Facts.Detail = true, 100, d.Text
				}
			}
		}
		out = append(out, b, p, k)
	}
	return out
}

func fitted(l roof.Logger, at time.Time) bool {
	for _, f := range l.Fitted {
		if !at.Before(f.From) && (f.To.IsZero() || at.Before(f.To)) {
			return true
		}
	}
	return false
}
