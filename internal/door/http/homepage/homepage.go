// Package homepage serves the householder's page of one house: one sentence,
// what to do tonight, the last fortnight, what the repair did, and the alerts.
// The page lies behind a link that cannot be guessed and can be withdrawn.
package homepage

import (
	"bytes"
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Home is what the page says.
type Home struct {
	Label   string
	Said    words.Home
	Alerts  []Alert
	Adviser roof.Person // whom to call
	Indoors bool        // a logger stands in a room
	Demo    bool
}

// Alert is one alert as the household reads it.
type Alert struct {
	IDs []string // of all that it sums up
	words.Saying
	Since time.Time
	ByDay bool // of Since the day says enough
	Seen  Seen
}

// Seen says who has said that they know of an alert.
type Seen int

// Who has seen it.
const (
	NotSeen Seen = iota
	SeenByExpert
	SeenHere
)

// Here reports that somebody of the household has seen it.
func (s Seen) Here() bool { return s == SeenHere }

// ByExpert reports that the consultant has.
func (s Seen) ByExpert() bool { return s == SeenByExpert }

// Desk answers for the page; an unknown token or link wraps roof.ErrNotFound.
type Desk interface {
	Home(ctx context.Context, token string) (Home, error)
	Seen(ctx context.Context, token, alertID string) error
	// Stop says whose mails a link stops, and stops them where asked.
	Stop(ctx context.Context, caseID, code string, stop bool) (address string, stopped bool, err error)
}

//go:embed templates/*.html static/*
var files embed.FS

// Pages are the householder's pages.
type Pages struct {
	desk      Desk
	log       *slog.Logger
	templates *template.Template
}

// policy is the gate's, but for one named maker of trusted addresses: the script
// registers the worker that keeps the last state at hand.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"manifest-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; " +
	"require-trusted-types-for 'script'; trusted-types home"

// New prepares the pages.
func New(desk Desk, log *slog.Logger) (*Pages, error) {
	t, err := template.New("").Funcs(template.FuncMap{"strip": strip, "local": local,
		"dialled": dialled}).ParseFS(files, "templates/*.html")
	if err != nil {
		return nil, fmt.Errorf("reading the householder's templates: %w", err)
	}
	return &Pages{desk, log, t}, nil
}

// Mount puts the pages' routes on a router.
func (p *Pages) Mount(r chi.Router) {
	r.Get("/home/-/{name}", p.static)
	r.Get("/home/stop/{case}/{code}", p.stop)
	r.Post("/home/stop/{case}/{code}", p.stop)
	r.Get("/home/{token}", p.page)
	r.Post("/home/{token}/seen", p.seen)
	r.Get("/home/{token}/app.webmanifest", p.manifest)
	r.Get("/home/{token}/worker.js", p.worker)
}

func (p *Pages) page(w http.ResponseWriter, r *http.Request) {
	h, err := p.desk.Home(r.Context(), chi.URLParam(r, "token"))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	p.write(w, http.StatusOK, "home.html", map[string]any{"Home": h, "Token": chi.URLParam(r, "token")})
}

func (p *Pages) seen(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
	token := chi.URLParam(r, "token")
	_ = r.ParseForm() // what cannot be read names no alert
	ids := r.PostForm["alert"]
	for _, id := range ids[:min(len(ids), 20)] {
		err := p.desk.Seen(r.Context(), token, id)
		if err != nil && !errors.Is(err, alert.ErrNoAlert) { // already over: nothing to say
			p.fail(w, r, err)
			return
		}
	}
	http.Redirect(w, r, "/home/"+token, http.StatusSeeOther)
}

func (p *Pages) stop(w http.ResponseWriter, r *http.Request) {
	address, stopped, err := p.desk.Stop(r.Context(), chi.URLParam(r, "case"), chi.URLParam(r, "code"),
		r.Method == http.MethodPost)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	p.write(w, http.StatusOK, "stop.html", map[string]any{"Address": address, "Stopped": stopped})
}

func (p *Pages) fail(w http.ResponseWriter, r *http.Request, err error) {
	problem := roof.ProblemOf(err)
	if problem == roof.Internal {
		p.log.Error("the householder's page failed", "error", err)
	}
	var body map[string]any
	if problem != roof.NotFound {
		body = map[string]any{"Fault": true}
	}
	p.write(w, problem.HTTPStatus(), "gone.html", body)
}

func (p *Pages) write(w http.ResponseWriter, status int, name string, data any) {
	var b bytes.Buffer
	if err := p.templates.ExecuteTemplate(&b, name, data); err != nil {
		p.log.Error("the householder's page could not be written", "page", name, "error", err)
		http.Error(w, "this page could not be written", http.StatusInternalServerError)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Security-Policy", policy)
	h.Set("Cache-Control", "no-store") // the worker keeps the last state, on purpose and alone
	h.Set("X-Robots-Tag", "noindex")
	w.WriteHeader(status)
	_, _ = b.WriteTo(w)
}

var kinds = map[string]string{"home.css": "text/css; charset=utf-8", "home.js": "text/javascript; charset=utf-8",
	"icon.svg": "image/svg+xml"}

func (p *Pages) static(w http.ResponseWriter, r *http.Request) {
	name := chi.URLParam(r, "name")
	kind, ok := kinds[name]
	body, err := files.ReadFile("static/" + name)
	if !ok || err != nil {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "public, max-age=3600")
	_, _ = w.Write(body)
}

// manifest makes the page installable; its start is the household's own link.
func (p *Pages) manifest(w http.ResponseWriter, r *http.Request) {
	token := chi.URLParam(r, "token")
	h, err := p.desk.Home(r.Context(), token)
	if err != nil {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/manifest+json")
	w.Header().Set("Cache-Control", "no-store")
	_ = json.NewEncoder(w).Encode(map[string]any{"name": "Roof of " + h.Label, "short_name": "Roof",
		"start_url": "/home/" + token, "scope": "/home/" + token, "display": "standalone",
		"background_color": "#fbfaf6", "theme_color": "#fbfaf6",
		"icons": []map[string]string{{"src": "/home/-/icon.svg", "sizes": "any", "type": "image/svg+xml", "purpose": "any"}}})
}

func (p *Pages) worker(w http.ResponseWriter, r *http.Request) {
	if _, err := p.desk.Home(r.Context(), chi.URLParam(r, "token")); err != nil {
		http.NotFound(w, r)
		return
	}
	body, err := files.ReadFile("static/worker.js")
	if err != nil {
		http.NotFound(w, r)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/javascript; charset=utf-8")
	h.Set("Service-Worker-Allowed", "/home/"+chi.URLParam(r, "token"))
	h.Set("Cache-Control", "no-cache")
	_, _ = w.Write(body)
}
