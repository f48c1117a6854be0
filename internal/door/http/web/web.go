// Package web serves the consultant's pages: the list of houses; each case
// with its winter sheet, margin chart and positions; the latest readings;
// rejected messages; and the forms for editing a case. Every page works
// without script. The script adds zoom, read-out and live updates.
package web

import (
	"bytes"
	"context"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/http/gate"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/houses"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
)

// Record answers from a case's readings.
type Record interface {
	// Span is the first and last reading of a fitted logger; ok is false before
	// the first.
	Span(ctx context.Context, id string) (from, until time.Time, ok bool, err error)
	// Timeline lays the record out in steps over [from, until); step 0 at its
	// reading times.
	Timeline(ctx context.Context, id string, from, until time.Time, step time.Duration) (timeline.View, error)
	// Curves are the columns of a chart over [from, until), in steps of stepMS, or
	// the readings where it is 0.
	Curves(ctx context.Context, id string, keys []curves.Key, from, until time.Time, stepMS int64,
		changes ...curves.Change) (curves.View, error)
	// Answer is the whole assessment with what stands behind it, from a cache
	// where nothing changed.
	Answer(ctx context.Context, id string) (assessment.Answer, error)
	// AnswerSoon is the last answer at hand. Where there is none, one is begun
	// and waited for until the context ends; ok is false where that was too
	// short.
	AnswerSoon(ctx context.Context, id string) (a assessment.Answer, ok bool)
	// Ahead is what works would do, and how what was predicted of those done has
	// fared; making it takes about a second a surface, once a day.
	Ahead(ctx context.Context, id string) (*assessment.Foresight, error)
	// AheadSoon is the same where it is at hand; where not, one is begun.
	AheadSoon(id string) (f *assessment.Foresight, ok bool)
	// Latest is the last reading of every logger heard in the case.
	Latest(ctx context.Context, id string) ([]Latest, error)
}

// Latest is the last reading of one logger, calibrated.
type Latest struct {
	Logger     string
	Position   string // where it is fitted now; "" nowhere
	Place      roof.Place
	First, At  time.Time
	TempC      *float64
	RHPct      *float64
	DewPointC  *float64
	BatteryPct *float64
	Flags      []string      // in lower-case words
	Usual      time.Duration // its usual interval; 0 unknown
}

// Rejects is the log of what could not be used.
type Rejects interface {
	// Rejects lists the newest first, at most limit, of one case ("" for all),
	// older than the id before (0 for the newest).
	Rejects(ctx context.Context, caseID string, limit int, before int64) ([]roof.KeptReject, error)
	// RejectCounts is how many came for each reason since the log began.
	RejectCounts(ctx context.Context) (map[roof.Reason]int64, error)
	// Heard lists cases and loggers that spoke and are not known.
	Heard(ctx context.Context) ([]roof.HeardName, error)
}

// LogIn lets people in where credentials are demanded.
type LogIn interface {
	Demanded() bool
	LogIn(r *http.Request, password string) (ok, tired bool)
	// SetUp reports whether the password is still to be set, with a code.
	SetUp() bool
	SetPassword(r *http.Request, code, password string) (ok, tired bool, err error)
	LogOut(r *http.Request) error
}

// Options are what the pages stand on.
type Options struct {
	Cases   casebook.Cases
	Record  Record
	Houses  HouseList // nil: the list is made when it is asked for
	Rejects Rejects
	LogIn   LogIn                            // nil: nobody is asked
	Who     func(ctx context.Context) string // who asks, for the history of a case file
	Bundle  fs.FS                            // main.js and main.css, as bundled; may be empty
	Version string
	Now     func() time.Time
	Log     *slog.Logger
	Away    func() []Moved // houses that other instances keep now; nil: none
	// Pooled counts over all instances; nil: this one is alone.
	Pooled  func(ctx context.Context) (houses.Pooled, error)
	Reports bool // the report of each case is served beside the pages
	Demo    bool // says on every page that the data is invented
}

