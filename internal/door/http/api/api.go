// Package api serves programs: cases, readings, the timeline, the assessment
// and alerts as JSON under /api. An OpenAPI 3.1 document describes the routes;
// errors are problem objects (RFC 9457).
package api

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"path"
	"reflect"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humachi"
	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/http/gate"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
)

// CaseRow is one house in the list.
type CaseRow struct {
	Case        string     `json:"case"`
	Label       string     `json:"label"`
	Timezone    string     `json:"timezone"`
	LastReading *time.Time `json:"last_reading" doc:"null before the first"`
}

// Readings takes readings in and gives them out again.
type Readings interface {
	// Import reads CSV; good rows are kept whatever the others are.
	Import(ctx context.Context, caseID string, csv io.Reader) (ingest.Report, error)
	// Export writes a case's readings as CSV, in [from, until); zero bounds are
	// open.
	Export(ctx context.Context, caseID string, from, until time.Time, w io.Writer) error
	Rejects(ctx context.Context, caseID string, limit int, before int64) ([]roof.KeptReject, error)
	Conflicts(ctx context.Context, caseID string, limit int) ([]roof.Conflicting, error)
	Heard(ctx context.Context) ([]roof.HeardName, error)
}

// Views answers questions about the record.
type Views interface {
	// List is the cases with their last readings.
	List(ctx context.Context) ([]CaseRow, error)
	// Timeline: step 0 lays the record out at its reading times; zero bounds
	// take the record's own.
	Timeline(ctx context.Context, caseID string, from, until time.Time, step time.Duration) (timeline.View, error)
	Assessment(ctx context.Context, caseID string) (assessment.Assessment, error)
	// State is other than it was, by ==, once anything has changed that a timeline
	// between given times rests on; nil where there is no such case.
	State(ctx context.Context, caseID string) any
}

// Alerts lists alerts and changes those in force; one that is not wraps
// roof.ErrNotFound.
type Alerts interface {
	AlertsOf(ctx context.Context, caseID string) ([]Alert, error)
	Acknowledge(ctx context.Context, caseID, alertID, by string) error
	Snooze(ctx context.Context, caseID, alertID, by string, until time.Time) error
}

// Live hands out readings as they are stored; cancel ends it.
type Live interface {
	Subscribe(caseID string) (events <-chan LiveReading, cancel func(), err error)
}

// LiveReading is one reading as it was stored, calibrated.
type LiveReading struct {
	Position  string    `json:"position"`
	Logger    string    `json:"logger"`
	At        time.Time `json:"at"`
	TempC     *float64  `json:"temp_c"`
	RHPct     *float64  `json:"rh_pct"`
	DewPointC *float64  `json:"dew_point_c"`
	Battery   *float64  `json:"battery_pct"`
	Flags     []string  `json:"flags"`
}

// Alert is one raised, acknowledged, snoozed or cleared condition.
type Alert struct {
	ID        string     `json:"id"`
	Condition string     `json:"condition"`
	Position  string     `json:"position"`
	State     string     `json:"state"`
	Since     time.Time  `json:"since"`
	Cleared   *time.Time `json:"cleared"`
	Text      string     `json:"text"`
	AckBy     string     `json:"acknowledged_by" doc:"who acknowledged or snoozed it, empty for nobody"`
	SnoozedTo *time.Time `json:"snoozed_until" doc:"null unless it is snoozed"`
	Evidence  string     `json:"evidence" doc:"link to the stretch of timeline it rests on"`
}

// Options are what the API stands on.
type Options struct {
	Cases      casebook.Cases
	Readings   Readings
	Views      Views
	Moves      Moves
	Houses     Houses
	Alerts     Alerts
	Live       Live
	Forecasts  Forecasts
	Messages   Messages
	Version    string
	MaxBody    int64         // bytes of a CSV body
	MaxMessage int64         // bytes of a pushed message
	Heartbeat  time.Duration // between two signs of life on a live stream
	Log        *slog.Logger
}

type server struct {
	Options
	api huma.API
}

