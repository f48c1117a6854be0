package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"strings"

	"github.com/go-chi/chi/v5"
)

// assets are the bundled files under names that carry their content's digest,
// so that a browser may keep them for ever.
type assets struct {
	Script, Style string // paths; "" where the bundle was not made
	files         map[string]asset
}

type asset struct {
	kind         string
	body, zipped []byte
}

// Built reports whether the bundle was made.
func (a assets) Built() bool { return a.Script != "" && a.Style != "" }

func loadAssets(bundle fs.FS) (assets, error) {
	a := assets{files: map[string]asset{}}
	if bundle == nil {
		return a, nil
	}
	for _, f := range []struct {
		name, kind string
		path       *string
	}{{"main.js", "text/javascript; charset=utf-8", &a.Script}, {"main.css", "text/css; charset=utf-8", &a.Style}} {
		body, err := fs.ReadFile(bundle, f.name)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return a, fmt.Errorf("reading the bundled %s: %w", f.name, err)
		}
		var z bytes.Buffer
		zw := gzip.NewWriter(&z)
		if _, err := zw.Write(body); err != nil {
			return a, fmt.Errorf("compressing the bundled %s: %w", f.name, err)
		}
		if err := zw.Close(); err != nil {
			return a, fmt.Errorf("compressing the bundled %s: %w", f.name, err)
		}
		sum := sha256.Sum256(body)
		base, ext, _ := strings.Cut(f.name, ".")
		name := base + "-" + hex.EncodeToString(sum[:6]) + "." + ext
		a.files[name] = asset{f.kind, body, z.Bytes()}
		*f.path = "/assets/" + name
	}
	return a, nil
}

func (p *Pages) asset(w http.ResponseWriter, r *http.Request) {
	f, ok := p.assets.files[chi.URLParam(r, "name")]
	if !ok {
		http.Error(w, "no such file; the pages may have been rebuilt: load the page again", http.StatusNotFound)
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.kind)
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Set("Vary", "Accept-Encoding")
	body := f.body
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = f.zipped
	}
	_, _ = w.Write(body)
}

// favicon is a roof's section with a drop under it.
const favicon = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" rx="5" fill="#fbfaf6"/><path d="M3 19 16 6l13 13" fill="none" stroke="#1d2328" stroke-width="3.2" stroke-linejoin="round" stroke-linecap="round"/><path d="M16 14.5c2.6 3.6 4.4 5.900 4.400 8.200a4.400 4.400 0 0 1-8.800 0c0-2.300 1.800-4.600 4.400-8.200z" fill="#1f5f8f"/></svg>`

func (p *Pages) favicon(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Cache-Control", "public, max-age=86400")
	_, _ = w.Write([]byte(favicon))
}
