package app

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dewcase/internal/door/http/web"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

// inbox takes in, for the pages, what was not understood at first.
type inbox struct {
	store     *sqlite.Store
	readings  roof.ReadingStore
	book      *casebook.Book
	path      *ingest.Path
	decoder   *payload.Decoder
	discovery *discovery
}

func (a *App) inbox() inbox {
	return inbox{a.store, a.readings, a.book, a.path, a.decoder, a.discovery}
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

// Fit writes placings into the case file in force, again where somebody else
// changed it in between.
func (in inbox) Fit(ctx context.Context, caseID string, placings []casefile.Placing, by string) error {
	for try := 0; ; try++ {
		file, etag, err := in.book.File(ctx, caseID)
		if err != nil {
			return err
		}
		if file, err = casefile.Fit(caseID+".yaml", file, placings); err != nil {
			return err
		}
		_, _, err = in.book.Put(ctx, caseID, file, casebook.If{Match: etag}, by)
		if !errors.Is(err, roof.ErrChanged) || try == 3 {
			return err
		}
	}
}

func (in inbox) Discovery() web.Discovery { return in.discovery.State() }

func (in inbox) Switch(ctx context.Context, to web.Discovery) error {
	return in.discovery.Switch(ctx, to)
}