// Mount puts the API's routes on a router.
func Mount(r chi.Router, opt Options) {
	s := &server{Options: opt}
	if s.Heartbeat == 0 {
		s.Heartbeat = 15 * time.Second
	}
	config := huma.DefaultConfig("dewcase", opt.Version)
	config.Info.Description = "Readings, margins to condensation, diagnosis and repair verification of one property a " +
		"case. Times are RFC 3339, spans [from, to)."
	config.OpenAPIPath, config.DocsPath, config.SchemasPath = "/api/openapi", "", ""
	config.CreateHooks = nil // no $schema links: they are built from the Host header
	config.Components.Schemas = huma.NewMapRegistry("#/components/schemas/", schemaName)
	config.Components.Schemas.RegisterTypeAlias(reflect.TypeFor[timeline.Column](), reflect.TypeFor[[]*float64]())
	config.Components.SecuritySchemes = map[string]*huma.SecurityScheme{"token": {Type: "http", Scheme: "bearer",
		Description: "the administrator's token; demanded where the daemon listens beyond this machine"}}
	r.Group(func(r chi.Router) {
		r.Use(gate.Remember(s.unchanging), gate.Compress("application/json", "application/problem+json", "application/yaml",
			"text/csv", "application/openapi+json"))
		// A slow upload or a slow reader of an export holds its own kind of seat. What
		// is kept for its tag is kept by who has a seat, so that silent readers fill no
		// memory.
		light := r.With(gate.Costly(64, 2*time.Second, 20*time.Second), tagged)
		seated := func(r chi.Router) chi.Router { return r.With(gate.Costly(4, 10*time.Second, 60*time.Second), tagged) }
		heavy := func() chi.Router { return seated(r) }
		s.api = humachi.New(light, config)
		s.cases()
		s.houses()
		s.history()
		s.listings()
		s.forecasts()
		s.alerts()
		s.views(heavy())
		s.uploads(seated(r.With(s.fits)))
		s.exports(heavy())
		s.moves(heavy())
		s.push(light)
	})
	s.live(r)
	r.Handle(elsewhere, nowhere(r))
}

// register adds an operation; the errors of its answer become problem objects.
func register[In, Out any](s *server, op huma.Operation, answer func(context.Context, *In) (*Out, error)) {
	huma.Register(s.api, op, func(ctx context.Context, in *In) (*Out, error) {
		out, err := answer(ctx, in)
		if err != nil {
			return nil, s.problem(ctx, err)
		}
		return out, nil
	})
}

// listed answers with a list, a row an entry.
func listed[T, Row any](list []T, err error, row func(T) Row) (*struct{ Body []Row }, error) {
	out := &struct{ Body []Row }{make([]Row, len(list))}
	for i, one := range list {
		out.Body[i] = row(one)
	}
	return out, err
}

// elsewhere is every path under /api that no route answers.
const elsewhere = "/api/*"

// nowhere tells a path that does not exist from one that is asked with another
// method.
func nowhere(routes chi.Routes) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		var allowed []string
		for _, method := range []string{http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodDelete} {
			asked := method
			if method == http.MethodHead {
				asked = http.MethodGet // the daemon answers HEAD as GET without a body
			}
			at := chi.NewRouteContext()
			if routes.Match(at, asked, r.URL.Path) && at.RoutePattern() != elsewhere {
				allowed = append(allowed, method)
			}
		}
		if len(allowed) == 0 {
			gate.Refuse(w, http.StatusNotFound, "there is no such route; /api/openapi.json lists them")
			return
		}
		w.Header().Set("Allow", strings.Join(allowed, ", "))
		gate.Refuse(w, http.StatusMethodNotAllowed, "this route takes "+strings.Join(allowed, ", "))
	}
}

// schemaName names the schema of a type by room and type, such as
// TimelineColumn: two rooms may have a type of one name, which the registry
// refuses. Types of this room keep their own name.
func schemaName(t reflect.Type, hint string) string {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	name := huma.DefaultSchemaNamer(t, hint)
	room := path.Base(t.PkgPath())
	if t.Name() == "" || !strings.HasPrefix(t.PkgPath(), "dewcase/") || room == "api" {
		return name
	}
	return strings.ToUpper(room[:1]) + room[1:] + name
}

// CaseID is the case named in a path.
type CaseID struct {
	Case string `path:"case" maxLength:"64" pattern:"^[a-z0-9-]+$" doc:"the case's id"`
}

// problemOf is what kind of problem an error is, HTTP's own among them.
func problemOf(err error) roof.Problem {
	var large *http.MaxBytesError
	if errors.As(err, &large) {
		return roof.OverLimit
	}
	return roof.ProblemOf(err)
}

// ErrRequest is wrapped by what the asker can put right.
var ErrRequest = roof.NewError(roof.Request, "the request cannot be answered")

// problem turns an error into a problem object; what is not the asker's to
// know stays in the log.
func (s *server) problem(ctx context.Context, err error) huma.StatusError {
	kind := problemOf(err)
	code, detail := kind.HTTPStatus(), err.Error()
	if kind == roof.Internal {
		s.Log.ErrorContext(ctx, "a request failed", "error", err)
		detail = "the daemon could not answer; its log says why"
	}
	var faults roof.Faults
	if errors.As(err, &faults) {
		details := make([]error, 0, len(faults))
		for i, f := range faults {
			if i == roof.FaultLines {
				break
			}
			details = append(details, &huma.ErrorDetail{Message: f.Error(), Location: f.Key, Value: f.Line})
		}
		detail = strings.Join(faults.Lines(3), "\n")
		return huma.NewError(code, detail, details...)
	}
	return huma.NewError(code, detail)
}

func (s *server) refuse(w http.ResponseWriter, r *http.Request, err error) {
	p := s.problem(r.Context(), err)
	gate.Refuse(w, p.GetStatus(), p.Error())
}
