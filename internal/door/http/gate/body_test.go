package gate_test

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/http/gate"
)

// dripping sends bodies, until their connections end.
type dripping struct{ sync.WaitGroup }

// drip sends a body of so many bytes in pieces, with a pause after each.
func (d *dripping) drip(c net.Conn, total, piece int, pause time.Duration) {
	for sent := 0; sent < total; sent += piece {
		if _, err := io.WriteString(c, strings.Repeat("a", min(piece, total-sent))); err != nil {
			return
		}
		time.Sleep(pause)
	}
}

func (d *dripping) end(conns ...net.Conn) {
	for _, c := range conns {
		_ = c.Close()
	}
	d.Wait()
}

func post(bytes int) string {
	return fmt.Sprintf("POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: %d\r\n\r\n", bytes)
}

// whole answers with how much came.
func whole(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(gate.Patient(w, r.Body))
	if err != nil {
		w.WriteHeader(http.StatusRequestTimeout)
	}
	_, _ = fmt.Fprint(w, len(body))
}

func TestABodyThatArrivesByteByByteHoldsNoSeat(t *testing.T) {
	served(t, whole, func(t *testing.T, w wires) {
		var d dripping
		var slow []net.Conn
		for range 100 {
			conn := w.dial(t, post(5000))
			d.Go(func() { d.drip(conn, 5000, 1, 5*time.Second) })
			slow = append(slow, conn)
		}
		synctest.Wait()
		from := time.Now()
		status, _, err := reply(t, w.dial(t, get), 1, 0)
		require.NoError(t, err)
		assert.Equal(t, http.StatusOK, status)
		assert.Zero(t, time.Since(from))
		d.end(slow...)
	})
}

func TestALongBodyKeepsItsSeatOnlyWhileItMoves(t *testing.T) {
	for _, c := range []struct {
		name   string
		total  int
		piece  int
		pause  time.Duration
		status int
		longer time.Duration // than this it holds the seat for no upload
	}{
		{"2 KiB a second", 1 << 20, 2 << 10, time.Second, http.StatusOK, 10 * time.Minute},
		{"all but the last, then nothing", 100 << 10, 100<<10 - 1, time.Hour, http.StatusRequestTimeout, time.Minute},
	} {
		t.Run(c.name, func(t *testing.T) {
			served(t, whole, func(t *testing.T, w wires) {
				from := time.Now()
				conn := w.dial(t, post(c.total))
				var d dripping
				d.Go(func() { d.drip(conn, c.total, c.piece, c.pause) })
				status, _, err := reply(t, conn, 1, 0)
				require.NoError(t, err)
				assert.Equal(t, c.status, status)
				assert.LessOrEqual(t, time.Since(from), c.longer)
				d.end(conn)
			})
		})
	}
}

func TestATrickleBehindAGoodBeginningLosesItsSeat(t *testing.T) {
	served(t, whole, func(t *testing.T, w wires) {
		from := time.Now()
		conn := w.dial(t, post(1<<20))
		var d dripping
		d.Go(func() {
			d.drip(conn, 80<<10, 64<<10, 0)
			d.drip(conn, 1<<20, 1, 20*time.Second)
		})
		status, _, err := reply(t, conn, 1, 0)
		require.NoError(t, err)
		assert.Equal(t, http.StatusRequestTimeout, status)
		assert.Less(t, time.Since(from), 3*time.Minute, "a minute, and a second for each KiB that came")
		d.end(conn)
	})
}
