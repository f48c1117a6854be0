package crashtest

import (
	"crypto/tls"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
	"dewcase/internal/testkit/patience"
)

// installation is a configuration that is written anew between reloads.
type installation struct {
	t      *testing.T
	dir    string
	bridge string // the line of the user whose messages must not be disturbed
	level  string
	n      int // of the last change
}

func (i *installation) file(name, text string) string {
	i.t.Helper()
	path := filepath.Join(i.dir, name)
	require.NoError(i.t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

const mapping = `
  - topic: probe/{logger}/{quantity}
    case: house-1
    form: number
    fields:
      - {quantity: temp_c, segment: temp, unit: C}
      - {quantity: rh_pct, segment: hum, unit: percent}
`

// change writes the n-th configuration: a user, a mapping, a certificate and a
// level of its own.
func (i *installation) change(n int) string {
	i.t.Helper()
	i.n, i.level = n, []string{"info", "debug"}[n%2]
	hash, err := credentials.Hash("secret")
	require.NoError(i.t, err)
	users := i.file("users", i.bridge+fmt.Sprintf("user-%d:%s\n", n, hash))
	cert, key := Certificate(i.t, int64(n+1), time.Now().Add(time.Hour))
	return i.file("dewcase.yaml", fmt.Sprintf(`http: {cert_file: %[1]q, key_file: %[2]q}
mqtt: {cert_file: %[1]q, key_file: %[2]q, users_file: %[3]q}
log: {level: %[4]s}
mappings:%[5]s  - topic: round-%[6]d/{logger}/{quantity}
    case: house-1
    form: number
    fields: [{quantity: temp_c, segment: temp, unit: C}]
`, i.file("cert.pem", cert), i.file("key.pem", key), users, i.level, mapping, n))
}

var anyServer = &tls.Config{InsecureSkipVerify: true} // of the test's own making

// admitted tries whether the embedded broker takes a user.
func admitted(d *Daemon, user string) bool {
	p := NewPublisher(d.MQTT, "try-"+user, 1)
	p.User, p.Password, p.TLS = user, "secret", anyServer
	conn, err := p.dial()
	if err == nil {
		_ = conn.Close()
	}
	return err == nil
}

// serial is the certificate's that a listener shows.
func serial(t *testing.T, address string) int {
	t.Helper()
	c, err := tls.Dial("tcp", address, anyServer)
	require.NoError(t, err)
	defer c.Close()
	return int(c.ConnectionState().PeerCertificates[0].SerialNumber.Int64())
}

const reloadHouse = `case: house-1
property: {label: House One, timezone: Europe/London, altitude_m: 60}
positions: [{id: loft, place: loft_air}]
loggers:
  - {id: k7, interval_s: 300, fitted: [{position: loft, from: 2026-01-01T00:00:00Z}]}
  - {id: probe, interval_s: 3600}
`

// Users, mappings, certificates and the log's level change ten times while a
// thousand messages a second arrive: each is stored once, halves that wait for
// each other are still paired, and a faulty configuration changes nothing.
func TestReloadsLoseAndDoubleNothing(t *testing.T) {
	hash, err := credentials.Hash("secret")
	require.NoError(t, err)
	in := &installation{t: t, dir: t.TempDir(), bridge: "bridge:" + hash + "\n"}
	conf := in.change(0)
	d := Serve(t, filepath.Join(in.dir, "data"), "-config", conf)
	d.Client.Transport = &http.Transport{TLSClientConfig: anyServer}
	d.Do(http.MethodPut, "/api/cases/house-1/file", strings.NewReader(reloadHouse), 201)

	p := NewPublisher(d.MQTT, "bridge", 500)
	p.User, p.Password, p.TLS = "bridge", "secret", anyServer
	halves := NewPublisher(d.MQTT, "halves", 1)
	halves.User, halves.Password, halves.TLS = "bridge", "secret", anyServer
	stop, sent := make(chan struct{}), make(chan int)
	began := time.Now()
	go func() {
		n := 0
		at := time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)
		for ; ; n++ {
			select {
			case <-stop:
				sent <- n
				return
			default:
				time.Sleep(time.Until(began.Add(time.Duration(n) * time.Millisecond))) // a thousand a second
				_ = p.Send(Sent{N: n, Topic: "dewcase/house-1/k7", Payload: fmt.Appendf(nil,
					`{"time":%q,"temp_c":%.2f,"rh_pct":80}`, at.Add(time.Duration(n)*time.Second).Format(time.RFC3339),
					float64(n%1000)/100)})
			}
		}
	}()
	reload := func(saying string) {
		t.Helper()
		before := strings.Count(d.Log(), saying)
		d.Signal(syscall.SIGHUP)
		patience.Until(t, saying, func() bool { return strings.Count(d.Log(), saying) > before })
	}
	half := func(quantity, value string) {
		t.Helper()
		require.NoError(t, halves.Send(Sent{Topic: "probe/probe/" + quantity, Payload: []byte(value)}))
		require.NoError(t, halves.Flush())
	}
	pages := strings.TrimPrefix(d.HTTP, "https://")
	for n := 1; n <= 10; n++ {
		half("temp", fmt.Sprintf("%d", n))
		in.change(n)
		reload("the configuration was read again")
		half("hum", "80")
		require.True(t, admitted(d, fmt.Sprintf("user-%d", n)))
		require.False(t, admitted(d, fmt.Sprintf("user-%d", n-1)))
		require.Equal(t, n+1, serial(t, pages))
		require.Equal(t, n+1, serial(t, d.MQTT))
		patience.Until(t, "another thousand came", func() bool { return p.AckedCount() >= 1000*n })
	}
	for what, spoil := range map[string]func(){
		"dewcase.yaml:2: mqtt.user_file": func() { in.replace("users_file", "user_file") },
		"log.level":                      func() { in.replace("level: info", "level: loud") },
		"mappings[0].fields":             func() { in.replace("unit: C}\n", "unit: X}\n") },
		"users:2:":                       func() { in.file("users", in.bridge+"user-99\n") },
		"private key does not match":     func() { in.onlyKey() },
	} {
		in.change(98)
		spoil()
		reload("the one before holds")
		require.Contains(t, d.Log(), what)
		require.True(t, admitted(d, "user-10"), what)
		require.False(t, admitted(d, "user-98"), what)
		require.Equal(t, 11, serial(t, pages), what)
	}
	in.change(11)
	in.replace("log:", "alerts: {digest_at: never}\nlog:")
	reload("takes_a_restart=alerts")
	close(stop)
	n := <-sent
	rate := float64(n) / time.Since(began).Seconds()
	require.NoError(t, p.Flush())
	require.Len(t, p.Acked(), n)
	require.Zero(t, p.Resent(), "a user whose line stays is not disturbed")
	t.Logf("%d messages, %.0f a second", n, rate)
	require.Equal(t, float64(n+20), d.Metric("dewcase_readings_stored_total")+d.Metric("dewcase_readings_merged_total"))
	require.Zero(t, d.Metric("dewcase_readings_duplicate_total"))
	csv := string(d.Do(http.MethodGet, "/api/cases/house-1/readings.csv", nil, 200))
	require.Equal(t, n+10, strings.Count(csv, "\n")-1, "halves were paired over the reload between them")
	require.Equal(t, 10, strings.Count(csv, ",probe,"))
	require.Zero(t, d.Stop(), d.Log())
}

func (i *installation) replace(old, with string) {
	i.t.Helper()
	text, err := os.ReadFile(filepath.Join(i.dir, "dewcase.yaml"))
	require.NoError(i.t, err)
	require.Contains(i.t, string(text), old)
	i.file("dewcase.yaml", strings.Replace(string(text), old, with, 1))
}

func (i *installation) onlyKey() {
	_, key := Certificate(i.t, 1, time.Now().Add(time.Hour))
	i.file("key.pem", key)
}