//go:embed templates/*.html
var templateFiles embed.FS

// Pages are the pages of one daemon.
type Pages struct {
	Options
	assets    assets
	templates map[string]*template.Template
	alerts    bool  // the alert pages are mounted, so that links lead there
	filesHere bool  // the pages of imported files are mounted
	inbox     Inbox // nil: what was not understood is listed and no more
}

// New prepares the pages; an error means that a template or an asset is broken.
func New(opt Options) (*Pages, error) {
	p := &Pages{Options: opt, templates: map[string]*template.Template{}}
	if p.Now == nil {
		return nil, errors.New("building the pages: no clock was given")
	}
	if p.Log == nil {
		p.Log = slog.New(slog.DiscardHandler)
	}
	var err error
	if p.assets, err = loadAssets(opt.Bundle); err != nil {
		return nil, err
	}
	names, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		return nil, fmt.Errorf("listing the page templates: %w", err)
	}
	for _, file := range names {
		name := file[len("templates/") : len(file)-len(".html")]
		if name == "base" || strings.HasPrefix(name, "parts") {
			continue
		}
		t, err := template.New("base.html").Funcs(p.funcs()).ParseFS(templateFiles, "templates/base.html",
			"templates/parts*.html", file)
		if err != nil {
			return nil, fmt.Errorf("reading the page template %s: %w", name, err)
		}
		p.templates[name] = t
	}
	return p, nil
}

// Mount puts the pages' routes on a router.
func (p *Pages) Mount(r chi.Router) {
	r.Get("/assets/{name}", p.asset)
	r.Get("/favicon.svg", p.favicon)
	r.Get("/favicon.ico", p.favicon)
	r.Group(func(r chi.Router) {
		r.Use(gate.Compress("text/html", "text/csv", "application/json"))
		r.Get("/", p.houses)
		r.Get("/all", p.all)
		r.Get("/messages", p.messages)
		r.Get("/predictions", p.fared)
		r.Get("/about", p.about)
		r.Get("/about/{topic}", p.about)
		r.Get("/login", p.loginForm)
		r.Post("/login", p.logIn)
		r.Post("/logout", p.logOut)
		r.Get("/new", p.newCase)
		r.Post("/new", p.createCase)
		r.Get("/new/review", p.guided) // a reload of the review begins again
		r.Post("/new/review", p.fromGuided)
		r.Route("/cases/{case}", func(r chi.Router) {
			r.Get("/", p.answerPage)
			r.Get("/chart", p.chartPage)
			r.Get("/margin", p.margin)
			r.Get("/chart/data", p.chartData)
			r.Get("/compare", p.compare)
			r.Post("/chart/remark", p.remark)
			r.Get("/chart.csv", p.chartCSV)
			r.Get("/nights.csv", p.nightsCSV)
			r.Get("/positions", p.positions)
			r.Get("/file", p.caseFile)
			r.Post("/file", p.saveCaseFile)
			r.Get("/file/history/{version}", p.version)
			r.Post("/help/plan", p.keepPlan)
			p.caseRoutes(r)
		})
	})
}

// page is what every page needs.
type page struct {
	Title string
	Case  *head  // nil outside a case
	Tab   string // of the case's navigation
	Body  any
	Nav   []destination // of the case

	Version string
	Now     time.Time
	Zone    *time.Location
	Assets  assets
	Demo    bool
	LoggedIn,
	Demanded bool
	Here string
}

// render writes a page whole or not at all.
func (p *Pages) render(w http.ResponseWriter, r *http.Request, status int, name string, pg page) {
	pg.Version, pg.Now, pg.Assets, pg.Demo = p.Version, p.Now(), p.assets, p.Demo
	pg.Here = r.URL.RequestURI()
	if pg.Zone == nil {
		pg.Zone = time.UTC
		if pg.Case != nil {
			pg.Zone = pg.Case.Zone
		}
	}
	if pg.Case != nil {
		pg.Nav = p.destinations(pg.Case, pg.Tab)
	}
	if p.LogIn != nil {
		pg.Demanded = p.LogIn.Demanded()
	}
	p.renderPart(w, status, name, "base.html", pg)
}

