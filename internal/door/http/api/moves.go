package api

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/http/gate"
	"dewcase/internal/roof"
)

// Where a house is kept, as one instance knows it.
const (
	HouseHere     = "here"
	HouseArriving = "arriving" // its readings are taken here, alerts are still the other's
	HouseAway     = "away"
	HouseUnknown  = "unknown"
)

// Whereabouts says where a house is kept.
type Whereabouts struct {
	Case  string     `json:"case"`
	State string     `json:"state" enum:"here,arriving,away,unknown"`
	To    string     `json:"to,omitempty" doc:"address of the instance that keeps it now"`
	From  string     `json:"from,omitempty" doc:"the instance that it comes from"`
	Since *time.Time `json:"since,omitempty"`
	Heard int64      `json:"heard" doc:"readings of an arriving house that came here by themselves"`
	URL   string     `json:"url,omitempty" doc:"how people reach this instance's pages"`
}

// Taken is what became of a packed house.
type Taken struct {
	Case       string `json:"case"`
	State      string `json:"state" enum:"here,arriving"`
	Whole      bool   `json:"whole" doc:"the other instance has let go of it"`
	Stored     int    `json:"stored"`
	Duplicates int    `json:"duplicates"`
	Conflicts  int    `json:"conflicts"`
	Versions   int    `json:"versions" doc:"of the case file"`
	Files      int    `json:"files" doc:"imported files"`
}

// Count counts what became of a reading.
func (t *Taken) Count(o roof.Outcome) {
	switch o {
	case roof.Duplicate:
		t.Duplicates++
	case roof.Conflict:
		t.Conflicts++
	default:
		t.Stored++
	}
}

// Moves gives houses to other instances and takes them from there.
type Moves interface {
	Where(ctx context.Context, caseID string) (Whereabouts, error)
	// LetGo ends the service of a house here, to an address where it is kept from now
	// on; the same again changes nothing.
	LetGo(ctx context.Context, caseID, to string) error
	// Pack writes everything that is kept of a house.
	Pack(ctx context.Context, caseID string, to io.Writer) error
	// Take takes a packed house: as a copy while the other instance serves it, whole
	// once it let go. The same again changes nothing.
	Take(ctx context.Context, caseID string, body io.Reader) (Taken, error)
}

// maxParcel bounds a packed house: its record and its imported files.
const maxParcel = 4 << 30

var zipBody = map[string]*huma.MediaType{"application/zip": {Schema: &huma.Schema{Type: "string", Format: "binary"}}}

func (s *server) moves(r chi.Router) {
	register(s, huma.Operation{OperationID: "get-whereabouts", Method: http.MethodGet, Path: "/api/cases/{case}/move",
		Summary: "Where this house is kept"},
		func(ctx context.Context, in *struct{ CaseID }) (*struct{ Body Whereabouts }, error) {
			w, err := s.Moves.Where(ctx, in.Case)
			return &struct{ Body Whereabouts }{w}, err
		})
	register(s, huma.Operation{OperationID: "let-house-go", Method: http.MethodPost, Path: "/api/cases/{case}/move",
		Summary: "Let go of a house that another instance has taken up", Errors: []int{400, 404, 409}},
		func(ctx context.Context, in *struct {
			CaseID
			Body struct {
				To string `json:"to" maxLength:"500" doc:"address of the other instance's pages, as people reach them"`
			}
		}) (*struct{ Body Whereabouts }, error) {
			to, err := url.Parse(in.Body.To)
			if err != nil || to.Scheme != "http" && to.Scheme != "https" || to.Host == "" || to.User != nil {
				return nil, fmt.Errorf("to is %q, and must be an address such as https://south.example.org: %w", in.Body.To,
					ErrRequest)
			}
			if err := s.Moves.LetGo(ctx, in.Case, to.Scheme+"://"+to.Host); err != nil {
				return nil, err
			}
			w, err := s.Moves.Where(ctx, in.Case)
			return &struct{ Body Whereabouts }{w}, err
		})
	get := &huma.Operation{OperationID: "get-house", Method: http.MethodGet, Path: "/api/cases/{case}/house.zip",
		Summary: "Everything that is kept of a house, for another instance", Parameters: []*huma.Param{caseInPath},
		Responses: refusals("404", "429")}
	get.Responses["200"] = &huma.Response{Description: "The packed house", Content: zipBody}
	put := &huma.Operation{OperationID: "put-house", Method: http.MethodPut, Path: get.Path,
		Summary:    "Take up a house that another instance packed",
		Parameters: []*huma.Param{caseInPath}, RequestBody: &huma.RequestBody{Required: true, Content: zipBody},
		Responses: refusals("400", "409", "413", "422", "429")}
	put.Responses["200"] = &huma.Response{Description: "What became of it",
		Content: map[string]*huma.MediaType{"application/json": {Schema: &huma.Schema{Type: "object"}}}}
	s.api.OpenAPI().AddOperation(get)
	s.api.OpenAPI().AddOperation(put)
	r.Get(get.Path, s.getHouse)
	r.Put(put.Path, s.putHouse)
}

func (s *server) getHouse(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "case")
	where, err := s.Moves.Where(r.Context(), id)
	if err == nil && where.State != HouseHere && where.State != HouseAway {
		err = fmt.Errorf("case %q: %w", id, roof.ErrNotFound)
	}
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	_ = http.NewResponseController(w).SetWriteDeadline(time.Time{}) // as long as it moves
	w.Header().Set("Content-Type", "application/zip")
	w.Header().Set("Content-Disposition", `attachment; filename="`+id+`-house.zip"`)
	if err := s.Moves.Pack(r.Context(), id, w); err != nil {
		s.Log.ErrorContext(r.Context(), "packing a house broke off", "case", id, "error", err)
		panic(http.ErrAbortHandler) // the only way to tell the reader that the file is not whole
	}
}

func (s *server) putHouse(w http.ResponseWriter, r *http.Request) {
	_ = http.NewResponseController(w).SetWriteDeadline(time.Time{})
	body := sent{gate.Patient(w, http.MaxBytesReader(w, r.Body, maxParcel))}
	taken, err := s.Moves.Take(context.WithoutCancel(r.Context()), chi.URLParam(r, "case"), body)
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(taken)
}
