package gate

import (
	"bytes"
	"io"
	"net/http"
	"time"
)

// A seat is for work, not for waiting: a form is whole, and an upload under way,
// before its request takes one. What arrives after that must keep moving.
const (
	aheadBytes     = 64 << 10
	pauseOfASender = 30 * time.Second
	slowestSender  = 1 << 10 // bytes a second, after the first minute
	firstMinute    = time.Minute
)

// ahead reads the beginning of a request's body, so that a client that sends it
// byte by byte waits for itself and keeps nobody from a seat. The server's own
// timeout ends that; the handler meets the error where it stood.
func ahead(r *http.Request) {
	if r.Body == nil || r.Body == http.NoBody {
		return
	}
	var came bytes.Buffer
	rest := io.Reader(r.Body)
	if _, err := io.CopyN(&came, r.Body, aheadBytes); err != nil { // also at its end
		rest = broken{err}
	}
	r.Body = begun{io.MultiReader(&came, rest), r.Body}
}

type begun struct {
	io.Reader
	io.Closer
}

type broken struct{ err error }

func (b broken) Read([]byte) (int, error) { return 0, b.err }

// Patient gives a long body as much time as it needs, as long as it moves: it may
// pause for half a minute, and after the first minute it brings 1 KiB a second on
// the whole.
func Patient(w http.ResponseWriter, body io.Reader) io.Reader {
	return &patient{body: body, reach: http.NewResponseController(w), began: time.Now()}
}

type patient struct {
	body  io.Reader
	reach *http.ResponseController
	began time.Time
	bytes int64
}

func (p *patient) Read(b []byte) (int, error) {
	next := time.Now().Add(pauseOfASender)
	end := p.began.Add(firstMinute + time.Duration(p.bytes/slowestSender)*time.Second)
	if next.After(end) {
		next = end
	}
	_ = p.reach.SetReadDeadline(next) // a test's recorder has none
	n, err := p.body.Read(b)
	p.bytes += int64(n)
	return n, err
}