// renderPart writes one part of a page's template.
func (p *Pages) renderPart(w http.ResponseWriter, status int, name, part string, pg page) {
	t, ok := p.templates[name]
	if !ok {
		p.Log.Error("a page has no template", "page", name)
		http.Error(w, "this page is missing from the program", http.StatusInternalServerError)
		return
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, part, pg); err != nil {
		p.Log.Error("a page could not be written", "page", name, "error", err)
		http.Error(w, "this page could not be written; the log says why", http.StatusInternalServerError)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-cache")
	w.WriteHeader(status)
	if _, err := b.WriteTo(w); err != nil {
		p.Log.Debug("a page was not read to its end", "page", name, "error", err)
	}
}

// Top is the head of the pages of a house, for one that is made elsewhere.
func (p *Pages) Top(r *http.Request, caseID, tab string) (template.HTML, error) {
	h, err := p.head(r.Context(), caseID)
	if err != nil {
		return "", err
	}
	pg := page{Case: h, Tab: tab, Demo: p.Demo, Nav: p.destinations(h, tab)}
	if p.LogIn != nil {
		pg.Demanded = p.LogIn.Demanded()
	}
	var b strings.Builder
	if err := p.templates["error"].ExecuteTemplate(&b, "top", pg); err != nil {
		return "", fmt.Errorf("writing the head of house %s: %w", caseID, err)
	}
	return template.HTML(b.String()), nil //nolint:gosec // the template escapes every word
}

// errorBody is what an error page says.
type errorBody struct {
	Status int
	What   string
	Do     string
}

// errorBodies are the words of the error pages; what is not here is the daemon's
// fault and goes to the log.
var errorBodies = map[roof.Problem]errorBody{
	roof.NotFound: {What: "There is no such house here.",
		Do: "It may have been renamed: look for it in the list of houses."},
	roof.Request: {What: "The stretch asked for is too long for its step.", Do: "Take a shorter stretch."},
	roof.Busy:    {What: "The page took too long to make.", Do: "The daemon is busy; try again in a minute."},
}

// daemonsFault is said of everything else.
var daemonsFault = errorBody{What: "The page could not be made.",
	Do: "The daemon's log says why. Try again; if it stays, run the check command on the data folder."}

// fail answers with an error page that says what was wrong and what to do.
func (p *Pages) fail(w http.ResponseWriter, r *http.Request, err error) {
	problem := roof.ProblemOf(err)
	b, known := errorBodies[problem]
	switch {
	case errors.Is(err, context.Canceled):
		return
	case !known:
		b, problem = daemonsFault, roof.Internal
		p.Log.Error("a page failed", "path", r.URL.Path, "error", err)
	}
	b.Status = problem.HTTPStatus()
	p.render(w, r, b.Status, "error", page{Title: http.StatusText(b.Status), Body: b})
}

// Elsewhere answers for a house that is not kept here; link leads to where it is,
// "" where nothing does.
func (p *Pages) Elsewhere(w http.ResponseWriter, r *http.Request, status int, what, link string) {
	p.render(w, r, status, "moved", page{Title: http.StatusText(status), Body: struct{ What, Link string }{what, link}})
}

// Style is the path of the pages' style sheet, "" where it was not built.
func (p *Pages) Style() string { return p.assets.Style }

// Fail answers with the page that an error has.
func (p *Pages) Fail(w http.ResponseWriter, r *http.Request, err error) { p.fail(w, r, err) }

// NotFound answers a path that no page has.
func (p *Pages) NotFound(w http.ResponseWriter, r *http.Request) {
	p.render(w, r, http.StatusNotFound, "error",
		page{Title: "Not found", Body: errorBody{http.StatusNotFound, "There is no such page.",
			"Start from the list of houses."}})
}
