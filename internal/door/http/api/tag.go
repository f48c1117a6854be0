package api

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"net/http"

	"dewcase/internal/door/http/gate"
)

// tagged gives answers to GET an entity tag and answers 304 where the asker
// has them already. Bodies over maxTagged pass straight through untagged, so
// that a long export is never held in memory.
func tagged(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet {
			next.ServeHTTP(w, r)
			return
		}
		t := &tagging{ResponseWriter: w, asked: r.Header.Get("If-None-Match")}
		next.ServeHTTP(t, r)
		t.finish()
	})
}

const maxTagged = 16 << 20

type tagging struct {
	http.ResponseWriter
	asked   string
	status  int
	body    bytes.Buffer
	through bool
}

func (t *tagging) WriteHeader(status int) {
	if t.status == 0 {
		t.status = status
	}
}

func (t *tagging) Write(p []byte) (int, error) {
	if t.through {
		return t.ResponseWriter.Write(p)
	}
	if t.body.Len()+len(p) <= maxTagged {
		return t.body.Write(p)
	}
	t.pass()
	return t.ResponseWriter.Write(p)
}

// whole answers with a body that its maker needs no more: it is not copied to be
// tagged.
func whole(w http.ResponseWriter, body []byte) {
	if t, ok := w.(*tagging); ok && t.body.Len() == 0 && !t.through && len(body) <= maxTagged {
		t.body = *bytes.NewBuffer(body)
		return
	}
	_, _ = w.Write(body)
}

// pass sends what was held back; what follows goes straight out.
func (t *tagging) pass() {
	t.through = true
	if t.status != 0 {
		t.ResponseWriter.WriteHeader(t.status)
	}
	_, _ = t.ResponseWriter.Write(t.body.Bytes())
	t.body = bytes.Buffer{}
}

func (t *tagging) finish() {
	if t.through {
		return
	}
	h := t.Header()
	if t.status == 0 || t.status == http.StatusOK {
		if h.Get("ETag") == "" {
			sum := sha256.Sum256(t.body.Bytes())
			h.Set("ETag", `"`+hex.EncodeToString(sum[:12])+`"`)
		}
		if h.Get("Cache-Control") == "" {
			h.Set("Cache-Control", "no-cache")
		}
		if gate.Matches(t.asked, h.Get("ETag")) {
			h.Del("Content-Type")
			h.Del("Content-Length")
			t.ResponseWriter.WriteHeader(http.StatusNotModified)
			return
		}
	}
	t.pass()
}
