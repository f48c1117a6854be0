package commands

import (
	"context"
	"fmt"
	"io"
	"os"
	"time"

	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/payload"
	"dewcase/internal/words"
)

// try prints what a message would become under the configuration's mappings, or why
// nothing; status 1 where something in it cannot be used.
func try(_ context.Context, args []string, s Streams) error {
	f := flags("try", "-topic TOPIC -payload FILE [-config FILE]", s)
	topic := f.String("topic", "", "the topic it would come on")
	file := f.String("payload", "", "file that holds the payload as it would come; - is standard input")
	with := f.String("config", "", "configuration file (YAML) with the mappings; without it there are none")
	retained := f.Bool("retained", false, "as a message that the broker kept from before")
	if err := parse(f, args, "topic", "payload"); err != nil {
		return err
	}
	c, err := configFrom(*with)
	if err != nil {
		return err
	}
	body, err := readPayload(*file, s.In, int64(c.MQTT.MaxPayloadKB)<<10)
	if err != nil {
		return err
	}
	m := payload.Message{Topic: *topic, Payload: body, Retained: *retained, Arrived: time.Now()}
	became, err := ingest.Try(c.MQTT.Mappings, []payload.Message{m}, payload.MaxBytes(c.MQTT.MaxPayloadKB<<10))
	if err != nil {
		return err
	}
	for _, x := range payload.Shadows(c.MQTT.Mappings) {
		fmt.Fprintln(s.Err, words.MessageShadow(x.Mapping+1, x.Topic, x.By+1, x.ByTopic, x.Whole))
	}
	return tell(s.Out, became[0], c.MQTT.Mappings)
}

// tell prints what one message became.
func tell(w io.Writer, b payload.Became, mappings []payload.Mapping) error {
	if len(b.Readings) > 0 {
		by := ""
		if b.Mapping >= 0 {
			by = mappings[b.Mapping].Topic
		}
		fmt.Fprintln(w, words.MessageTaker(b.Mapping+1, by))
	}
	for _, r := range b.Readings {
		fmt.Fprintln(w, words.MessageReading(b.Case, r))
	}
	for _, r := range b.Rejects {
		fmt.Fprintf(w, "%s: %s\n", r.Reason, r.Detail)
	}
	for _, u := range b.Untaken {
		fmt.Fprintln(w, words.MessageUntaken(b.Mapping < 0, u.Pointer, u.Example, u.Quantity))
	}
	if len(b.Readings)+len(b.Rejects)+len(b.Untaken) == 0 {
		fmt.Fprintln(w, words.MessageNothing)
	}
	if len(b.Readings) == 0 || len(b.Untaken) > 0 {
		for _, p := range payload.Propose("the-house", "UTC", []payload.Message{b.Message}) {
			var doubtful []string
			for _, k := range p.Keys {
				if k.Role != payload.NoRole && k.Doubtful() {
					doubtful = append(doubtful, k.Pointer)
				}
			}
			fmt.Fprintf(w, "%s\n%s", words.MessageProposal(doubtful), payload.WriteMappings([]payload.Mapping{p.Mapping}))
		}
	}
	if len(b.Rejects) > 0 {
		return errShown
	}
	return nil
}

// readPayload reads at most what a message may hold, and a byte more.
func readPayload(file string, in io.Reader, max int64) ([]byte, error) {
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return nil, fmt.Errorf("reading the payload: %w", err)
		}
		defer f.Close()
		in = f
	}
	body, err := io.ReadAll(io.LimitReader(in, max+1))
	if err != nil {
		return nil, fmt.Errorf("reading the payload: %w", err)
	}
	return body, nil
}
