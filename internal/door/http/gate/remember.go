package gate

import (
	"bytes"
	"net/http"
	"slices"
	"strings"
	"sync"
)

const (
	// mostKept bounds the answers that Remember keeps, a winter by the hour 1.2 MB
	// packed.
	mostKept = 12 << 20
	// longestKept is the largest answer that it keeps.
	longestKept = mostKept / 4
)

// Remember gives an answer again, as it was packed and tagged, where the same was
// asked before and state says what it said then. It stands outside of whatever
// packs, tags and seats. A nil state keeps nothing; states are compared by ==, and
// asked for before an answer is worked out, so that what changes meanwhile is never
// taken for what the answer rests on.
func Remember(state func(*http.Request) any) func(http.Handler) http.Handler {
	var k keptAnswers
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			is := state(r)
			if r.Method != http.MethodGet || is == nil {
				next.ServeHTTP(w, r)
				return
			}
			asked := question{r.URL.RequestURI(), strings.ToLower(r.Header.Get("Accept-Encoding"))}
			if a := k.find(asked, is); a != nil {
				a.send(w, r)
				return
			}
			c := &copied{ResponseWriter: w}
			next.ServeHTTP(c, r)
			if c.status == http.StatusOK && !c.broken {
				k.keep(answer{asked, is, w.Header().Clone(), c.body.Bytes()})
			}
		})
	}
}

type question struct{ uri, takes string }

type answer struct {
	question
	state  any
	header http.Header
	body   []byte
}

func (a *answer) send(w http.ResponseWriter, r *http.Request) {
	take := func(names ...string) {
		for _, name := range names { // and nothing that was meant for one asker
			if values := a.header[name]; values != nil {
				w.Header()[name] = values
			}
		}
	}
	take("Etag", "Cache-Control", "Vary")
	if Matches(r.Header.Get("If-None-Match"), a.header.Get("ETag")) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	take("Content-Type", "Content-Encoding")
	_, _ = w.Write(a.body)
}

// Matches reports whether an If-None-Match names a tag, by the weak comparison of
// RFC 9110, section 8.8.3.2.
func Matches(asked, tag string) bool {
	for _, one := range strings.Split(asked, ",") {
		one = strings.TrimPrefix(strings.TrimSpace(one), "W/")
		if one != "" && (one == "*" || one == strings.TrimPrefix(tag, "W/")) {
			return true
		}
	}
	return false
}

// keptAnswers are those used last at the end.
type keptAnswers struct {
	mu  sync.Mutex
	all []*answer
	sum int
}

// find gives what is kept of a question, nil for nothing; an answer of another
// state is forgotten.
func (k *keptAnswers) find(asked question, state any) *answer {
	k.mu.Lock()
	defer k.mu.Unlock()
	i := slices.IndexFunc(k.all, func(a *answer) bool { return a.question == asked })
	if i < 0 {
		return nil
	}
	a := k.take(i)
	if a.state != state {
		return nil
	}
	k.put(a)
	return a
}

func (k *keptAnswers) keep(a answer) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if i := slices.IndexFunc(k.all, func(o *answer) bool { return o.question == a.question }); i >= 0 {
		k.take(i)
	}
	k.put(&a)
	for k.sum > mostKept {
		k.take(0)
	}
}

func (k *keptAnswers) take(i int) *answer {
	a := k.all[i]
	k.all = slices.Delete(k.all, i, i+1)
	k.sum -= len(a.body)
	return a
}

func (k *keptAnswers) put(a *answer) {
	k.all = append(k.all, a)
	k.sum += len(a.body)
}

// copied notes what is answered while it is sent.
type copied struct {
	http.ResponseWriter
	status int
	body   bytes.Buffer
	broken bool // the client is gone, or it is too much to keep
}

func (c *copied) Unwrap() http.ResponseWriter { return c.ResponseWriter }

func (c *copied) WriteHeader(status int) {
	if c.status == 0 {
		c.status = status
	}
	c.ResponseWriter.WriteHeader(status)
}

func (c *copied) Write(b []byte) (int, error) {
	if c.status == 0 {
		c.status = http.StatusOK
	}
	n, err := c.ResponseWriter.Write(b)
	if err != nil || c.body.Len()+n > longestKept {
		c.broken, c.body = true, bytes.Buffer{}
	}
	if !c.broken {
		c.body.Write(b[:n])
	}
	return n, err
}
