package faulttest

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/patience"
)

// raw sends bytes on a connection of its own and returns the answer's status
// line, "" where the daemon closed without one.
func raw(t testing.TB, d *crashtest.Daemon, request string) string {
	t.Helper()
	c, err := net.Dial("tcp", strings.TrimPrefix(d.HTTP, "http://"))
	require.NoError(t, err)
	defer c.Close()
	require.NoError(t, c.SetDeadline(time.Now().Add(patience.Long)))
	_, _ = io.WriteString(c, request)
	line, _ := bufio.NewReader(c).ReadString('\n')
	return strings.TrimSpace(line)
}

// Row 38: five hundred clients that send a byte now and then, and some that never
// read, take nothing from a person; the daemon parts with them after 10 s.
func TestSlowAndSilentClientsTakeNothingFromAPerson(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	newHouse(d)
	d.Do(http.MethodPost, "/api/cases/larch-3/readings", strings.NewReader(winter(2000)), 200)
	addr := strings.TrimPrefix(d.HTTP, "http://")
	var all []net.Conn
	defer func() {
		for _, c := range all {
			_ = c.Close()
		}
	}()
	for i := range 500 {
		c, err := net.Dial("tcp", addr)
		require.NoError(t, err)
		all = append(all, c)
		request := "GET / HTTP/1.1\r\nHost: localhost\r\nX-A: "
		if i%10 == 0 { // asks for much and reads nothing
			request = "GET /api/cases/larch-3/readings.csv HTTP/1.1\r\nHost: localhost\r\n\r\n"
			require.NoError(t, c.(*net.TCPConn).SetReadBuffer(4096))
		}
		_, err = io.WriteString(c, request)
		require.NoError(t, err)
	}
	person := http.Client{Timeout: patience.Long}
	for range 20 {
		resp, err := person.Get(d.HTTP + "/cases/larch-3")
		require.NoError(t, err)
		_, err = io.Copy(io.Discard, resp.Body)
		require.NoError(t, err)
		_ = resp.Body.Close()
		require.Equal(t, http.StatusOK, resp.StatusCode)
		for i, c := range all { // a byte more each
			if i%10 != 0 {
				_, _ = io.WriteString(c, "a")
			}
		}
	}
	slow := all[1]
	require.NoError(t, slow.SetReadDeadline(time.Now().Add(patience.Long)))
	end := time.After(patience.Long)
	feeding := make(chan struct{})
	go func() {
		for {
			select {
			case <-feeding:
				return
			case <-time.After(time.Second):
				_, _ = io.WriteString(slow, "a")
			}
		}
	}()
	answer, err := io.ReadAll(slow) // ends when the daemon closes
	close(feeding)
	if ne, ok := err.(net.Error); ok {
		require.False(t, ne.Timeout(), "it was never closed")
	}
	require.NotContains(t, string(answer), "200 OK")
	select {
	case <-end:
		require.Fail(t, "it was closed far too late")
	default:
	}
	require.Less(t, d.PeakRSS(), int64(256<<20))
	require.Zero(t, d.Stop(), d.Log())
}

// endless is a body without end.
type endless struct{ n atomic.Int64 }

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	e.n.Add(int64(len(p)))
	return len(p), nil
}

