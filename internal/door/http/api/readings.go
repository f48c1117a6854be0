package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/http/gate"
	"dewcase/internal/roof"
)

var (
	csvBody    = map[string]*huma.MediaType{"text/csv": {Schema: &huma.Schema{Type: "string"}}}
	caseInPath = &huma.Param{Name: "case", In: "path", Required: true,
		Schema: &huma.Schema{Type: "string", Pattern: "^[a-z0-9-]+$"}}
)

// refusals document an operation's statuses that come with a problem object.
func refusals(codes ...string) map[string]*huma.Response {
	out := map[string]*huma.Response{}
	for _, c := range codes {
		out[c] = &huma.Response{Description: "Refused, with the reason", Content: map[string]*huma.MediaType{
			"application/problem+json": {Schema: &huma.Schema{Type: "object"}}}}
	}
	return out
}

// uploads is a plain handler: the body is a stream, which may be long.
func (s *server) uploads(r chi.Router) {
	op := &huma.Operation{OperationID: "post-readings", Method: http.MethodPost, Path: "/api/cases/{case}/readings",
		Summary:    "Import readings (CSV)",
		Parameters: []*huma.Param{caseInPath}, RequestBody: &huma.RequestBody{Required: true, Content: csvBody},
		Responses: refusals("404", "413", "422", "429")}
	op.Responses["200"] = &huma.Response{Description: "What became of the rows",
		Content: map[string]*huma.MediaType{"application/json": {Schema: s.api.OpenAPI().Components.Schemas.Schema(reportType,
			true, "Report")}}}
	s.api.OpenAPI().AddOperation(op)
	r.Post(op.Path, s.postReadings)
}

// exports is a plain handler: the answer is a stream, which may be long.
func (s *server) exports(r chi.Router) {
	op := &huma.Operation{OperationID: "get-readings", Method: http.MethodGet, Path: "/api/cases/{case}/readings.csv",
		Summary:    "The raw readings (CSV)",
		Parameters: []*huma.Param{caseInPath, timeParam("from"), timeParam("to")}, Responses: refusals("400", "404", "429")}
	op.Responses["200"] = &huma.Response{Description: "The readings as they were received", Content: csvBody}
	s.api.OpenAPI().AddOperation(op)
	r.Get(op.Path, s.getReadings)
}

func timeParam(name string) *huma.Param {
	return &huma.Param{Name: name, In: "query", Schema: &huma.Schema{Type: "string", Format: "date-time"}}
}

// fits says that a body is too long before any of it is sent.
func (s *server) fits(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.ContentLength > s.MaxBody {
			s.refuse(w, r, fmt.Errorf("a body of %d bytes: %w", r.ContentLength, &http.MaxBytesError{Limit: s.MaxBody}))
			return
		}
		next.ServeHTTP(w, r)
	})
}

func (s *server) postReadings(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "case")
	// Importing takes as long as the body; only a stalled sender is cut off.
	ctx := context.WithoutCancel(r.Context())
	body := sent{gate.Patient(w, http.MaxBytesReader(w, r.Body, s.MaxBody))}
	report, err := s.Readings.Import(ctx, id, body)
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(report)
}

