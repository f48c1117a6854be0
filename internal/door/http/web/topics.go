package web

import (
	"cmp"
	"context"
	"slices"
	"time"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// unreadTopics lists the topics of kept messages that nothing reads, the busiest
// first, with what each would become of some house.
func (p *Pages) unreadTopics(ctx context.Context) ([]topicRow, error) {
	messages, err := p.inbox.Unread(ctx)
	out, zone := topicsOf(messages), "UTC"
	if all := p.Cases.All(); len(all) > 0 {
		zone = all[0].Property.Timezone
	}
	become := map[string]string{}
	for _, proposal := range payload.Propose("x", zone, messages) {
		of := map[string]roof.Reading{}
		became, err := payload.Become([]payload.Mapping{proposal.Mapping}, messages)
		if err != nil {
			continue
		}
		for _, b := range became {
			for _, r := range b.Readings {
				of[b.Message.Topic] = r
			}
		}
		for topic, r := range of {
			become[topic] = valuesWords(r)
		}
	}
	for i := range out {
		out[i].Becomes = become[out[i].Topic]
	}
	slices.SortStableFunc(out, func(a, b topicRow) int { // what can be read first
		return cmp.Or(cmp.Compare(bit(a.Becomes == ""), bit(b.Becomes == "")), b.Count-a.Count)
	})
	return out, err
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}

// topicsOf gathers messages by their topics, the busiest first.
func topicsOf(messages []payload.Message) (out []topicRow) {
	at := map[string]int{}
	for _, m := range messages {
		i, ok := at[m.Topic]
		if !ok {
			i = len(out)
			at[m.Topic] = i
			out = append(out, topicRow{Topic: m.Topic})
		}
		out[i].Count++
		if !m.Arrived.Before(out[i].Last) {
			out[i].Last, out[i].Payload = m.Arrived, m.Payload
		}
	}
	for i, t := range out {
		out[i].Why = words.Upper(words.MessageSenseless(string(t.Payload)))
	}
	slices.SortStableFunc(out, func(a, b topicRow) int { return b.Count - a.Count })
	return out
}

// topicRow is one topic that nothing reads.
type topicRow struct {
	Topic   string
	Count   int
	Last    time.Time
	Payload []byte
	Becomes string // the last values, as they would be read; "" where nothing is proposed
	Why     string // nothing may be
}
