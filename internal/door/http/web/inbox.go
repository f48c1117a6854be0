package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/flow/announced"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/mappings"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Inbox takes in, by buttons, what was not understood at first.
type Inbox interface {
	// Kept says which kept messages could be taken now, by case.
	Kept(ctx context.Context) (map[string]Waiting, error)
	// TakeKept stores them, in their own time, and strikes them off the log.
	TakeKept(ctx context.Context, caseID string) (Stored, error)
	// FirstHeard is when a logger's first reading was measured.
	FirstHeard(ctx context.Context, caseID, logger string) (time.Time, error)
	// Fit fits loggers to positions in the case file; a faulty placing is
	// roof.Faults.
	Fit(ctx context.Context, caseID string, placings []casefile.Placing, by string) error
	// Unread lists kept messages that nothing reads, the newest last, at most some
	// thousand.
	Unread(ctx context.Context) ([]payload.Message, error)
	// Read puts mappings in force, without a restart, fits their loggers and takes
	// the kept messages. What is wrong with them is roof.Faults.
	Read(ctx context.Context, r Reading) (Stored, error)
	// Mappings is the version in force of a house's own mappings; MappingsBefore
	// lists all, the newest first; PutMappings follows the version with a number.
	Mappings(caseID string) mappings.Version
	MappingsBefore(ctx context.Context, caseID string) ([]mappings.Version, error)
	PutMappings(ctx context.Context, v mappings.Version, before int) error
	// Offers lists loggers that sensors announced, and what cannot be read of them.
	Offers() (offers []announced.Offer, cannot []string)
	// NotRead lists values that came and look like a quantity and that nothing takes,
	// and mappings that an earlier one shadows.
	NotRead() ([]payload.Untaken, []payload.Shadow)
	// Discovery says what is exchanged with home automation, and Switch changes it.
	Discovery() Discovery
	Switch(ctx context.Context, to Discovery) error
}

// Waiting is what kept messages would become now.
type Waiting struct {
	Messages, Readings int
	Loggers            []string
	From, Until        time.Time
}

// Stored is what became of readings that were taken.
type Stored struct{ Stored, Merged, Duplicates, Conflicts int }

// MountInbox puts the actions of the pages "Not understood" and "Loggers now" on a
// router.
func (p *Pages) MountInbox(r chi.Router, in Inbox) {
	p.inbox = in
	r.Post("/messages/kept", p.takeKept)
	r.Post("/messages/fit", p.fitHere)
	r.Post("/messages/discovery", p.switchDiscovery)
	r.Get("/messages/read", p.read)
	r.Post("/messages/read", p.takeRead)
	r.Get("/cases/{case}/mappings", p.mappings)
	r.Post("/cases/{case}/mappings", p.saveMappings)
}

// spot is one place at which a logger can be fitted: a position of the house, or a
// place that has none yet.
type spot struct {
	Value, Words string
}

// newSpot begins the value of a place that has no position yet.
const newSpot = "new:"

// spots lists where a logger of a house can be fitted, in the order of the roof.
func spots(c *roof.Case) (out []spot) {
	for _, p := range c.Positions {
		out = append(out, spot{p.ID, words.Position(p)})
	}
	for _, g := range guidedPlaces {
		if len(c.At(g.Place)) == 0 {
			out = append(out, spot{newSpot + g.ID, "new position: " + g.Words})
		}
	}
	return out
}

// placing is where a spot's value has a logger fitted; ok is false for no spot of
// the house.
func placing(c *roof.Case, logger, value string, from time.Time) (pl casefile.Placing, ok bool) {
	pl = casefile.Placing{Logger: logger, Position: value, From: from}
	id, fresh := strings.CutPrefix(value, newSpot)
	if !fresh {
		_, ok = c.Position(value)
		return pl, ok
	}
	for _, g := range guidedPlaces {
		if g.ID != id {
			continue
		}
		pl.Position, pl.Place = freeID(c, g.ID), g.Place
		if g.Meets != "" {
			for _, air := range c.Positions {
				if air.Place == airOf[g.Place] {
					pl.Meets = air.ID
					break
				}
			}
		}
		return pl, true
	}
	return pl, false
}

// airOf is the air that meets a surface of the short form.
var airOf = map[roof.Place]roof.Place{roof.UnderlayUnderside: roof.LoftAir, roof.CoveringUnderside: roof.BattenVoidAir}

// freeID is an id that no position of the case has.
func freeID(c *roof.Case, id string) string {
	for n, base := 2, id; ; n++ {
		if _, taken := c.Position(id); !taken {
			return id
		}
		id = fmt.Sprintf("%s-%d", base, n)
	}
}

