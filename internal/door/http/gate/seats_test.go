package gate_test

import (
	"bufio"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/http/gate"
)

func TestCostlyRequestsBeyondTheSeatsAreTurnedAway(t *testing.T) {
	hold, entered := make(chan struct{}), make(chan struct{}, 10)
	h := gate.Costly(2, 10*time.Millisecond, time.Minute)(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		entered <- struct{}{}
		<-hold
	}))
	done := make(chan int, 2)
	for range 2 {
		go func() { done <- ask(h, "GET", "/", nil).Code }()
	}
	<-entered
	<-entered
	w := ask(h, "GET", "/", nil)
	assert.Equal(t, http.StatusTooManyRequests, w.Code)
	assert.NotEmpty(t, w.Header().Get("Retry-After"))
	close(hold)
	assert.Equal(t, http.StatusOK, <-done)
	assert.Equal(t, http.StatusOK, <-done)
}

// wires is a listener on pipes without buffers, so that a client that reads
// nothing is felt at once, in the time of synctest.
type wires chan net.Conn

func (w wires) Accept() (net.Conn, error) {
	if c, ok := <-w; ok {
		return c, nil
	}
	return nil, net.ErrClosed
}
func (w wires) Close() error   { close(w); return nil } // the server does it once
func (w wires) Addr() net.Addr { return &net.TCPAddr{} }

// dial opens a connection and sends a request.
func (w wires) dial(t *testing.T, request string) net.Conn {
	here, there := net.Pipe()
	w <- there
	_, err := io.WriteString(here, request)
	require.NoError(t, err)
	return here
}

const get = "GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"

// served runs a server with one seat, as the daemon has it, and stops it after.
func served(t *testing.T, answer http.HandlerFunc, then func(t *testing.T, w wires)) {
	synctest.Test(t, func(t *testing.T) {
		w := make(wires)
		s := &http.Server{Handler: gate.Costly(1, 10*time.Second, time.Minute)(answer), WriteTimeout: 5 * time.Minute}
		go func() { _ = s.Serve(w) }()
		defer s.Close()
		then(t, w)
	})
}

const answerBytes = 10 << 20

func large(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write(make([]byte, answerBytes)) }

// reply is the status of an answer and how much of it came, read with a pause
// after each so many bytes.
func reply(t *testing.T, c net.Conn, each int64, pause time.Duration) (status int, n int64, err error) {
	resp, err := http.ReadResponse(bufio.NewReader(c), nil)
	require.NoError(t, err)
	for {
		some, err := io.CopyN(io.Discard, resp.Body, each)
		n += some
		if err == io.EOF {
			return resp.StatusCode, n, nil
		} else if err != nil {
			return resp.StatusCode, n, err
		}
		time.Sleep(pause)
	}
}

func TestWhoReadsNothingLosesHisSeatInHalfAMinute(t *testing.T) {
	served(t, large, func(t *testing.T, w wires) {
		silent := w.dial(t, get)
		synctest.Wait()
		status, _, err := reply(t, w.dial(t, get), answerBytes, 0)
		require.NoError(t, err)
		assert.Equal(t, http.StatusTooManyRequests, status, "after its wait of 10 s, the only seat being held")
		time.Sleep(21 * time.Second)
		status, n, err := reply(t, w.dial(t, get), answerBytes, 0)
		require.NoError(t, err)
		assert.Equal(t, http.StatusOK, status)
		assert.EqualValues(t, answerBytes, n)
		_, err = io.ReadAll(silent)
		require.NoError(t, err, "its connection was closed")
	})
}

func TestASlowReaderIsServedAndOneWithoutEndIsNot(t *testing.T) {
	for _, c := range []struct {
		name  string
		each  int64
		pause time.Duration
		whole bool
	}{
		{"a megabyte, then 25 s without a line", 1 << 20, 25 * time.Second, true},
		{"64 KiB a second", 64 << 10, time.Second, true},
		{"64 KiB in 20 s", 64 << 10, 20 * time.Second, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			served(t, large, func(t *testing.T, w wires) {
				from := time.Now()
				status, n, err := reply(t, w.dial(t, get), c.each, c.pause)
				assert.Equal(t, http.StatusOK, status)
				assert.Equal(t, c.whole, err == nil, "%v", err)
				assert.Equal(t, c.whole, n == answerBytes, "%d bytes", n)
				assert.LessOrEqual(t, time.Since(from), 5*time.Minute+c.pause, "the seat is another's then")
			})
		})
	}
}

func TestAnUploadOfManyMinutesGetsItsAnswer(t *testing.T) {
	served(t, func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		assert.NoError(t, err)
		_, _ = io.WriteString(w, strings.ToUpper(string(body)))
	}, func(t *testing.T, w wires) {
		c := w.dial(t, "POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 8\r\n\r\n")
		for range 8 {
			time.Sleep(time.Minute)
			_, err := io.WriteString(c, "w")
			require.NoError(t, err)
		}
		resp, err := http.ReadResponse(bufio.NewReader(c), nil)
		require.NoError(t, err)
		body, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		assert.Equal(t, "WWWWWWWW", string(body))
	})
}
