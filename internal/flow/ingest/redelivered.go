package ingest

import (
	"context"
	"fmt"
	"hash/fnv"
	"sync"
	"time"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

// redeliveries dates messages without a time of their own, which are dated by
// their arrival. One that was stored but whose acknowledgement was lost comes
// again, marked as sent before, and must get the time of its first arrival:
// another time would make a second record of the same measurement.
//
// Within one run of the daemon it is known by topic, packet identifier and
// content; MQTT sends a message again under the identifier that it had. After a
// restart only the record is left to ask. What can be under way then are the
// last readings of a logger, all of which arrived within moments of each other,
// and they come again in their order before anything new (MQTT 3.1.1, 4.4 and
// 4.6). A message marked as sent before that says what one of them says is
// taken for it.
//
// Two things cannot be told apart. After a restart, a message that was lost
// before it was stored and says to the last digit what the logger's last reading
// said is taken for that reading: a repeat of a value is lost, and with it
// nothing that was measured differently. And a logger that a broker of its own
// stands between, or that forgets that it sent before, sends without the mark:
// that is a new message to anybody. A time of the logger's own is the cure of
// both.
type redeliveries struct {
	mu    sync.Mutex
	taken map[sending]time.Time
	order []sending // of taken, a ring
	next  int
	tails map[loggerName]*tail
	last  map[loggerName]instant
}

// instant is the latest millisecond at which something of a logger arrived, and
// what it told then.
type instant struct {
	at   time.Time
	told roof.Values
}

// burst is how far a flood of messages may run ahead of the clock by each
// having a millisecond of its own; further back, the clock was set.
const burst = time.Minute

const (
	// rememberedSendings is far more than brokers leave unacknowledged.
	rememberedSendings = 8192
	// underWay is how far apart readings can have arrived that were stored and not
	// yet acknowledged when the daemon ended.
	underWay = 10 * time.Second
	// maxInFlight is how many of one logger's readings can be.
	maxInFlight = 4096
	// lookBack is how long a daemon may have been away and still know them.
	lookBack = 3 * 24 * time.Hour
)

// sending is a message as it is sent each time.
type sending struct {
	topic  string
	packet uint16
	digest uint64
}

func sendingOf(m payload.Message) sending {
	h := fnv.New64a()
	_, _ = h.Write(m.Payload)
	return sending{m.Topic, m.Packet, h.Sum64()}
}

type loggerName struct{ caseID, logger string }

// tail are a logger's last readings of the run before that are dated by their
// arrival, in the order of time; those before next were met again.
type tail struct {
	readings []roof.Reading
	at       map[int64]int // of each, by its time in ms
	next     int
}

// first gives a message that this run has taken before the time of its first
// arrival, and reports whether it did.
func (d *redeliveries) first(m *payload.Message) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.taken == nil {
		d.taken, d.tails, d.last = map[sending]time.Time{}, map[loggerName]*tail{}, map[loggerName]instant{}
	}
	if !m.Redelivered || m.Packet == 0 {
		return false
	}
	at, ok := d.taken[sendingOf(*m)]
	if ok {
		m.Arrived = at
	}
	return ok
}

