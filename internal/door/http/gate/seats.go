package gate

import (
	"context"
	"net/http"
	"time"
)

// Costly bounds how many requests of a costly kind run at once and for how
// long: what does not get a place within the wait is answered 429, so that
// ingest never starves. A client that does not read its answer loses its place,
// and one that sends its body slowly has none until the body's beginning came.
func Costly(places int, wait, limit time.Duration) func(http.Handler) http.Handler {
	seats := make(chan struct{}, places)
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			ahead(r)
			t := time.NewTimer(wait)
			defer t.Stop()
			select {
			case seats <- struct{}{}:
				defer func() { <-seats }()
			case <-t.C:
				w.Header().Set("Retry-After", "2")
				Refuse(w, http.StatusTooManyRequests, "too many costly requests at once; ask again in a moment")
				return
			case <-r.Context().Done():
				return
			}
			ctx, cancel := context.WithTimeout(r.Context(), limit)
			defer cancel()
			next.ServeHTTP(&awaited{ResponseWriter: w, reach: http.NewResponseController(w)}, r.WithContext(ctx))
		})
	}
}

// A reader on a bad line may pause, and a large answer takes its time; both end,
// because the answer holds a seat while it is written.
const (
	pauseOfAReader = 30 * time.Second
	wholeAnswer    = 5 * time.Minute
	piece          = 64 << 10
)

// awaited writes an answer piece by piece, each of which the client must take
// before its deadline. The time begins with the first piece, not with the
// request: a long upload still gets its answer.
type awaited struct {
	http.ResponseWriter
	reach *http.ResponseController
	end   time.Time // of the whole answer
}

func (a *awaited) Unwrap() http.ResponseWriter { return a.ResponseWriter }

func (a *awaited) WriteHeader(status int) {
	a.extend()
	a.ResponseWriter.WriteHeader(status)
}

func (a *awaited) Write(b []byte) (int, error) {
	written := 0
	for {
		a.extend()
		n, err := a.ResponseWriter.Write(b[written:min(len(b), written+piece)])
		written += n
		if err != nil || written == len(b) {
			return written, err
		}
	}
}

func (a *awaited) extend() {
	now := time.Now()
	if a.end.IsZero() {
		a.end = now.Add(wholeAnswer)
	}
	next := now.Add(pauseOfAReader)
	if next.After(a.end) {
		next = a.end
	}
	_ = a.reach.SetWriteDeadline(next) // a recorder of answers has none
}
