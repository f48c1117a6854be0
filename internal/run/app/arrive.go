package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"dewcase/internal/door/filing"
	"dewcase/internal/door/http/api"
	"dewcase/internal/door/notify"
	"dewcase/internal/door/parcel"
	"dewcase/internal/flow/exports"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/roof"
	"dewcase/internal/run/bell"
)

// Take implements api.Moves.
func (m *mover) Take(ctx context.Context, id string, body io.Reader) (got api.Taken, err error) {
	m.moving.Lock()
	defer m.moving.Unlock()
	f, err := os.CreateTemp("", "dewcase-house-*")
	if err != nil {
		return got, fmt.Errorf("keeping a house that comes: %w", err)
	}
	_ = os.Remove(f.Name())
	defer f.Close()
	size, err := io.Copy(f, body)
	if err != nil {
		return got, err
	}
	p, err := parcel.Open(f, size)
	if err != nil {
		return got, err
	}
	if p.Case != id {
		return got, fmt.Errorf("%w: it is of %s", parcel.ErrNotAHouse, p.Case)
	}
	x, arriving := m.where.arrivalOf(id)
	if !arriving {
		if m.book.Known(id) {
			return got, fmt.Errorf("house %s %w", id, roof.ErrTaken)
		}
		if x, err = m.expect(ctx, p); err != nil {
			return got, err
		}
	}
	got = api.Taken{Case: id, State: api.HouseArriving, Whole: !p.LetGo.IsZero()}
	if err := m.takeRecord(ctx, p, x, &got); err != nil || !got.Whole {
		return got, err
	}
	if err := m.settle(ctx, p, x, &got); err != nil {
		return got, err
	}
	got.State = api.HouseHere
	return got, nil
}

// expect begins to take the readings of a house that is on its way here.
func (m *mover) expect(ctx context.Context, p *parcel.Parcel) (x arrival, err error) {
	versions, err := p.Versions()
	if err != nil {
		return x, err
	}
	if x.c, err = lastCase(p.Case, versions); err != nil {
		return x, err
	}
	x = arrival{From: p.From, Since: m.now().UTC(), File: versions[len(versions)-1].File, c: x.c}
	blob, err := json.Marshal(x)
	if err != nil {
		return x, fmt.Errorf("expecting %s: %w", p.Case, err)
	}
	// What was heard of it before is with the other instance.
	if err := m.forgetUnknown(ctx, p.Case); err != nil {
		return x, err
	}
	if err := m.store.PutState(ctx, kindArriving, p.Case, blob); err != nil {
		return x, err
	}
	if err := m.store.DeleteState(ctx, kindAway, p.Case); err != nil {
		return x, err
	}
	one := x
	m.where.set(p.Case, nil, &one, false)
	return x, nil
}

// forgetUnknown drops what was rejected because the house was not known here.
func (m *mover) forgetUnknown(ctx context.Context, id string) error {
	all, err := m.store.Rejects(ctx, id, math.MaxInt32, 0)
	if err != nil {
		return err
	}
	var ids []int64
	for _, r := range all {
		if r.Reason == roof.UnknownCase {
			ids = append(ids, r.ID)
		}
	}
	return errors.Join(m.store.ForgetRejects(ctx, ids), m.store.ForgetHeard(ctx, id, ""))
}

const (
	takeAtOnce = 1 << 14 // readings
	// undecided is how long before a copy was packed a message without a time may have
	// come that this instance took as well: it is left for the end.
	undecided = 10 * time.Minute
	// catchUp is how long the end waits for messages that the other instance has and
	// that are still on their way here.
	catchUp = 20 * time.Second
)

