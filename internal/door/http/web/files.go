package web

import (
	"cmp"
	"context"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/http/gate"
	"dewcase/internal/flow/exports"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Files takes files of loggers in: each is laid aside first, looked at, and taken
// once a person has seen what it would become.
type Files interface {
	// Lay lays an uploaded file aside; the id is by what it is asked for.
	Lay(ctx context.Context, caseID, name string, body io.Reader) (id string, err error)
	// Look says what a file that was laid aside would become by the answers for
	// its kind. What is wrong with the file as a whole is roof.Faults.
	Look(ctx context.Context, caseID, id string, answers func(kind []string) exports.Answers) (Looked, error)
	// Take stores its readings and keeps it as an original, and where recipe says
	// so the answers for the next file of the kind.
	Take(ctx context.Context, caseID, id string, answers func(kind []string) exports.Answers,
		recipe func(kind []string) (r exports.Recipe, keep bool), by string) (Taken, error)
	// Originals lists the files taken so far, the oldest first.
	Originals(ctx context.Context, caseID string) ([]roof.Original, error)
	// Original opens one of them.
	Original(ctx context.Context, caseID, sha256 string) (io.ReadCloser, string, error)
}

// Looked is what a file would become.
type Looked struct {
	Name    string
	Plans   []*exports.Plan
	Preview []roof.Reading // the first; none while a question is open
	Good    int            // rows that would be taken
	Bad     []BadRow       // rows that would not, at most some hundreds
	BadN    int
	Notes   []string
}

// BadRow is one row that cannot be used.
type BadRow struct {
	Line         int
	What, Detail string
}

// Taken is what became of a file.
type Taken struct {
	Original                              roof.Original
	Stored, Merged, Duplicates, Conflicts int
	Against                               []string // the first rows that say otherwise than what is kept
	Bad                                   []BadRow
	Notes                                 []string
}

// MountFiles puts the pages of imported files on a router. A request with files
// of over maxBytes is refused.
func (p *Pages) MountFiles(r chi.Router, files Files, maxBytes int64) {
	f := filesPages{p, files, maxBytes}
	p.filesHere = true
	r.Get("/cases/{case}/files", f.show)
	r.Post("/cases/{case}/files", f.upload)
	r.Get("/cases/{case}/files/look", f.look)
	r.Post("/cases/{case}/files/take", f.take)
	r.Get("/cases/{case}/files/original/{sha256}", f.original)
}

type filesPages struct {
	*Pages
	files Files
	max   int64
}

// filesBody is the page on which files are put in.
type filesBody struct {
	Fault     string
	Originals []roof.Original
	Taken     []Taken
	MaxMB     int64
}

func (f filesPages) show(w http.ResponseWriter, r *http.Request) {
	f.form(w, r, http.StatusOK, filesBody{})
}

func (f filesPages) form(w http.ResponseWriter, r *http.Request, status int, b filesBody) {
	h, err := f.head(r.Context(), chi.URLParam(r, "case"))
	if err == nil {
		b.Originals, err = f.files.Originals(r.Context(), h.ID)
	}
	if err != nil {
		f.fail(w, r, err)
		return
	}
	slices.Reverse(b.Originals)
	b.MaxMB = f.max >> 20
	f.render(w, r, status, "files", page{Title: "Files, " + h.Label, Case: h, Tab: "files", Body: b})
}

// upload lays the files of a form aside and goes on to what they would become.
func (f filesPages) upload(w http.ResponseWriter, r *http.Request) {
	id := chi.URLParam(r, "case")
	if _, err := f.Cases.Case(r.Context(), id); err != nil {
		f.fail(w, r, err)
		return
	}
	r.Body = io.NopCloser(gate.Patient(w, http.MaxBytesReader(w, r.Body, f.max)))
	laid := url.Values{}
	parts, err := r.MultipartReader()
	for err == nil {
		var part *multipart.Part
		if part, err = parts.NextPart(); err != nil {
			break
		}
		if part.FormName() != "file" || part.FileName() == "" {
			continue
		}
		var one string
		if one, err = f.files.Lay(r.Context(), id, part.FileName(), part); err == nil {
			laid.Add("id", one)
		}
	}
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		f.form(w, r, http.StatusRequestEntityTooLarge, filesBody{Fault: words.FilesTooLarge(f.max >> 20)})
	case err != nil && !errors.Is(err, io.EOF):
		f.Log.Error("uploaded files could not be laid aside", "case", id, "error", err)
		f.form(w, r, http.StatusUnprocessableEntity, filesBody{Fault: words.UploadBrokeOff})
	case len(laid) == 0:
		f.form(w, r, http.StatusUnprocessableEntity, filesBody{Fault: words.NoFileChosen})
	default:
		http.Redirect(w, r, "/cases/"+id+"/files/look?"+laid.Encode(), http.StatusSeeOther)
	}
}

