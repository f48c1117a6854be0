package web

import (
	"context"
	"errors"
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
)

// editorBody is the form in which a case file is written.
type editorBody struct {
	File    string
	ETag    string
	Faults  roof.Faults
	Changed bool // someone else saved in the meantime
	Saved   bool
	New     bool
	Review  bool // written from the short form, not kept yet
	History historyList
	// Kits and Cautions advise on loggers, where the file was written from answers.
	Kits     []assessment.Kit
	Cautions []caution.Caution
}

// template of a new case: every key with what it means.
const caseTemplate = `case: new-house                   # a-z, 0-9 and -; also the segment of the MQTT topic
property:
  label: "House and street"
  timezone: Europe/London         # IANA zone; nights run noon to noon here
  # altitude_m: 60
  # completed: 2026-03-01         # when the roof was handed over
roof:                             # leave out what is not known: it is then said, never assumed
  # pitch_deg: 32
  # span_m: 8.5
  # covering: {material: fibre-cement slate, air: closed}     # air: open | closed | unknown
  # underlay: {class: LR, air_permeable: no, drape_mm: 15}    # class: HR | LR | none | unknown
  # battens: single               # single | counter | unknown
  # openings_mm: {loft_eaves: 10, loft_ridge: 0, void_eaves: 0, void_ridge: 0}   # 0 = none
  # ceiling: {sealed: unknown, downlights: 6, vapour_control_layer: no}
  # insulation: ceiling           # ceiling | rafter | none | unknown
positions:                        # where loggers are fitted
  - {id: landing, place: indoor_air}
  - {id: loft,    place: loft_air}
  - {id: void,    place: batten_void_air}
  - {id: slate,   place: covering_underside, meets: void}     # the air that meets this surface
  - {id: outside, place: outdoor_air}
loggers:
  - id: logger-1                  # also the last segment of the MQTT topic
    # interval_s: 300
    # accuracy: {temp_c: 0.3, rh_pct: 2.0}   # maker's +/- limits; without them no interval can be given
    # station: {distance_km: 12, height_difference_m: 80}   # an imported weather station that stands in outdoors
    fitted:
      - {position: loft, from: 2026-10-01T12:00:00Z}
# excluded:                        # stretches that count as no data, each with its reason
#   - {from: 2027-01-12T08:00:00Z, to: 2027-01-13T08:00:00Z, position: void, reason: "logger on the bench"}
# views: [{name: "The void in January", chart: "show=void.rh&from=2027-01-01T00:00:00Z&to=2027-02-01T00:00:00Z"}]
# planned: {work: loft_vented, loft_eaves: 25, loft_ridge: 5}   # of What would help: void_eaves, void_ridge, house_left_pct
# A repair says what is there since: opened_mm with the keys of openings_mm, battens, counter_batten_mm, sealed;
# kept_in_place lists positions whose loggers sit exactly where they sat before the covering was lifted.
events: []                        # e.g. {at: 2026-12-20T12:00:00Z, kind: repair, what: "eaves vents cut through", treats: [loft, slate], opened_mm: {loft_eaves: 25}}
                                  # or {at: 2027-01-09T10:00:00Z, kind: inspection, what: "boards at the chimney", after_rain: yes, wet: no}
`

func (p *Pages) newCase(w http.ResponseWriter, r *http.Request) {
	if r.URL.Query().Get("empty") == "" {
		p.guided(w, r)
		return
	}
	p.render(w, r, http.StatusOK, "editor", page{Title: "New house", Body: editorBody{File: caseTemplate, New: true}})
}

func (p *Pages) createCase(w http.ResponseWriter, r *http.Request) {
	file, ok := p.posted(w, r)
	if !ok {
		return
	}
	id, err := p.Cases.Create(r.Context(), []byte(file), p.who(r))
	if err != nil {
		b, status := editorBody{File: file, New: true}, http.StatusUnprocessableEntity
		if errors.Is(err, roof.ErrTaken) {
			status = http.StatusConflict
			b.Faults = roof.Faults{{File: "case file", Line: 1, Key: "case", Problem: "there is a house of this name already",
				Remedy: "take another name, or edit that one"}}
		} else if !errors.As(err, &b.Faults) {
			p.fail(w, r, err)
			return
		}
		p.render(w, r, status, "editor", page{Title: "New house", Body: b})
		return
	}
	http.Redirect(w, r, "/cases/"+id+"/file?saved=1", http.StatusSeeOther)
}

func (p *Pages) caseFile(w http.ResponseWriter, r *http.Request) {
	h, file, etag, err := p.kept(r.Context(), chi.URLParam(r, "case"))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	b := editorBody{File: string(file), ETag: etag, Saved: r.URL.Query().Get("saved") != ""}
	if b.History, err = p.versions(r, h.ID); err != nil {
		p.fail(w, r, err)
		return
	}
	p.render(w, r, http.StatusOK, "editor", page{Title: "Case file, " + h.Label, Case: h, Tab: "file", Body: b})
}

func (p *Pages) kept(ctx context.Context, id string) (*head, []byte, string, error) {
	h, err := p.head(ctx, id)
	if err != nil {
		return nil, nil, "", err
	}
	file, etag, err := p.Cases.File(ctx, id)
	return h, file, etag, err
}

func (p *Pages) saveCaseFile(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "case")
	file, ok := p.posted(w, r)
	if !ok {
		return
	}
	h, _, etag, err := p.kept(r.Context(), id)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	b := editorBody{File: file, ETag: r.PostFormValue("etag")}
	_, _, err = p.Cases.Put(r.Context(), id, []byte(file), casebook.If{Match: b.ETag}, p.who(r))
	status := http.StatusUnprocessableEntity
	switch {
	case err == nil:
		http.Redirect(w, r, "/cases/"+id+"/file?saved=1", http.StatusSeeOther)
		return
	case errors.Is(err, roof.ErrChanged):
		// What was written is kept in the form; saving again takes precedence.
		status, b.Changed, b.ETag = http.StatusConflict, true, etag
	case !errors.As(err, &b.Faults):
		p.fail(w, r, err)
		return
	}
	p.render(w, r, status, "editor", page{Title: "Case file, " + h.Label, Case: h, Tab: "file", Body: b})
}

// posted reads the form's file; a browser sends CRLF.
func (p *Pages) posted(w http.ResponseWriter, r *http.Request) (string, bool) {
	r.Body = http.MaxBytesReader(w, r.Body, 4*roof.MaxCaseFileBytes)
	if err := r.ParseForm(); err != nil {
		p.render(w, r, http.StatusRequestEntityTooLarge, "error",
			page{Title: "Too large", Body: errorBody{http.StatusRequestEntityTooLarge, "The case file is too large.",
				"At most 1 MiB is kept."}})
		return "", false
	}
	file := strings.ReplaceAll(r.PostFormValue("file"), "\r\n", "\n")
	if len(file) > roof.MaxCaseFileBytes {
		p.render(w, r, http.StatusRequestEntityTooLarge, "error",
			page{Title: "Too large", Body: errorBody{http.StatusRequestEntityTooLarge, "The case file is too large.",
				"At most 1 MiB is kept."}})
		return "", false
	}
	return file, true
}

func (p *Pages) who(r *http.Request) string {
	if p.Who != nil {
		if who := p.Who(r.Context()); who != "" {
			return who
		}
	}
	return "web page"
}
