package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"dewcase/internal/door/http/gate"
	"dewcase/internal/door/http/web"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// The kinds of state that say where a house is kept, each under its id.
const (
	kindAway     = roof.StateAway
	kindArriving = "house_arriving" // its readings are taken here already
	kindHere     = "house_here"     // it moved here, whatever the key cases says
)

// away is a house that this instance let go.
type away struct {
	To    string    `json:"to"` // address of the pages of the instance that keeps it
	Label string    `json:"label"`
	At    time.Time `json:"at"`
}

// arrival is a house that is on its way here.
type arrival struct {
	From  string    `json:"from"`
	Since time.Time `json:"since"` // when the first of its readings can have been taken here
	File  []byte    `json:"file"`  // its case file, for its loggers' names
	c     *roof.Case
	heard int64 // readings taken here since
}

// whereabouts knows which houses are kept here: those that the configuration
// names, those that moved here, and not those that moved away. It is safe for
// concurrent use.
type whereabouts struct {
	config   func(caseID string) bool
	mu       sync.RWMutex
	away     map[string]away
	arriving map[string]*arrival
	here     map[string]bool
}

func (a *App) openWhereabouts(ctx context.Context) error {
	w := &whereabouts{config: a.opt.Config.Serves, away: map[string]away{}, arriving: map[string]*arrival{},
		here: map[string]bool{}}
	a.where = w
	var err error
	if a.others, err = newOtherInstances(a.opt.Config, a.opt.Now); err != nil {
		return err
	}
	for kind, take := range map[string]func(id string, blob []byte) error{
		kindAway: func(id string, blob []byte) error {
			var x away
			err := json.Unmarshal(blob, &x)
			w.away[id] = x
			return err
		},
		kindArriving: func(id string, blob []byte) error {
			x, err := readArrival(id, blob)
			w.arriving[id] = x
			return err
		},
		kindHere: func(id string, _ []byte) error { w.here[id] = true; return nil },
	} {
		kept, err := a.store.States(ctx, kind)
		for _, k := range kept {
			err = errors.Join(err, take(k.Key, k.Blob))
		}
		if err != nil {
			return fmt.Errorf("reading where houses are kept: %w", err)
		}
	}
	return nil
}

func readArrival(id string, blob []byte) (*arrival, error) {
	x := &arrival{}
	if err := json.Unmarshal(blob, x); err != nil {
		return nil, err
	}
	c, faults := casefile.ParseKept(id+".yaml", x.File)
	if len(faults) > 0 {
		return nil, faults
	}
	x.c = c
	return x, nil
}

// serves reports whether messages for a case are taken here.
func (w *whereabouts) serves(id string) bool {
	w.mu.RLock()
	defer w.mu.RUnlock()
	_, gone := w.away[id]
	return !gone && (w.here[id] || w.arriving[id] != nil || w.config(id))
}

// keeps reports whether a case is in force here.
func (w *whereabouts) keeps(id string) bool {
	w.mu.RLock()
	defer w.mu.RUnlock()
	_, gone := w.away[id]
	return !gone && w.arriving[id] == nil && (w.here[id] || w.config(id))
}

func (w *whereabouts) awayTo(id string) (away, bool) {
	w.mu.RLock()
	defer w.mu.RUnlock()
	x, ok := w.away[id]
	return x, ok
}

func (w *whereabouts) arrivalOf(id string) (arrival, bool) {
	w.mu.RLock()
	defer w.mu.RUnlock()
	if x := w.arriving[id]; x != nil {
		return *x, true
	}
	return arrival{}, false
}

// took counts readings of a house that is on its way here.
func (w *whereabouts) took(id string, n int) (arriving bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	x := w.arriving[id]
	if x != nil {
		x.heard += int64(n)
	}
	return x != nil
}

// set takes over what became of a house.
func (w *whereabouts) set(id string, gone *away, arriving *arrival, here bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.away, id)
	delete(w.arriving, id)
	delete(w.here, id)
	switch {
	case gone != nil:
		w.away[id] = *gone
	case arriving != nil:
		w.arriving[id] = arriving
	case here:
		w.here[id] = true
	}
}

// gone lists the houses that were let go, by id.
func (w *whereabouts) gone() (ids []string) {
	w.mu.RLock()
	defer w.mu.RUnlock()
	for id := range w.away {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids
}

// known are the cases that readings are taken for: those in force, and those on
// their way here.
type known struct {
	cases interface {
		Known(caseID string) bool
		Fitted(caseID, logger string) bool
	}
	where *whereabouts
}

func (k known) Known(id string) bool {
	_, arriving := k.where.arrivalOf(id)
	return arriving || k.cases.Known(id)
}

func (k known) Fitted(id, logger string) bool {
	if x, arriving := k.where.arrivalOf(id); arriving {
		_, ok := x.c.Logger(logger)
		return ok
	}
	return k.cases.Fitted(id, logger)
}

// elsewhere answers for houses that are not in force here: one that moved away,
// with where it is kept; one on its way here, with what is to be done.
func (a *App) elsewhere(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		id, api := a.houseAsked(r)
		gone, isGone := a.where.awayTo(id)
		coming, isComing := a.where.arrivalOf(id)
		switch rest := strings.TrimPrefix(r.URL.Path, "/api/cases/"+id); {
		case id == "" || !isGone && !isComing || api && (rest == "/move" || rest == "/house.zip"):
			next.ServeHTTP(w, r)
		case isGone && strings.HasPrefix(r.URL.Path, "/home/"):
			http.Redirect(w, r, gone.To+r.URL.RequestURI(), http.StatusTemporaryRedirect)
		case isGone && api:
			gate.Refuse(w, http.StatusGone, words.HouseAway(id, gone.To, gone.At))
		case isGone:
			a.notHere(w, r, http.StatusGone, words.HouseAway(gone.Label, gone.To, gone.At), gone.To+r.URL.RequestURI())
		case api:
			gate.Refuse(w, http.StatusConflict, words.HouseArriving(id, coming.From, coming.Since))
		default:
			a.notHere(w, r, http.StatusConflict, words.HouseArriving(nameOf(coming.c), coming.From, coming.Since), "")
		}
	})
}

// houseAsked is the house that a request is about, "" for none, and whether a
// program asks.
func (a *App) houseAsked(r *http.Request) (id string, api bool) {
	rest, api := strings.CutPrefix(r.URL.Path, "/api")
	if token, ok := strings.CutPrefix(rest, "/home/"); ok && !api {
		if stop, ok := strings.CutPrefix(token, "stop/"); ok {
			id, _, _ = strings.Cut(stop, "/")
			return id, false
		}
		token, _, _ = strings.Cut(token, "/")
		return a.bell.HouseOf(r.Context(), token), false
	}
	if rest, ok := strings.CutPrefix(rest, "/cases/"); ok {
		id, _, _ = strings.Cut(rest, "/")
	}
	return id, api
}

// movedAway are the houses that were let go, for the pages.
func (a *App) movedAway() (out []web.Moved) {
	for _, id := range a.where.gone() {
		if x, ok := a.where.awayTo(id); ok {
			out = append(out, web.Moved{ID: id, Label: x.Label, To: x.To + "/cases/" + id,
				On: words.Date(x.At, time.UTC)})
		}
	}
	return out
}