// Row 39: requests that no honest client sends are refused, and memory stays flat.
func TestHostileRequestsAreRefusedAndMemoryStaysFlat(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	newHouse(d)
	const host = "Host: localhost\r\n"
	csv := "/api/cases/larch-3/readings"
	for name, c := range map[string]struct {
		request string
		want    []string // one of; "" closed without an answer
	}{
		"announced larger than allowed": {"POST " + csv + " HTTP/1.1\r\n" + host + "Content-Length: 99999999999\r\n\r\n",
			[]string{" 413 "}},
		"a length below zero": {"POST " + csv + " HTTP/1.1\r\n" + host + "Content-Length: -1\r\n\r\n",
			[]string{" 400 "}},
		"two lengths": {"POST " + csv + " HTTP/1.1\r\n" + host +
			"Content-Length: 5\r\nContent-Length: 6\r\n\r\nhello", []string{" 400 "}},
		"a length that is no number": {"POST " + csv + " HTTP/1.1\r\n" + host + "Content-Length: 0x5\r\n\r\nhello",
			[]string{" 400 "}},
		"an unknown coding": {"POST " + csv + " HTTP/1.1\r\n" + host +
			"Transfer-Encoding: rot13\r\n\r\nhello", []string{" 501 ", " 400 "}},
		"a chunk that is none": {"POST " + csv + " HTTP/1.1\r\n" + host +
			"Transfer-Encoding: chunked\r\n\r\nzz\r\nhello", []string{" 400 ", " 422 "}},
		"a space in a header's name": {"GET / HTTP/1.1\r\n" + host + "X : y\r\n\r\n", []string{" 400 "}},
		"a line feed in the path":    {"GET /\nX HTTP/1.1\r\n" + host + "\r\n", []string{" 400 "}},
		"no host":                    {"GET / HTTP/1.1\r\n\r\n", []string{" 400 "}},
		"two hosts":                  {"GET / HTTP/1.1\r\n" + host + "Host: evil.example\r\n\r\n", []string{" 400 "}},
		"headers without end": {"GET / HTTP/1.1\r\n" + host +
			strings.Repeat("X-A: "+strings.Repeat("a", 1000)+"\r\n", 200) + "\r\n", []string{" 431 "}},
		"a path of a megabyte": {"GET /" + strings.Repeat("a", 1<<20) + " HTTP/1.1\r\n" + host + "\r\n",
			[]string{" 431 ", " 414 ", ""}},
		"not HTTP at all": {"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", []string{" 400 ", ""}},
		"TRACE":           {"TRACE / HTTP/1.1\r\n" + host + "\r\n", []string{" 405 ", " 404 "}},
		"CONNECT": {"CONNECT evil.example:443 HTTP/1.1\r\nHost: evil.example:443\r\n\r\n",
			[]string{" 421 ", " 403 ", " 404 ", " 405 "}},
		"a method nobody knows": {"BREW /api/cases HTTP/1.1\r\n" + host + "\r\n", []string{" 405 ", " 404 "}},
		"DELETE of a case": {"DELETE /api/cases/larch-3/file HTTP/1.1\r\n" + host + "\r\n",
			[]string{" 405 ", " 404 "}},
		"an absolute URL of another's name": {"GET http://evil.example/ HTTP/1.1\r\nHost: localhost\r\n\r\n",
			[]string{" 421 ", " 403 "}},
		"a request after the body's length": {"POST " + csv + " HTTP/1.1\r\n" + host +
			"Content-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET /healthz HTTP/1.1\r\n" + host + "\r\n",
			[]string{" 400 ", " 422 "}},
	} {
		t.Run(name, func(t *testing.T) {
			line := raw(t, d, c.request)
			for _, w := range c.want {
				if w != "" && strings.Contains(line, w) || w == "" && line == "" {
					return
				}
			}
			require.Fail(t, "another answer was wanted", "%q, not one of %q", line, c.want)
		})
	}

	t.Run("a chunked body without end", func(t *testing.T) {
		without := &endless{}
		req, err := http.NewRequest(http.MethodPost, d.HTTP+csv,
			io.MultiReader(strings.NewReader("time,logger,temp_c,rh_pct\n"), without))
		require.NoError(t, err)
		resp, err := (&http.Client{Timeout: patience.Long}).Do(req)
		if err == nil { // else the daemon closed while we were still sending
			_ = resp.Body.Close()
			require.Contains(t, []int{413, 422}, resp.StatusCode)
		}
		require.Less(t, without.n.Load(), int64(400<<20), "it was cut off")
	})
	require.Less(t, d.PeakRSS(), int64(256<<20))
	d.Do(http.MethodGet, "/healthz", nil, 200)
	require.Zero(t, d.Stop(), d.Log())
}

// Row 40: a hundred costly questions at once are answered a few at a time or
// turned away, and readings are taken meanwhile.
func TestCostlyQuestionsAreTurnedAwayWhileReadingsAreTaken(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	newHouse(d)
	d.Do(http.MethodPost, "/api/cases/larch-3/readings", strings.NewReader(winter(20000)), 200)
	before := d.Metric("dewcase_readings_stored_total")
	c, err := client(t, d.MQTT, "logger", "", "")
	require.NoError(t, err)
	var ok, busy, other atomic.Int64
	var asking sync.WaitGroup
	for range 100 {
		asking.Go(func() {
			resp, err := (&http.Client{Timeout: patience.Long}).Get(d.HTTP + "/api/cases/larch-3/timeline?step=raw")
			if err != nil {
				other.Add(1)
				return
			}
			_, _ = io.Copy(io.Discard, resp.Body)
			_ = resp.Body.Close()
			switch resp.StatusCode {
			case http.StatusOK:
				ok.Add(1)
			case http.StatusTooManyRequests:
				busy.Add(1)
			default:
				other.Add(1)
			}
		})
	}
	for n := range 200 {
		require.True(t, send(c, "dewcase/larch-3/k3", body(n), patience.Long), "reading %d", n)
	}
	require.EqualValues(t, before+200, d.Metric("dewcase_readings_stored_total"))
	asking.Wait()
	require.Zero(t, other.Load(), "every question was answered or turned away")
	require.Positive(t, ok.Load())
	t.Logf("%d answered, %d turned away", ok.Load(), busy.Load())
	for path, why := range map[string]string{
		"/api/cases/larch-3/timeline?from=2016-01-01T00:00:00Z&to=2026-01-01T00:00:00Z&step=1": "ten years by the second",
	} {
		require.Contains(t, string(d.Do(http.MethodGet, path, nil, 400)), "step", why)
	}
	require.Less(t, d.PeakRSS(), int64(512<<20), fmt.Sprint(d.PeakRSS()>>20, " MiB"))
	require.Zero(t, d.Stop(), d.Log())
}

