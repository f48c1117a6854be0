package report

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html/template"
	"net/http"

	"github.com/go-chi/chi/v5"
	"github.com/go-chi/chi/v5/middleware"
)

// Options are what the report's routes stand on.
type Options struct {
	// Document is the report of a case; the error wraps roof.ErrNotFound where there
	// is no such case.
	Document func(ctx context.Context, caseID string) (*Document, error)
	Style    string // path of the pages' style sheet; "" without one
	// Top makes the head that all pages of a house have; nil without one.
	Top func(r *http.Request, caseID string) (template.HTML, error)
	// Fail answers a request that failed.
	Fail func(w http.ResponseWriter, r *http.Request, err error)
}

// Mount puts the report's page, its PDF and its style sheet on a router.
func Mount(r chi.Router, o Options) error {
	css, err := files.ReadFile("templates/report.css")
	if err != nil {
		return fmt.Errorf("reading the report's style sheet: %w", err)
	}
	sum := sha256.Sum256(css)
	style := "/report-" + hex.EncodeToString(sum[:6]) + ".css"
	r.Get(style, func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		_, _ = w.Write(css)
	})
	// Both forms are written whole or not at all.
	serve := func(kind string, write func(*Document, *http.Request, *bytes.Buffer) error) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) {
			id := chi.URLParam(r, "case")
			d, err := o.Document(r.Context(), id)
			var b bytes.Buffer
			if err == nil {
				err = write(d, r, &b)
			}
			if err != nil {
				o.Fail(w, r, err)
				return
			}
			h := w.Header()
			h.Set("Content-Type", kind)
			h.Set("Cache-Control", "no-cache")
			if kind == "application/pdf" {
				h.Set("Content-Disposition", `inline; filename="`+id+`-report.pdf"`)
			}
			_, _ = b.WriteTo(w)
		}
	}
	r.With(middleware.Compress(5, "text/html")).Get("/cases/{case}/report",
		serve("text/html; charset=utf-8", func(d *Document, r *http.Request, b *bytes.Buffer) error {
			f := Frame{Case: chi.URLParam(r, "case")}
			if o.Style != "" {
				f.Styles = append(f.Styles, o.Style)
			}
			f.Styles = append(f.Styles, style)
			if o.Top != nil {
				var err error
				if f.Top, err = o.Top(r, f.Case); err != nil {
					return err
				}
			}
			return d.WriteHTML(b, f)
		}))
	r.Get("/cases/{case}/report.pdf", serve("application/pdf", func(d *Document, r *http.Request, b *bytes.Buffer) error {
		return d.WritePDF(b, paperOf(r.URL.Query().Get("paper")))
	}))
	return nil
}
