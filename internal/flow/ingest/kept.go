package ingest

import (
	"cmp"
	"context"
	"slices"
	"time"

	"dewcase/internal/flow/payload"
	"dewcase/internal/flow/qc"
	"dewcase/internal/roof"
)

// Kept is what messages that were rejected would become of one case now: the case
// was made since, or a mapping reads them.
type Kept struct {
	Readings    int
	Loggers     []string
	From, Until time.Time // of the readings
	messages    []*keptMessage
}

// keptMessage is one message, of which each reading may have been rejected.
type keptMessage struct {
	rejects  []int64
	readings []roof.Reading
}

// Messages is how many there are.
func (k *Kept) Messages() int { return len(k.messages) }

// curable are the reasons that another mapping, a new house or a logger named in
// its case file can take away. What a value or its time was refused for stays.
var curable = []roof.Reason{roof.UnknownCase, roof.BadTopic, roof.BadPayload, roof.NoQuantity, roof.BadValue,
	roof.BadTime, roof.BadLogger, roof.TooManyLoggers, roof.Unsupported}

// Curable reports whether what was rejected may be taken later: a message, rejected
// for what can change.
func Curable(r roof.Reject) bool { return r.Line == 0 && slices.Contains(curable, r.Reason) }

// LookAgain says what rejects become by a decoder, by case. The decoder is one of
// its own, so that no half of a pair that waits for its other half is disturbed.
// Each message is dated as when it came: by its own time, or by its arrival.
func (p *Path) LookAgain(decoder *payload.Decoder, rejects []roof.KeptReject) map[string]*Kept {
	type message struct {
		topic, payload string
		at             int64
	}
	rejects = slices.Clone(rejects)
	slices.SortFunc(rejects, func(a, b roof.KeptReject) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.ID, b.ID)) })
	out, seen, taken := map[string]*Kept{}, map[message]*keptMessage{}, instants{}
	for _, r := range rejects {
		if !Curable(r.Reject) {
			continue
		}
		id := message{r.Source, string(r.Payload), r.At.UnixMilli()}
		if m, ok := seen[id]; ok {
			if m != nil {
				m.rejects = append(m.rejects, r.ID)
			}
			continue
		}
		seen[id] = nil
		caseID, readings := become(decoder, r.Reject)
		if len(readings) == 0 || !p.Cases.Known(caseID) {
			continue
		}
		k := out[caseID]
		if k == nil {
			k = &Kept{}
			out[caseID] = k
		}
		taken.apart(caseID, readings)
		k.count(readings)
		m := &keptMessage{[]int64{r.ID}, readings}
		k.messages, seen[id] = append(k.messages, m), m
	}
	for _, k := range out {
		slices.Sort(k.Loggers)
	}
	return out
}

// become decodes a message that was rejected; it gives nothing unless all of it
// can be kept.
func become(decoder *payload.Decoder, r roof.Reject) (string, []roof.Reading) {
	caseID, readings, rejects := decoder.Decode(payload.Message{Topic: r.Source, Payload: r.Payload, Retained: r.Retained,
		Arrived: r.At})
	if len(rejects) > 0 {
		return "", nil
	}
	for i := range readings {
		flags, bad := qc.Check(readings[i], r.At)
		if bad != nil {
			return "", nil
		}
		readings[i].Flags |= flags
	}
	return caseID, readings
}

// instants is what loggers told, by the millisecond of their arrival.
type instants map[loggerAt]roof.Values

type loggerAt struct {
	loggerName
	ms int64
}

// apart dates a message by the next millisecond at which its loggers have told none
// of its quantities, as it would have been when it came: what a broker kept comes
// faster than the clock of the record counts.
func (t instants) apart(caseID string, readings []roof.Reading) {
	at := func(r roof.Reading, by time.Duration) loggerAt {
		return loggerAt{loggerName{caseID, r.Logger}, r.At.Add(by).UnixMilli()}
	}
	by := time.Duration(0)
	for _, r := range readings {
		if r.Flags&roof.FlagArrivalTime == 0 {
			return // a time of its own
		}
		for told := t[at(r, by)]; by < burst && !told.Says(r.Values) && overlap(told, r.Values); told = t[at(r, by)] {
			by += time.Millisecond
		}
	}
	for i, r := range readings {
		told := t[at(r, by)]
		for q := range roof.Quantity(roof.QuantityCount) {
			if x, ok := r.Values.Get(q); ok {
				told.Set(q, x)
			}
		}
		t[at(r, by)] = told
		readings[i].At, readings[i].Arrived = r.At.Add(by), r.Arrived.Add(by)
	}
}

func (k *Kept) count(readings []roof.Reading) {
	for _, r := range readings {
		k.Readings++
		if !slices.Contains(k.Loggers, r.Logger) {
			k.Loggers = append(k.Loggers, r.Logger)
		}
		if k.From.IsZero() || r.At.Before(k.From) {
			k.From = r.At
		}
		if r.At.After(k.Until) {
			k.Until = r.At
		}
	}
}

// TakeKept stores what LookAgain found of a case, and lists the rejects that are
// none any more. Taking the same twice stores nothing twice.
func (p *Path) TakeKept(ctx context.Context, caseID string, k *Kept) (rep Report, done []int64, err error) {
	var batch []roof.Reading
	var ids []int64
	flush := func() error {
		outcomes, err := p.append(ctx, caseID, batch)
		if err == nil {
			rep.count(outcomes)
			done = append(done, ids...)
		}
		batch, ids = batch[:0], nil
		return err
	}
	for _, m := range k.messages {
		all := true
		for _, r := range m.readings {
			ok, err := p.admit(ctx, caseID, r.Logger, r.Arrived, p.MaxLoggers)
			if err != nil {
				return rep, done, err
			}
			all = all && ok
		}
		if !all {
			continue
		}
		batch, ids = append(batch, m.readings...), append(ids, m.rejects...)
		if len(batch) >= batchRows {
			if err := flush(); err != nil {
				return rep, done, err
			}
		}
	}
	return rep, done, flush()
}
