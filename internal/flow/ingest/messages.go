package ingest

import (
	"context"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

// togetherReadings bounds how many readings go to the store in one append.
const togetherReadings = 4096

// Message takes one MQTT message in. It returns nil once everything in it is
// durable or finally rejected, so that it may be acknowledged, and an error where
// the message must come again.
func (p *Path) Message(ctx context.Context, m payload.Message) error {
	return p.Messages(ctx, []payload.Message{m})[0]
}

// Messages takes messages in, in their order, so that of two contradicting
// readings the first is kept. It returns one result a message, as Message does.
// Neighbouring messages of a case share an append; if that fails, each is tried
// alone, so that one message cannot hold the others up.
func (p *Path) Messages(ctx context.Context, in []payload.Message) []error {
	results := make([]error, len(in))
	all := make([]taken, len(in))
	for i, m := range in {
		if m.TooLarge > 0 {
			p.TooLarge(ctx, m.Topic, m.TooLarge, m.Arrived)
			continue
		}
		all[i], results[i] = p.judge(ctx, m)
	}
	for from := 0; from < len(all); {
		to, n := from+1, len(all[from].readings)
		for to < len(all) && (all[to].caseID == all[from].caseID || len(all[to].readings) == 0) && n < togetherReadings {
			n += len(all[to].readings)
			to++
		}
		p.appendAll(ctx, all[from:to], results[from:to], n)
		from = to
	}
	for i, t := range all {
		if results[i] == nil {
			p.reject(ctx, t.rejects)
		}
	}
	return results
}

// Push takes in one message whose sender waits for the answer, and says what became
// of it once that is final: how many readings are durable, and why the rest is not.
// With an error the message must come again.
func (p *Path) Push(ctx context.Context, m payload.Message) (readings int, rejects []roof.Reject, err error) {
	t, err := p.judge(ctx, m)
	if err != nil {
		return 0, nil, err
	}
	if t.another { // its sender asked the wrong one, and is told
		t.rejects = []roof.Reject{{At: m.Arrived, Case: t.caseID, Source: m.Topic, Reason: roof.UnknownCase,
			Detail: "another instance serves this case; push to that one"}}
		return 0, t.rejects, nil
	}
	if _, err := p.append(ctx, t.caseID, t.readings); err != nil {
		return 0, nil, err
	}
	p.reject(ctx, t.rejects)
	return len(t.readings), t.rejects, nil
}

// appendAll stores the n readings of neighbouring messages of one case.
func (p *Path) appendAll(ctx context.Context, all []taken, results []error, n int) {
	readings, caseID := make([]roof.Reading, 0, n), ""
	for i, t := range all {
		if results[i] == nil && len(t.readings) > 0 {
			caseID = t.caseID
			readings = append(readings, t.readings...)
		}
	}
	_, err := p.append(ctx, caseID, readings)
	if err == nil {
		return
	}
	failed := 0
	for i, t := range all {
		if results[i] != nil || len(t.readings) == 0 {
			continue
		}
		// Twice the same is the disk's fault and not a message's: stop asking it.
		if results[i] = err; len(all) > 1 && failed < 2 {
			if _, results[i] = p.append(ctx, t.caseID, t.readings); results[i] != nil {
				failed++
			}
		}
	}
}