func (p *Pages) takeKept(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
	id := r.PostFormValue("case")
	s, err := p.inbox.TakeKept(r.Context(), id)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	q := url.Values{"took": {id}, "stored": {fmt.Sprint(s.Stored + s.Merged)}, "there": {fmt.Sprint(s.Duplicates)},
		"aside": {fmt.Sprint(s.Conflicts)}}
	http.Redirect(w, r, backTo(r, id)+"?"+q.Encode(), http.StatusSeeOther)
}

// backTo is the page that a form was sent from.
func backTo(r *http.Request, caseID string) string {
	if r.PostFormValue("back") == "positions" && roof.ValidCaseID(caseID) {
		return "/cases/" + caseID + "/positions"
	}
	return "/messages"
}

// fitHere fits one logger where somebody stands.
func (p *Pages) fitHere(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
	id, logger := r.PostFormValue("case"), r.PostFormValue("logger")
	c, err := p.Cases.Case(ctx, id)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	from := p.Now()
	if r.PostFormValue("since") == "first" {
		if first, err := p.inbox.FirstHeard(ctx, id, logger); err == nil {
			from = first
		} else if !errors.Is(err, roof.ErrNotFound) {
			p.fail(w, r, err)
			return
		}
	}
	pl, ok := placing(c, logger, r.PostFormValue("place"), from)
	back := backTo(r, id)
	if !ok {
		http.Redirect(w, r, back+"?"+url.Values{"unplaced": {logger}}.Encode(), http.StatusSeeOther)
		return
	}
	var faults roof.Faults
	switch err := p.inbox.Fit(ctx, id, []casefile.Placing{pl}, p.who(r)); {
	case errors.As(err, &faults):
		p.render(w, r, http.StatusUnprocessableEntity, "error", page{Title: "Not fitted", Body: errorBody{
			http.StatusUnprocessableEntity, "The logger could not be fitted there.", strings.Join(faults.Lines(3), " ")}})
		return
	case err != nil:
		p.fail(w, r, err)
		return
	}
	http.Redirect(w, r, back+"?"+url.Values{"fitted": {logger}, "at": {pl.Position}, "case": {id}}.Encode(),
		http.StatusSeeOther)
}

// news says, after a form, what it has done; from the address alone, so that it is
// shown as text and nothing rests on it.
func news(q url.Values) (done, fault string) {
	switch {
	case q.Get("fitted") != "":
		return fmt.Sprintf("Logger %s is fitted at %s.", clip(q.Get("fitted")), clip(q.Get("at"))), ""
	case q.Get("took") != "":
		if q.Get("read") != "" {
			done = "Messages of " + q.Get("read")[:min(len(q.Get("read")), 200)] + " are read from now on. "
		}
		done += fmt.Sprintf("Of the kept messages for %s: %s stored", clip(q.Get("took")), words.Count(number(q, "stored"),
			"reading"))
		if n := number(q, "there"); n > 0 {
			done += fmt.Sprintf(", %d there already", n)
		}
		if n := number(q, "aside"); n > 0 {
			done += fmt.Sprintf(", %d kept aside because another value came first", n)
		}
		return done + ".", ""
	case q.Get("switched") != "":
		return "The exchange with home automation is as you set it.", ""
	case q.Get("unplaced") != "":
		return "", fmt.Sprintf("Choose where logger %s hangs.", clip(q.Get("unplaced")))
	}
	return "", ""
}

func clip(s string) string { return s[:min(len(s), 64)] }

func number(q url.Values, key string) (n int) {
	_, _ = fmt.Sscan(q.Get(key), &n)
	return max(n, 0)
}

// unfitted is one logger that is heard in a house and fitted nowhere.
type unfitted struct {
	Latest
	Case, Label string
	Zone        *time.Location
	Spots       []spot
	Back        string
}

// unfittedOf lists those of one house.
func unfittedOf(c *roof.Case, latest []Latest, back string) (out []unfitted) {
	label := c.Property.Label
	if label == "" {
		label = c.ID
	}
	for _, l := range latest {
		if _, ok := c.Position(l.Position); !ok {
			out = append(out, unfitted{l, c.ID, label, c.Property.Zone, spots(c), back})
		}
	}
	return out
}

// waitingRow is what kept messages would become of one house.
type waitingRow struct {
	Waiting
	Case, Label string
	Zone        *time.Location
	Back        string
}

// waiting lists what kept messages would become, of one house or of all ("").
func (p *Pages) waiting(ctx context.Context, caseID, back string) (out []waitingRow, err error) {
	if p.inbox == nil {
		return nil, nil
	}
	kept, err := p.inbox.Kept(ctx)
	if err != nil {
		return nil, err
	}
	for _, c := range p.Cases.All() {
		if k, ok := kept[c.ID]; ok && (caseID == "" || caseID == c.ID) {
			label := c.Property.Label
			if label == "" {
				label = c.ID
			}
			out = append(out, waitingRow{k, c.ID, label, c.Property.Zone, back})
		}
	}
	slices.SortStableFunc(out, func(a, b waitingRow) int { return b.Messages - a.Messages })
	return out, nil
}
