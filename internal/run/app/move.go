package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"dewcase/internal/door/filing"
	"dewcase/internal/door/http/api"
	"dewcase/internal/door/notify"
	"dewcase/internal/door/parcel"
	"dewcase/internal/door/store/influx"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/exports"
	"dewcase/internal/flow/mappings"
	"dewcase/internal/roof"
	"dewcase/internal/run/bell"
)

// mover gives houses to other instances and takes them from there. The order of a
// move keeps every message in one of two places: the receiving instance takes up
// a copy and from then on the readings too, while the giving one goes on; then the
// giving one lets go, and what it has kept meanwhile follows. Alerts are raised
// by the giving instance until it lets go, by the receiving one once it has all.
type mover struct {
	where    *whereabouts
	store    *sqlite.Store
	readings roof.ReadingStore
	book     *casebook.Book
	bell     *bell.Bell
	outbox   *notify.Outbox
	mappings *mappings.Book
	cabinet  *filing.Cabinet
	url      string // of the pages, as people reach them; may be ""
	name     string // of this instance
	version  string
	now      func() time.Time
	// recall takes a house's record back from an engine that the other instance may
	// write to as well; nil without one.
	recall func(ctx context.Context, caseID string) error

	moving sync.Mutex // one house at a time
}

func (a *App) newMover() *mover {
	c := a.opt.Config
	m := &mover{where: a.where, store: a.store, readings: a.readings, book: a.book, bell: a.bell, outbox: a.outbox,
		mappings: a.mappings, cabinet: filing.New(c.Data, a.store, a.opt.Now), url: c.HTTP.PublicURL,
		name: c.MQTT.ClientID, version: a.opt.Version, now: a.opt.Now}
	if s, ok := a.readings.(*influx.Store); ok {
		m.recall = s.Recall
	}
	return m
}

// takeBack has the whole record of a house that leaves in the local store, and keeps
// it there.
func (m *mover) takeBack(ctx context.Context, id string) error {
	if m.recall == nil {
		return nil
	}
	if err := m.store.PutState(ctx, roof.StateLeaving, id, nil); err != nil {
		return err
	}
	return m.recall(ctx, id)
}

// Where implements api.Moves.
func (m *mover) Where(_ context.Context, id string) (api.Whereabouts, error) {
	w := api.Whereabouts{Case: id, URL: m.url, State: api.HouseUnknown}
	if x, ok := m.where.awayTo(id); ok {
		w.State, w.To, w.Since = api.HouseAway, x.To, &x.At
	} else if x, ok := m.where.arrivalOf(id); ok {
		w.State, w.From, w.Since, w.Heard = api.HouseArriving, x.From, &x.Since, x.heard
	} else if m.book.Known(id) {
		w.State = api.HouseHere
	}
	return w, nil
}

// LetGo implements api.Moves.
func (m *mover) LetGo(ctx context.Context, id, to string) error {
	m.moving.Lock()
	defer m.moving.Unlock()
	if x, ok := m.where.awayTo(id); ok {
		if x.To != to {
			return fmt.Errorf("house %s was let go to %s already: %w", id, x.To, roof.ErrTaken)
		}
		return nil
	}
	e, err := m.book.Get(id)
	if err != nil {
		return err
	}
	if err := m.takeBack(ctx, id); err != nil {
		return err
	}
	x := away{To: to, Label: nameOf(e.Case), At: m.now().UTC().Truncate(time.Second)}
	blob, err := json.Marshal(x)
	if err != nil {
		return fmt.Errorf("letting go of %s: %w", id, err)
	}
	if err := m.store.PutState(ctx, kindAway, id, blob); err != nil {
		return err
	}
	m.where.set(id, &x, nil, false)
	m.book.Leave(id)
	m.leaveOut()
	return m.bell.Leave(ctx, id)
}

// leaveOut has no letter delivered of a house that was let go, nor of one that is on
// its way here: of one that comes back, the other instance has delivered what waited
// here. One under way is finished before.
func (m *mover) leaveOut() {
	m.outbox.LeaveOut(func(id string) bool {
		_, gone := m.where.awayTo(id)
		_, coming := m.where.arrivalOf(id)
		return gone || coming
	})
}

// Pack implements api.Moves.
func (m *mover) Pack(ctx context.Context, id string, to io.Writer) error {
	gone, isGone := m.where.awayTo(id)
	if !isGone {
		if _, err := m.book.Get(id); err != nil {
			return err
		}
		if err := m.takeBack(ctx, id); err != nil {
			return err
		}
	}
	about := parcel.About{Case: id, From: m.name, Version: m.version, At: m.now().UTC(), LetGo: gone.At}
	if m.url != "" {
		about.From = m.url
	}
	w := parcel.NewWriter(to)
	c, err := m.packEvidence(ctx, id, w)
	if err != nil {
		return err
	}
	about.Label = nameOf(c)
	state, err := m.stateOf(ctx, c)
	if err != nil {
		return err
	}
	if err := w.State(state); err != nil {
		return err
	}
	return w.Close(about)
}