// takeRecord stores the readings of a packed house. Messages without a time that
// both instances took are found by their values.
func (m *mover) takeRecord(ctx context.Context, p *parcel.Parcel, x arrival, got *api.Taken) error {
	var batch []roof.Reading
	untimed := map[string][]roof.Reading{}
	flush := func() error {
		outcomes, err := m.readings.Append(ctx, p.Case, batch)
		for _, o := range outcomes {
			got.Count(o)
		}
		batch = batch[:0]
		return err
	}
	for r, err := range p.Readings() {
		if err != nil {
			return err
		}
		if ingest.Untimed(r) {
			if !got.Whole && p.At.Sub(r.Arrived) < undecided {
				continue
			}
			if got.Whole && r.Arrived.After(x.Since.Add(-undecided)) {
				untimed[r.Logger] = append(untimed[r.Logger], r)
				continue
			}
		}
		if batch = append(batch, r); len(batch) == takeAtOnce {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	for r, err := range p.Aside() {
		if err != nil {
			return err
		}
		batch = append(batch, r)
	}
	if err := flush(); err != nil {
		return err
	}
	until := time.Now().Add(catchUp)
	for logger, theirs := range untimed {
		for {
			missing, late, err := m.missing(ctx, p, x, logger, theirs)
			if err != nil {
				return err
			}
			if late && time.Now().Before(until) && ctx.Err() == nil {
				time.Sleep(200 * time.Millisecond)
				continue
			}
			got.Duplicates += len(theirs) - len(missing)
			batch = append(batch, missing...)
			break
		}
	}
	return flush()
}

// missing are those of a logger's untimed readings that are not here under this
// instance's dates; late says that some of them should still come here by
// themselves.
func (m *mover) missing(ctx context.Context, p *parcel.Parcel, x arrival, logger string,
	theirs []roof.Reading) (missing []roof.Reading, late bool, err error) {
	var here []roof.Reading
	for r, err := range m.readings.Range(ctx, p.Case, logger, x.Since.Add(-undecided), time.Time{}) {
		if err != nil {
			return nil, false, err
		}
		if ingest.Untimed(r) {
			here = append(here, r)
		}
	}
	repeats, coming := ingest.Repeats(here, theirs)
	for i, again := range repeats {
		if !again {
			missing = append(missing, theirs[i])
		}
	}
	last := theirs[len(theirs)-1]
	return missing, coming > 0 || len(here) == 0 && last.Arrived.After(x.Since.Add(ingest.TwiceWithin)), nil
}

// settle takes over the rest of a house that was let go, and puts it in force.
func (m *mover) settle(ctx context.Context, p *parcel.Parcel, x arrival, got *api.Taken) error {
	versions, err := p.Versions()
	if err != nil {
		return err
	}
	state, err := p.State()
	if err != nil {
		return err
	}
	rejects, err := p.Rejects()
	if err != nil {
		return err
	}
	if err := m.store.CarryCase(ctx, versions); err != nil {
		return err
	}
	for sum, open := range p.Originals() {
		if err := m.keepOriginal(ctx, p.Case, sum, open, state); err != nil {
			return err
		}
		got.Files++
	}
	if err := m.dropState(ctx, x.c, state); err != nil {
		return err
	}
	for _, s := range state {
		if err := m.keepState(ctx, p.Case, s); err != nil {
			return err
		}
	}
	if err := m.logRejects(ctx, p.Case, rejects, x.Since); err != nil {
		return err
	}
	if err := m.store.PutState(ctx, kindHere, p.Case, []byte(p.From)); err != nil {
		return err
	}
	if err := m.store.DeleteState(ctx, kindArriving, p.Case); err != nil {
		return err
	}
	got.Versions = len(versions)
	// It is in force before it stops arriving, so that no message finds it unknown; what
	// was stored in between is told by entering it once more.
	if err := errors.Join(m.bell.Leave(ctx, p.Case), m.mappings.Again(ctx), m.book.Enter(ctx, p.Case)); err != nil {
		return err
	}
	m.where.set(p.Case, nil, nil, true)
	m.leaveOut() // its letters go out now
	return m.book.Enter(ctx, p.Case)
}

// dropState drops what is here, from when the house was here before, and was dropped
// where it comes from: links withdrawn there must not open its page again.
func (m *mover) dropState(ctx context.Context, c *roof.Case, brought []roof.HouseState) error {
	here, err := m.stateOf(ctx, c)
	if err != nil {
		return err
	}
	for _, s := range here {
		if s.Kind == notify.BoxKind || s.Kind == recipeState || slices.ContainsFunc(brought, func(b roof.HouseState) bool {
			return b.Kind == s.Kind && b.Key == s.Key
		}) {
			continue
		}
		if err := m.store.DeleteState(ctx, s.Kind, s.Key); err != nil {
			return err
		}
	}
	return nil
}

// logRejects keeps what was rejected before a time, save what is here already:
// later ones were rejected here too, and a move that broke off begins again.
func (m *mover) logRejects(ctx context.Context, id string, brought []roof.KeptReject, before time.Time) error {
	here, err := m.store.Rejects(ctx, id, math.MaxInt32, 0)
	if err != nil {
		return err
	}
	have := map[string]int{}
	key := func(r roof.Reject) string {
		return fmt.Sprintf("%d %q %q %d %q %q", r.At.UnixMilli(), r.Logger, r.Source, r.Line, r.Reason, r.Payload)
	}
	for _, r := range here {
		have[key(r.Reject)]++
	}
	var logged []roof.Reject
	for _, r := range brought {
		if !r.At.Before(before) {
			continue
		}
		if k := key(r.Reject); have[k] > 0 {
			have[k]--
			continue
		}
		logged = append(logged, r.Reject)
	}
	return m.store.AppendReject(ctx, logged...)
}

// keepState keeps a blob of a house, if it is one that a house can bring.
func (m *mover) keepState(ctx context.Context, id string, s roof.HouseState) error {
	switch {
	case s.Kind == notify.BoxKind:
		return m.outbox.Take(ctx, s)
	case s.Kind == recipeState:
		kept, err := m.cabinet.Recipes(ctx)
		if err != nil || slices.ContainsFunc(kept, func(r exports.Recipe) bool { return r.Name == s.Key }) {
			return err // one of that name is here: it stays
		}
		r, err := exports.ReadRecipe("recipe "+s.Key, s.Blob)
		if err != nil {
			return err
		}
		return m.cabinet.KeepRecipe(ctx, r)
	case bell.LinksKind(s.Kind),
		slices.Contains(houseKinds(), s.Kind) && (s.Key == id || strings.HasPrefix(s.Key, id+"/")):
		return m.store.PutState(ctx, s.Kind, s.Key, s.Blob)
	}
	return fmt.Errorf("%w: it brings %s %s, which belongs to no house", parcel.ErrNotAHouse, s.Kind, s.Key)
}

// keepOriginal keeps an imported file under the entry that the house brings of it.
func (m *mover) keepOriginal(ctx context.Context, id, sum string, open func() (io.ReadCloser, error),
	state []roof.HouseState) error {
	i := slices.IndexFunc(state, func(s roof.HouseState) bool {
		return s.Kind == filing.OriginalKind && s.Key == id+"/"+sum
	})
	if i < 0 {
		return fmt.Errorf("%w: the original %.12s has no entry", parcel.ErrNotAHouse, sum)
	}
	var o roof.Original
	if err := json.Unmarshal(state[i].Blob, &o); err != nil {
		return fmt.Errorf("%w: %w", parcel.ErrNotAHouse, err)
	}
	f, err := os.CreateTemp("", "dewcase-original-*")
	if err != nil {
		return fmt.Errorf("keeping an original: %w", err)
	}
	_ = os.Remove(f.Name())
	defer f.Close()
	in, err := open()
	if err == nil {
		_, err = io.Copy(f, in)
		err = errors.Join(err, in.Close())
	}
	if err != nil {
		return fmt.Errorf("%w: the original %.12s: %w", parcel.ErrNotAHouse, sum, err)
	}
	kept, err := m.cabinet.Keep(ctx, f, o)
	if err == nil && kept.SHA256 != sum {
		err = fmt.Errorf("%w: the original %.12s is not what it was", parcel.ErrNotAHouse, sum)
	}
	return err
}
