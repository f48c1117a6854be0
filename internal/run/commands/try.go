package commands

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/mappings"
	"dewcase/internal/flow/payload"
	"dewcase/internal/words"
)

// try prints what a message would become under the mappings of the configuration and
// of the houses, or why nothing; status 1 where something in it cannot be used.
func try(ctx context.Context, args []string, s Streams) error {
	f := flags("try", "-topic TOPIC -payload FILE [-config FILE] [-data DIR]", s)
	topic := f.String("topic", "", "the topic it would come on")
	file := f.String("payload", "", "file that holds the payload as it would come; - is standard input")
	with := f.String("config", "", "configuration file (YAML) with the mappings")
	data := f.String("data", "", "data folder with the mappings that were made on the pages, also of a running daemon; "+
		"else that of the configuration")
	retained := f.Bool("retained", false, "as a message that the broker kept from before")
	if err := parse(f, args, "topic", "payload"); err != nil {
		return err
	}
	if strings.ContainsAny(*topic, "+#") {
		return usageError{"-topic is the topic of one message, which has neither + nor #"}
	}
	c, err := configFrom(*with)
	if err != nil {
		return err
	}
	ofHouses, err := houseMappings(ctx, *data, c.Data)
	if err != nil {
		return err
	}
	body, err := readPayload(*file, s.In, int64(c.MQTT.MaxPayloadKB)<<10)
	if err != nil {
		return err
	}
	m := payload.Message{Topic: *topic, Payload: body, Retained: *retained, Arrived: time.Now()}
	t := trial{slices.Concat(c.MQTT.Mappings, ofHouses), len(c.MQTT.Mappings)}
	became, err := ingest.Try(t.mappings, []payload.Message{m}, payload.MaxBytes(c.MQTT.MaxPayloadKB<<10))
	if err != nil {
		return err
	}
	for _, x := range payload.Shadows(t.mappings, t.ofConfiguration) {
		fmt.Fprintln(s.Err, words.MessageShadow(placeName(x.Mapping), placeName(x.By), x.Whole))
	}
	return t.tell(s.Out, became[0])
}

// houseMappings are those kept in a data folder, which a daemon may have in use. Where
// the folder was not named and holds no store there are none.
func houseMappings(ctx context.Context, named, usual string) ([]payload.Mapping, error) {
	store, _, end, err := sqlite.Reading(ctx, cmp.Or(named, usual))
	if named == "" && errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	book, err := mappings.Open(ctx, store, time.Now, func([]payload.Mapping) error { return nil })
	if err = errors.Join(err, end()); err != nil {
		return nil, err
	}
	return book.All(), nil
}

func placeName(p payload.Place) string { return words.MappingName(p.House, p.Number, p.Topic) }

// trial is the mappings that a message is tried by, first those of the configuration.
type trial struct {
	mappings        []payload.Mapping
	ofConfiguration int
}

func (t trial) name(i int) string {
	return placeName(payload.PlaceOf(t.mappings, t.ofConfiguration, i))
}

// tell prints what one message became.
func (t trial) tell(w io.Writer, b payload.Became) error {
	switch {
	case b.Mapping >= 0 && t.mappings[b.Mapping].Form == payload.IgnoreForm:
		fmt.Fprintln(w, words.MessageLeftAside(t.name(b.Mapping)))
	case b.Mapping >= 0:
		fmt.Fprintln(w, words.MessageTaker(t.name(b.Mapping)))
	case len(b.Readings) > 0:
		fmt.Fprintln(w, words.MessageTaker(""))
	}
	for i := b.Mapping + 1; i < len(t.mappings) && b.Mapping >= 0; i++ {
		if alone, err := payload.Become(t.mappings[i:i+1], []payload.Message{b.Message}); err == nil &&
			len(alone[0].Readings) > 0 {
			fmt.Fprintln(w, words.MessageRival(t.name(i), t.name(b.Mapping)))
		}
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
	switch {
	case len(b.Readings)+len(b.Rejects)+len(b.Untaken) > 0:
	case b.Mapping < 0:
		fmt.Fprintln(w, words.MessageNothing)
	case t.mappings[b.Mapping].Form != payload.IgnoreForm:
		fmt.Fprintln(w, words.MessageWaits)
	}
	if len(b.Readings) == 0 || len(b.Untaken) > 0 {
		for _, p := range payload.Propose("the-house", "UTC", []payload.Message{b.Message}) {
			var doubtful []string
			for _, k := range p.Keys {
				if k.Role != payload.NoRole && k.Doubtful() {
					doubtful = append(doubtful, k.Pointer)
				}
			}
			for _, k := range p.TimesUnread() {
				fmt.Fprintln(w, words.MessageTimeUnread(k.Pointer, k.Example))
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
