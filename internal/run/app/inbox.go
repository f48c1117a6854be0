package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"dewcase/internal/door/http/web"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/announced"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/mappings"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// inbox takes in, for the pages, what was not understood at first.
type inbox struct {
	store     *sqlite.Store
	readings  roof.ReadingStore
	book      *casebook.Book
	path      *ingest.Path
	decoder   *payload.Decoder
	discovery *discovery
	mappings  *mappings.Book
}

func (a *App) inbox() inbox {
	return inbox{a.store, a.readings, a.book, a.path, a.decoder, a.discovery, a.mappings}
}

// keptLooked bounds how many rejects are looked at, the newest.
const keptLooked = 10_000

// lookAgain decodes the newest rejects by the mappings in force, or by others.
func (in inbox) lookAgain(ctx context.Context) (map[string]*ingest.Kept, error) {
	rejects, err := in.store.Rejects(ctx, "", keptLooked, 0)
	if err != nil {
		return nil, err
	}
	return in.path.LookAgain(in.decoder.Afresh(), rejects), nil
}

func (in inbox) NotRead() ([]payload.Untaken, []payload.Shadow) {
	return in.decoder.Untaken(), in.decoder.Shadows()
}

func (in inbox) Kept(ctx context.Context) (map[string]web.Waiting, error) {
	all, err := in.lookAgain(ctx)
	out := map[string]web.Waiting{}
	for id, k := range all {
		out[id] = web.Waiting{Messages: k.Messages(), Readings: k.Readings, Loggers: k.Loggers, From: k.From, Until: k.Until}
	}
	return out, err
}

func (in inbox) TakeKept(ctx context.Context, caseID string) (web.Stored, error) {
	if _, err := in.book.Get(caseID); err != nil {
		return web.Stored{}, err
	}
	all, err := in.lookAgain(ctx)
	if err != nil || all[caseID] == nil {
		return web.Stored{}, err
	}
	rep, done, err := in.path.TakeKept(ctx, caseID, all[caseID])
	out := web.Stored{Stored: rep.Stored, Merged: rep.Merged, Duplicates: rep.Duplicates, Conflicts: rep.Conflicts}
	if len(done) > 0 {
		err = errors.Join(err, in.store.ForgetRejects(ctx, done))
	}
	return out, err
}

func (in inbox) FirstHeard(ctx context.Context, caseID, logger string) (time.Time, error) {
	spans, err := in.readings.Spans(ctx, caseID)
	for _, s := range spans {
		if s.Logger == logger {
			return s.First, nil
		}
	}
	if err == nil {
		err = fmt.Errorf("readings of logger %q: %w", logger, roof.ErrNotFound)
	}
	return time.Time{}, err
}

func (in inbox) Fit(ctx context.Context, caseID string, placings []casefile.Placing, by string) error {
	return fit(ctx, in.book, caseID, placings, by)
}

// fit writes placings into the case file in force, again where somebody else
// changed it in between.
func fit(ctx context.Context, book *casebook.Book, caseID string, placings []casefile.Placing, by string) error {
	for try := 0; ; try++ {
		file, etag, err := book.File(ctx, caseID)
		if err != nil {
			return err
		}
		if file, err = casefile.Fit(caseID+".yaml", file, placings); err != nil {
			return err
		}
		_, _, err = book.Put(ctx, caseID, file, casebook.If{Match: etag}, by)
		if !errors.Is(err, roof.ErrChanged) || try == 3 {
			return err
		}
	}
}

func (in inbox) Discovery() web.Discovery { return in.discovery.State() }

func (in inbox) Switch(ctx context.Context, to web.Discovery) error {
	return in.discovery.Switch(ctx, to)
}

// Offers leaves out what a house's mapping reads already.
func (in inbox) Offers() ([]announced.Offer, []string) {
	read := map[string]bool{}
	for _, m := range in.mappings.All() {
		read[m.Topic] = true
	}
	offers, cannot := in.discovery.Offers()
	return slices.DeleteFunc(offers, func(o announced.Offer) bool { return read[o.Sensors[0].StateTopic] }), cannot
}

// maxUnread bounds the messages that proposals are made from.
const maxUnread = 2000

// Unread are the messages in the log that are still not read, each once.
func (in inbox) Unread(ctx context.Context) ([]payload.Message, error) {
	rejects, err := in.store.Rejects(ctx, "", keptLooked, 0)
	if err != nil {
		return nil, err
	}
	decoder := in.decoder.Afresh()
	var out []payload.Message
	seen := map[string]bool{}
	for _, r := range rejects {
		id := r.Source + "\x00" + string(r.Payload) + r.At.String()
		if !ingest.Curable(r.Reject) || payload.Native(r.Source) || len(r.Payload) >= roof.RejectPayloadBytes || seen[id] {
			continue
		}
		seen[id] = true
		m := payload.Message{Topic: r.Source, Payload: r.Payload, Retained: r.Retained, Arrived: r.At}
		if _, _, again := decoder.Decode(m); len(again) == 0 {
			continue
		}
		if out = append(out, m); len(out) == maxUnread {
			break
		}
	}
	slices.Reverse(out)
	return out, nil
}

// Read puts the mappings in force first, so that nothing is lost in between; then
// the loggers are fitted, and the kept messages taken.
func (in inbox) Read(ctx context.Context, r web.Reading) (web.Stored, error) {
	// A placing that cannot be is told before anything is kept.
	file, _, err := in.book.File(ctx, r.Case)
	if err == nil {
		_, err = casefile.Fit(r.Case+".yaml", file, r.Placings)
	}
	if err != nil {
		return web.Stored{}, err
	}
	v, all := in.mappings.Of(r.Case)
	topics := make([]string, len(r.Mappings))
	for i, m := range r.Mappings {
		topics[i] = m.Topic
	}
	err = in.mappings.Put(ctx, mappings.Version{Case: r.Case, By: r.By, What: words.List(topics) + " is read",
		Text: payload.WriteMappings(append(all, r.Mappings...))}, v.Number)
	if err != nil {
		return web.Stored{}, err
	}
	if len(r.Placings) > 0 {
		if err := in.Fit(ctx, r.Case, r.Placings, r.By); err != nil {
			return web.Stored{}, err
		}
	}
	if !r.Kept {
		return web.Stored{}, nil
	}
	return in.TakeKept(ctx, r.Case)
}

func (in inbox) Mappings(caseID string) mappings.Version {
	v, _ := in.mappings.Of(caseID)
	v.Case = caseID
	return v
}

func (in inbox) MappingsBefore(ctx context.Context, caseID string) ([]mappings.Version, error) {
	return in.mappings.History(ctx, caseID, 100)
}

func (in inbox) PutMappings(ctx context.Context, v mappings.Version, before int) error {
	return in.mappings.Put(ctx, v, before)
}