// lookBody is the page that shows what files would become.
type lookBody struct {
	Kinds []kindForm
	IDs   []string
	Ready bool // nothing is asked any more
}

// kindForm is what is asked of all files of one kind.
type kindForm struct {
	Key       string
	Files     []fileLook
	Questions []questionForm
	Columns   []columnForm // where the columns' names do not say enough
	Station   *stationForm // nil: not asked
	Recipe    string       // the one in use
	Keep      string       // the name proposed for the answers
}

type fileLook struct {
	Looked
	Fault string
	Plan  *exports.Plan // the first
}

// questionForm is one question with its choices.
type questionForm struct {
	Field, Label string
	Choices      []answerChoice
	Own          bool // another answer can be written
	Chosen       string
	Written      string
	Unless       string // what no answer means; "" that there must be one
	Keep         string // the field that keeps the answer for every file of the kind, always; "" none
	Always       string // the field that keeps the answer for every file of this name; "" none
	AlwaysOn     bool
	File         string
}

// stationForm asks whether a file is of a weather station, and what is known of it.
type stationForm struct {
	Yes                bool
	Source, KM, AboveM string // as they were written
	Fault              string
}

type answerChoice struct{ Value, Words string }

type columnForm struct{ Name, Example, Holds, Unit, Logger string }

func (f filesPages) look(w http.ResponseWriter, r *http.Request) {
	f.preview(w, r, r.URL.Query(), http.StatusOK)
}

func (f filesPages) preview(w http.ResponseWriter, r *http.Request, form url.Values, status int) {
	h, err := f.head(r.Context(), chi.URLParam(r, "case"))
	if err != nil {
		f.fail(w, r, err)
		return
	}
	b, err := f.looked(r.Context(), h, form)
	if err != nil {
		f.fail(w, r, err)
		return
	}
	if len(b.IDs) == 0 {
		f.form(w, r, http.StatusUnprocessableEntity, filesBody{Fault: words.NoFileChosen})
		return
	}
	f.render(w, r, status, "look", page{Title: "What the files become, " + h.Label, Case: h, Tab: "files", Body: b})
}

// looked looks at every file and gathers them by kind.
func (f filesPages) looked(ctx context.Context, h *head, form url.Values) (lookBody, error) {
	b := lookBody{Ready: true}
	at := map[string]int{}
	for _, id := range form["id"] {
		looked, err := f.files.Look(ctx, h.ID, id, answersOf(form))
		var faults roof.Faults
		one := fileLook{Looked: looked}
		switch {
		case errors.As(err, &faults):
			one.Fault = words.Upper(faultWords(faults[0])) + "."
		case err != nil:
			return b, err
		}
		var kind []string
		if len(looked.Plans) > 0 {
			one.Plan = looked.Plans[0]
			kind = one.Plan.Kind
		} else {
			b.Ready = false
		}
		key := exports.KindKey(kind)
		k, known := at[key]
		if !known {
			k = len(b.Kinds)
			at[key] = k
			b.Kinds = append(b.Kinds, kindForm{Key: key})
		}
		b.Kinds[k].add(h.Case, one, form)
		if s := b.Kinds[k].Station; s != nil && s.Fault != "" {
			b.Ready = false
		}
		b.IDs = append(b.IDs, id)
		b.Ready = b.Ready && !slices.ContainsFunc(looked.Plans, func(p *exports.Plan) bool { return len(p.Questions) > 0 })
	}
	return b, nil
}

func faultWords(f roof.Fault) string {
	if f.Remedy != "" {
		return f.Problem + "; " + f.Remedy
	}
	return f.Problem
}

