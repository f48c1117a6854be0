package web

import (
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/flow/mappings"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

// mappingsBody is the page of a house's own mappings.
type mappingsBody struct {
	Version mappings.Version
	Topics  []string // of each mapping in force
	Before  []mappings.Version
	Faults  []string
	Saved   bool
}

func (p *Pages) mappings(w http.ResponseWriter, r *http.Request) {
	p.showMappings(w, r, http.StatusOK, mappingsBody{Saved: r.URL.Query().Get("saved") != ""})
}

func (p *Pages) showMappings(w http.ResponseWriter, r *http.Request, status int, b mappingsBody) {
	h, err := p.head(r.Context(), chi.URLParam(r, "case"))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	v := p.inbox.Mappings(h.ID)
	all, _ := payload.ReadMappings("", []byte(v.Text))
	for _, m := range all {
		b.Topics = append(b.Topics, m.Topic)
	}
	if len(b.Faults) == 0 {
		b.Version = v
	}
	b.Version.Number = v.Number
	if b.Before, err = p.inbox.MappingsBefore(r.Context(), h.ID); err != nil {
		p.fail(w, r, err)
		return
	}
	p.render(w, r, status, "mappings", page{Title: "Mappings, " + h.Label, Case: h, Tab: "positions", Body: b})
}

// saveMappings takes one mapping of a house away, or all of them as they were
// written by hand.
func (p *Pages) saveMappings(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "case")
	r.Body = http.MaxBytesReader(w, r.Body, 1<<20)
	if _, err := p.Cases.Case(r.Context(), id); err != nil {
		p.fail(w, r, err)
		return
	}
	before, _ := strconv.Atoi(r.PostFormValue("version"))
	v := mappings.Version{Case: id, By: p.who(r), What: "written by hand",
		Text: strings.ReplaceAll(r.PostFormValue("text"), "\r\n", "\n")}
	if gone := r.PostFormValue("remove"); gone != "" {
		now := p.inbox.Mappings(id)
		all, _ := payload.ReadMappings("", []byte(now.Text))
		i, err := strconv.Atoi(gone)
		if err != nil || i < 0 || i >= len(all) {
			p.fail(w, r, roof.ErrNotFound)
			return
		}
		v.What = all[i].Topic + " is read no more"
		v.Text = payload.WriteMappings(append(all[:i:i], all[i+1:]...))
	}
	err := p.inbox.PutMappings(r.Context(), v, before)
	var faults roof.Faults
	switch {
	case errors.As(err, &faults):
		p.showMappings(w, r, http.StatusUnprocessableEntity, mappingsBody{Version: v, Faults: faults.Lines(20)})
	case errors.Is(err, roof.ErrChanged):
		p.showMappings(w, r, http.StatusConflict, mappingsBody{Version: v,
			Faults: []string{"Somebody else changed these mappings in the meantime. Save again to put yours in their place."}})
	case err != nil:
		p.fail(w, r, err)
	default:
		http.Redirect(w, r, "/cases/"+id+"/mappings?saved=1", http.StatusSeeOther)
	}
}