func (s *server) getReadings(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "case")
	from, until, err := span(r.URL.Query().Get("from"), r.URL.Query().Get("to"))
	if err == nil && !roof.ValidCaseID(id) {
		err = fmt.Errorf("case %q: %w", id, roof.ErrNotFound)
	}
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	if _, _, err := s.Cases.File(r.Context(), id); err != nil {
		s.refuse(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="`+id+`-readings.csv"`)
	if err := s.Readings.Export(r.Context(), id, from, until, w); err != nil {
		s.Log.ErrorContext(r.Context(), "an export broke off", "case", id, "error", err)
		panic(http.ErrAbortHandler) // the only way to tell the reader that the file is not whole
	}
}

// span reads the bounds of a request; an empty one is open.
func span(from, to string) (f, u time.Time, err error) {
	parse := func(name, s string) (time.Time, error) {
		if s == "" {
			return time.Time{}, nil
		}
		if !utf8.ValidString(s) {
			return time.Time{}, fmt.Errorf("%s is not text: %w", name, ErrRequest)
		}
		// A + that was not escaped arrives as a space.
		t, err := roof.ParseTime(strings.Replace(s, " ", "+", 1))
		if err != nil {
			return time.Time{}, fmt.Errorf("%s: %w: %w", name, ErrRequest, err)
		}
		return t, nil
	}
	if f, err = parse("from", from); err != nil {
		return f, u, err
	}
	if u, err = parse("to", to); err != nil {
		return f, u, err
	}
	if !f.IsZero() && !u.IsZero() && u.Before(f) {
		return f, u, fmt.Errorf("to lies before from: %w", ErrRequest)
	}
	return f, u, nil
}

// sent is a long body on its way; that it broke off is the sender's doing.
type sent struct{ io.Reader }

func (b sent) Read(into []byte) (int, error) {
	n, err := b.Reader.Read(into)
	var large *http.MaxBytesError
	if err != nil && !errors.Is(err, io.EOF) && !errors.As(err, &large) {
		err = fmt.Errorf("the body broke off: %w: %w", ErrRequest, err)
	}
	return n, err
}

func (s *server) listings() {
	type query struct {
		CaseID
		Limit  int   `query:"limit" minimum:"1" maximum:"1000" default:"100"`
		Before int64 `query:"before" doc:"only entries older than this id"`
	}
	register(s, huma.Operation{OperationID: "list-rejects", Method: http.MethodGet,
		Path: "/api/cases/{case}/rejects", Summary: "What could not be used, newest first"},
		func(ctx context.Context, in *query) (*struct{ Body []RejectRow }, error) {
			rows, err := s.Readings.Rejects(ctx, in.Case, in.Limit, in.Before)
			return listed(rows, err, func(k roof.KeptReject) RejectRow {
				return RejectRow{ID: k.ID, At: k.At, Logger: k.Logger, Source: k.Source, Line: k.Line,
					Reason: string(k.Reason), Detail: k.Detail, Payload: strings.ToValidUTF8(string(k.Payload), "\uFFFD")}
			})
		})
	register(s, huma.Operation{OperationID: "list-conflicts", Method: http.MethodGet,
		Path: "/api/cases/{case}/conflicts", Summary: "Readings kept aside because another came first for that logger and " +
			"time"},
		func(ctx context.Context, in *query) (*struct{ Body []ConflictRow }, error) {
			rows, err := s.Readings.Conflicts(ctx, in.Case, in.Limit)
			return listed(rows, err, func(c roof.Conflicting) ConflictRow {
				return ConflictRow{c.Reading.Logger, c.Reading.At, named(c.Kept), named(c.Reading.Values)}
			})
		})
	register(s, huma.Operation{OperationID: "list-heard", Method: http.MethodGet, Path: "/api/heard",
		Summary: "Cases and loggers that were heard but are not known"},
		func(ctx context.Context, _ *struct{}) (*struct{ Body []HeardRow }, error) {
			rows, err := s.Readings.Heard(ctx)
			return listed(rows, err, func(h roof.HeardName) HeardRow {
				return HeardRow{h.Case, h.Logger, h.Count, h.First, h.Last}
			})
		})
}

// RejectRow is one thing that could not be used.
type RejectRow struct {
	ID      int64     `json:"id"`
	At      time.Time `json:"at"`
	Logger  string    `json:"logger"`
	Source  string    `json:"source"`
	Line    int       `json:"line,omitempty"`
	Reason  string    `json:"reason"`
	Detail  string    `json:"detail"`
	Payload string    `json:"payload"`
}

// ConflictRow is one reading kept aside.
type ConflictRow struct {
	Logger string             `json:"logger"`
	At     time.Time          `json:"at"`
	Kept   map[string]float64 `json:"kept"`
	Aside  map[string]float64 `json:"aside"`
}

// HeardRow is a name that was heard but is not known.
type HeardRow struct {
	Case   string    `json:"case"`
	Logger string    `json:"logger"`
	Count  int64     `json:"count"`
	First  time.Time `json:"first"`
	Last   time.Time `json:"last"`
}

func named(v roof.Values) map[string]float64 {
	out := map[string]float64{}
	for q := range roof.Quantity(roof.QuantityCount) {
		if x, ok := v.Get(q); ok {
			out[q.String()] = x
		}
	}
	return out
}
