package alert

import (
	"time"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/roof"
)

// Due says when the alerts of a case, or whom they must be told, can change
// although no value does, because something has lasted for long enough or a night
// is over. Seen counts by the time of the newest reading, clock by the
// clock; a zero seen is never.
func (b *Book) Due(c *roof.Case, rules Rules, now time.Time) (seen, clock time.Time) {
	clock = time.UnixMilli(evidence.NightOf(now, c.Property.Zone).UntilMS).UTC()
	last := func(into *time.Time, from time.Time, d time.Duration) {
		// Readings are somewhat behind the clock; what should long have come does not
		// wait for one.
		late := time.Duration(0)
		if into == &seen {
			late = time.Hour
		}
		if at := from.Add(d); at.After(now.Add(-late)) && (into.IsZero() || at.Before(*into)) {
			*into = at
		}
	}
	escalate := escalateAfter(c)
	for _, a := range b.Alerts {
		r := rules[a.Condition]
		switch {
		case !a.Open() && !a.Over.IsZero() && r.For > 0:
			last(&seen, a.Over, r.For)
		case a.Open() && !a.Under.IsZero():
			last(&seen, a.Under, r.ClearFor)
		}
		if a.State == Snoozed {
			last(&clock, a.SnoozedTo, 0)
		}
		if a.Condition == LoggerSilent {
			last(&clock, now, time.Duration((r.Raise-a.Value)*float64(time.Hour)))
		}
		if told := b.firstTold(a, now); a.State == Raised && told > 0 {
			last(&clock, now, escalate-told)
		}
	}
	_, water, standing := b.water(now)
	last(&clock, standing, standingEvery)
	last(&clock, water, worseAfter)
	last(&clock, b.lastTo(Household), slowWaits)
	return seen, clock
}