// packEvidence packs what is no state of the daemon's own: versions of the case
// file, record, rejects and originals of imported files. It gives the case as the
// last version says.
func (m *mover) packEvidence(ctx context.Context, id string, w *parcel.Writer) (*roof.Case, error) {
	versions, c, err := m.versions(ctx, id)
	if err != nil {
		return nil, err
	}
	if err := w.Versions(versions); err != nil {
		return nil, err
	}
	if err := m.packRecord(ctx, id, w); err != nil {
		return nil, err
	}
	rejects, err := m.store.Rejects(ctx, id, math.MaxInt32, 0)
	if err != nil {
		return nil, err
	}
	slices.Reverse(rejects)
	if err := w.Rejects(rejects); err != nil {
		return nil, err
	}
	files, err := m.cabinet.Originals(ctx, id)
	if err != nil {
		return nil, err
	}
	for _, o := range files {
		if !o.BytesThere {
			continue
		}
		in, _, err := m.cabinet.Original(ctx, id, o.SHA256)
		if err == nil {
			err = errors.Join(w.Original(o.SHA256, in), in.Close())
		}
		if err != nil {
			return nil, err
		}
	}
	return c, nil
}

// versions are those of a case file, oldest first, and the case as the last says.
func (m *mover) versions(ctx context.Context, id string) ([]roof.CaseVersion, *roof.Case, error) {
	all, err := m.store.CaseHistory(ctx, id, math.MaxInt32, 0)
	if err != nil {
		return nil, nil, err
	}
	slices.Reverse(all)
	for i, v := range all {
		if v.ETag == "" {
			continue
		}
		full, err := m.store.CaseVersion(ctx, id, fmt.Sprint(v.Number))
		if err != nil {
			return nil, nil, err
		}
		all[i].File = full.File
	}
	c, err := lastCase(id, all)
	return all, c, err
}

// lastCase is the case as the last version of its file says.
func lastCase(id string, all []roof.CaseVersion) (*roof.Case, error) {
	if len(all) == 0 || all[len(all)-1].ETag == "" {
		return nil, fmt.Errorf("case %q: %w", id, roof.ErrNotFound)
	}
	c, faults := casefile.ParseKept(id+".yaml", all[len(all)-1].File)
	if len(faults) > 0 {
		return nil, faults
	}
	if c.ID != id {
		return nil, fmt.Errorf("%w: its case file is of %s", parcel.ErrNotAHouse, c.ID)
	}
	return c, nil
}

func (m *mover) packRecord(ctx context.Context, id string, w *parcel.Writer) error {
	spans, err := m.readings.Spans(ctx, id)
	if err != nil {
		return err
	}
	if err := w.Readings(func(yield func(roof.Reading, error) bool) {
		for _, s := range spans {
			for r, err := range m.readings.Range(ctx, id, s.Logger, time.Time{}, time.Time{}) {
				if !yield(r, err) {
					return
				}
			}
		}
	}); err != nil {
		return err
	}
	aside, err := m.readings.Conflicts(ctx, id, math.MaxInt32)
	if err != nil {
		return err
	}
	slices.Reverse(aside)
	return w.Aside(aside)
}

// houseKinds are the kinds of state that belong to one house, under its id or under
// its id and a stroke.
func houseKinds() []string { return append(bell.HouseKinds(), mappings.Kind, filing.OriginalKind) }

// stateOf is everything of the daemon's own state that belongs to a house.
func (m *mover) stateOf(ctx context.Context, c *roof.Case) ([]roof.HouseState, error) {
	var out []roof.HouseState
	for _, kind := range houseKinds() {
		all, err := m.store.States(ctx, kind)
		if err != nil {
			return nil, err
		}
		for _, k := range all {
			if k.Key == c.ID || strings.HasPrefix(k.Key, c.ID+"/") {
				out = append(out, roof.HouseState{Kind: kind, Key: k.Key, Blob: k.Blob})
			}
		}
	}
	links, err := m.bell.Links(ctx, c)
	if err != nil {
		return nil, err
	}
	letters, err := m.outbox.LettersOf(c.ID)
	if err != nil {
		return nil, err
	}
	recipes, err := m.recipesOf(ctx, c.ID)
	return slices.Concat(out, links, letters, recipes), err
}

// recipeState is the kind that a recipe has in a packed house.
const recipeState = "recipe"

// recipesOf are the recipes that files of a house were read by.
func (m *mover) recipesOf(ctx context.Context, id string) (out []roof.HouseState, err error) {
	files, err := m.cabinet.Originals(ctx, id)
	if err != nil {
		return nil, err
	}
	recipes, err := m.cabinet.Recipes(ctx)
	for _, r := range recipes {
		if slices.ContainsFunc(files, func(o roof.Original) bool { return o.Recipe == r.Name }) {
			out = append(out, roof.HouseState{Kind: recipeState, Key: r.Name, Blob: exports.WriteRecipe(r)})
		}
	}
	return out, err
}