// take stores what the page showed; a question that is still open shows it again.
func (f filesPages) take(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 1<<20)
	if err := r.ParseForm(); err != nil {
		f.form(w, r, http.StatusRequestEntityTooLarge, filesBody{Fault: words.UploadBrokeOff})
		return
	}
	// Storing takes as long as the file; somebody who leaves does not stop it.
	ctx := context.WithoutCancel(r.Context())
	h, err := f.head(ctx, chi.URLParam(r, "case"))
	if err != nil {
		f.fail(w, r, err)
		return
	}
	b, err := f.looked(ctx, h, r.PostForm)
	if err != nil {
		f.fail(w, r, err)
		return
	}
	if !b.Ready {
		f.preview(w, r, r.PostForm, http.StatusUnprocessableEntity)
		return
	}
	var out filesBody
	for _, id := range b.IDs {
		t, err := f.files.Take(ctx, h.ID, id, answersOf(r.PostForm), recipeOf(r.PostForm), f.who(r))
		var faults roof.Faults
		switch {
		case errors.As(err, &faults):
			out.Fault = words.Upper(faultWords(faults[0])) + "."
		case err != nil:
			f.fail(w, r, err)
			return
		default:
			out.Taken = append(out.Taken, t)
		}
	}
	f.form(w, r, http.StatusOK, out)
}

func (f filesPages) original(w http.ResponseWriter, r *http.Request) {
	in, name, err := f.files.Original(r.Context(), chi.URLParam(r, "case"), chi.URLParam(r, "sha256"))
	if err != nil {
		f.fail(w, r, err)
		return
	}
	defer func() { _ = in.Close() }()
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Content-Disposition", "attachment; filename*=UTF-8''"+url.PathEscape(name))
	if _, err := io.Copy(w, in); err != nil {
		f.Log.Error("an original broke off", "name", name, "error", err)
		panic(http.ErrAbortHandler) // the only way to tell the reader that the file is not whole
	}
}

// answersOf reads a form's answers for a kind of file.
func answersOf(form url.Values) func(kind []string) exports.Answers {
	return func(kind []string) exports.Answers {
		key := exports.KindKey(kind) + "."
		get := func(name string) string { return strings.TrimSpace(form.Get(key + name)) }
		a := exports.Answers{Zone: get("zone"), Dates: exports.Order(get("dates")), TempUnit: get("unit"),
			RHUnit: get("humidity_unit"), Fold: exports.Fold(get("fold")), Loggers: map[string]string{},
			Columns: map[string]exports.Column{}}
		if other := get("zone_other"); other != "" {
			a.Zone = other
		}
		if n, err := strconv.Atoi(get("pair")); err == nil {
			a.Pair = cmp.Or(min(time.Duration(n)*time.Second, exports.MaxPair), -1)
		}
		if get("station") != "" {
			a.Station, _ = stationOf(form, key)
		}
		for field := range form {
			rest, ours := strings.CutPrefix(field, key)
			value := strings.TrimSpace(form.Get(field))
			if !ours || value == "" {
				continue
			}
			if name, ok := strings.CutPrefix(rest, "logger."); ok && roof.ValidID(value) {
				if other := get("logger_other." + name); roof.ValidID(other) {
					value = other
				}
				a.Loggers[name] = value
			}
			if name, ok := strings.CutPrefix(rest, "logger_other."); ok && roof.ValidID(value) {
				a.Loggers[name] = value
			}
			if name, ok := strings.CutPrefix(rest, "holds."); ok && slices.Contains(exports.Roles(), value) {
				a.Columns[name] = exports.Column{Holds: value, Unit: get("unit_of." + name), Logger: get("logger_of." + name)}
			}
		}
		return a
	}
}

// recipeOf is what of a form's answers is kept. Which logger a file is of that
// names none is kept only where a person said that it is always this one: the
// next file of that name can be another logger's.
func recipeOf(form url.Values) func(kind []string) (exports.Recipe, bool) {
	answers := answersOf(form)
	return func(kind []string) (exports.Recipe, bool) {
		key := exports.KindKey(kind)
		r := exports.Recipe{Name: form.Get(key + ".keep"), Kind: kind, Answers: answers(kind)}
		r.Answers.Station = nil // it stands in the case file; another house lies elsewhere
		for name := range r.Answers.Loggers {
			if form.Get(key+".always."+name) == "" {
				delete(r.Answers.Loggers, name)
			}
		}
		return r, roof.ValidID(r.Name)
	}
}