// Row 70: a body that comes byte by byte holds no seat at all; slow uploads hold
// none of the questions, nor questions one of an upload; who asks and does not read the answer loses his seat.
func TestSlowUploadsAndCostlyQuestionsHoldSeatsOfTheirOwn(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	newHouse(d)
	d.Do(http.MethodPost, "/api/cases/larch-3/readings", strings.NewReader(winter(20000)), 200)
	const question, readings = "/api/cases/larch-3/timeline?step=raw", "/api/cases/larch-3/readings"
	status := func(ask func() (*http.Response, error)) int {
		resp, err := ask()
		if err != nil {
			return 0
		}
		_, _ = io.Copy(io.Discard, resp.Body)
		_ = resp.Body.Close()
		return resp.StatusCode
	}
	turnedAway := func(what string, ask func() (*http.Response, error)) {
		patience.Until(t, what, func() bool { return status(ask) == http.StatusTooManyRequests })
	}

	over := make(chan struct{})
	var uploads sync.WaitGroup
	slowly := func(path string, beginning int) {
		slow, sender := io.Pipe()
		go func() { // then a byte a second
			_, _ = sender.Write([]byte(strings.Repeat("a", beginning)))
			for ; ; time.Sleep(time.Second) {
				select {
				case <-over:
					_ = sender.Close()
					return
				default:
					_, _ = sender.Write([]byte("t"))
				}
			}
		}()
		uploads.Go(func() {
			status(func() (*http.Response, error) { return http.Post(d.HTTP+path, "text/csv", slow) })
		})
	}
	for range 100 {
		slowly("/login", 1)
		slowly(readings, 1)
	}
	for _, path := range []string{"/login", "/", "/cases/larch-3/", "/home/nobody"} {
		from := time.Now()
		require.NotEqual(t, http.StatusTooManyRequests,
			status(func() (*http.Response, error) { return http.Get(d.HTTP + path) }), path)
		require.Less(t, time.Since(from), 30*time.Second, "%s waited for an upload", path)
	}
	d.Do(http.MethodPost, readings, strings.NewReader(winter(10)), 200)
	for range 8 {
		slowly(readings, 100<<10)
	}
	turnedAway("an upload more than are under way is turned away", func() (*http.Response, error) {
		return http.Post(d.HTTP+readings, "text/csv", strings.NewReader(winter(10)))
	})
	for _, path := range []string{"timeline?step=3600", "assessment", "readings.csv"} {
		d.Do(http.MethodGet, "/api/cases/larch-3/"+path, nil, 200) // sharing seats it would be 429
	}
	close(over)
	uploads.Wait()

	over = make(chan struct{})
	var silent sync.WaitGroup
	for range 6 {
		silent.Go(func() { // asks on and on, and reads nothing
			for {
				c, err := net.Dial("tcp", strings.TrimPrefix(d.HTTP, "http://"))
				if err == nil {
					t.Cleanup(func() { _ = c.Close() })
					err = c.(*net.TCPConn).SetReadBuffer(4096)
				}
				for err == nil {
					_, err = io.WriteString(c, "GET "+question+" HTTP/1.1\r\nHost: localhost\r\n\r\n")
					select {
					case <-over:
						return
					case <-time.After(50 * time.Millisecond):
					}
				}
			}
		})
	}
	asked := func() (*http.Response, error) { return http.Get(d.HTTP + question) }
	turnedAway("questions are turned away", asked)
	from := time.Now()
	d.Do(http.MethodPost, readings, strings.NewReader(winter(10)), 200)
	require.Less(t, time.Since(from), 20*time.Second, "before a seat of the questions is free, after 30 s")
	close(over)
	silent.Wait()
	patience.Until(t, "the silent ones have lost their seats", func() bool { return status(asked) == http.StatusOK })
}

// Row 71: live streams beyond their places are refused as busy, in one counted
// line of the log.
func TestLiveStreamsBeyondTheirPlacesAreRefusedInOneLine(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	newHouse(d)
	const places, more = 200, 300
	for n := range places {
		resp, err := http.Get(d.HTTP + "/api/cases/larch-3/live")
		require.NoError(t, err)
		t.Cleanup(func() { _ = resp.Body.Close() })
		require.Equal(t, http.StatusOK, resp.StatusCode, "stream %d", n+1)
	}
	for n := range more {
		resp, err := http.Get(d.HTTP + "/api/cases/larch-3/live")
		require.NoError(t, err)
		_ = resp.Body.Close()
		require.Equal(t, http.StatusServiceUnavailable, resp.StatusCode, "stream %d", places+n+1)
		require.NotEmpty(t, resp.Header.Get("Retry-After"))
	}
	require.EqualValues(t, more, d.Metric("dewcase_live_refused_total"))
	require.Equal(t, 1, strings.Count(d.Log(), "a live stream was refused"), d.Log())
	require.NotContains(t, d.Log(), "level=ERROR")
}