// settle remembers a message whose readings are dated by its arrival, and dates
// them by its first one where the record of the run before has them.
func (d *redeliveries) settle(ctx context.Context, store roof.ReadingStore, caseID string, m payload.Message,
	known bool, readings []roof.Reading) error {
	dated := false
	for _, r := range readings {
		dated = dated || r.Flags&roof.FlagArrivalTime != 0
	}
	if !dated {
		return nil
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, r := range readings {
		if err := d.recall(ctx, store, loggerName{caseID, r.Logger}, m.Arrived); err != nil {
			return err
		}
	}
	first, met := m.Arrived, known
	if m.Redelivered && !known {
		first, met = d.asStored(caseID, m, readings)
	}
	if !m.Redelivered {
		for _, r := range readings {
			*d.tails[loggerName{caseID, r.Logger}] = tail{} // nothing of the run before comes any more
		}
	}
	if !met {
		first = d.apart(caseID, m, readings)
	}
	if shift := first.Sub(whole(m.Arrived)); !known && shift != 0 {
		for i := range readings {
			if r := &readings[i]; r.Flags&roof.FlagArrivalTime != 0 {
				r.At, r.Arrived = whole(r.At).Add(shift), first
			}
		}
		m.Arrived = first
	}
	d.remember(m)
	return nil
}

// whole is a time as the record keeps it.
func whole(t time.Time) time.Time { return t.Truncate(time.Millisecond) }

// apart is the time of arrival for a message that is new: its own, or the next
// millisecond at which its logger has told none of its quantities, since what a
// broker kept comes faster than the clock of the record counts and would pass
// for one reading and its contradictions. The same once more is no new reading.
func (d *redeliveries) apart(caseID string, m payload.Message, readings []roof.Reading) time.Time {
	at := whole(m.Arrived)
	for _, r := range readings {
		if whole(r.At) != at {
			return at // an array that counts back from its arrival, or half of a pair
		}
	}
	for _, r := range readings {
		if l, ok := d.last[loggerName{caseID, r.Logger}]; ok && !l.at.Before(at) && l.at.Sub(m.Arrived) < burst {
			at = l.at
			if !l.told.Says(r.Values) && overlap(l.told, r.Values) {
				at = at.Add(time.Millisecond)
			}
		}
	}
	for _, r := range readings {
		n := loggerName{caseID, r.Logger}
		l := d.last[n]
		if !l.at.Equal(at) {
			l = instant{at: at}
		}
		for q := range roof.Quantity(roof.QuantityCount) {
			if x, ok := r.Values.Get(q); ok {
				l.told.Set(q, x)
			}
		}
		d.last[n] = l
	}
	return at
}

func overlap(a, b roof.Values) bool {
	for q := range roof.Quantity(roof.QuantityCount) {
		if a.Has(q) && b.Has(q) {
			return true
		}
	}
	return false
}

func (d *redeliveries) remember(m payload.Message) {
	if m.Packet == 0 {
		return
	}
	s := sendingOf(m)
	if _, ok := d.taken[s]; !ok {
		if len(d.order) < rememberedSendings {
			d.order = append(d.order, s)
		} else {
			delete(d.taken, d.order[d.next])
			d.order[d.next] = s
			d.next = (d.next + 1) % rememberedSendings
		}
	}
	d.taken[s] = m.Arrived
}

// asStored finds the arrival under which the record has all of a message's
// readings that are dated by it.
func (d *redeliveries) asStored(caseID string, m payload.Message, readings []roof.Reading) (time.Time, bool) {
	var lead *tail
	var others []*tail
	for _, r := range readings {
		if r.Flags&roof.FlagArrivalTime == 0 {
			others = append(others, nil)
			continue
		}
		t := d.tails[loggerName{caseID, r.Logger}]
		if lead == nil {
			lead = t
		}
		others = append(others, t)
	}
	arrived := whole(m.Arrived)
	for i := lead.next; i < len(lead.readings); i++ {
		at := lead.readings[i].Arrived
		all := true
		for k, r := range readings {
			if t := others[k]; t != nil && !t.says(r, r.At.Add(at.Sub(arrived))) {
				all = false
				break
			}
		}
		if all {
			lead.next = i + 1
			return at, true
		}
	}
	return time.Time{}, false
}

// says reports whether the record has a reading's values at a time.
func (t *tail) says(r roof.Reading, at time.Time) bool {
	i, ok := t.at[at.UnixMilli()]
	return ok && t.readings[i].Values.Says(r.Values)
}

// recall reads from the record, once a run, what a logger sent last in the run
// before, and the last millisecond that it has used.
func (d *redeliveries) recall(ctx context.Context, store roof.ReadingStore, n loggerName, now time.Time) error {
	if _, ok := d.tails[n]; ok {
		return nil
	}
	t := &tail{at: map[int64]int{}}
	var last time.Time
	used := instant{}
	for r, err := range store.Range(ctx, n.caseID, n.logger, now.Add(-lookBack), now.Add(burst)) {
		if err != nil {
			return fmt.Errorf("reading what logger %s of case %s sent last: %w", n.logger, n.caseID, err)
		}
		if r.Flags&roof.FlagArrivalTime == 0 {
			continue
		}
		used = instant{r.At, r.Values}
		if t.readings = append(t.readings, r); r.Arrived.After(last) {
			last = r.Arrived
		}
	}
	under := t.readings[:0]
	for _, r := range t.readings {
		if last.Sub(r.Arrived) <= underWay {
			under = append(under, r)
		}
	}
	t.readings = under[max(0, len(under)-maxInFlight):]
	for i, r := range t.readings {
		t.at[r.At.UnixMilli()] = i
	}
	d.tails[n], d.last[n] = t, used
	return nil
}
