package mqttfeed

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/big"
	"net"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	mochipackets "github.com/mochi-mqtt/server/v2/packets"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

// authority signs certificates for tests.
type authority struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	pem  string
}

func newAuthority(t testing.TB) authority {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test authority"}, IsCA: true,
		BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign, NotBefore: time.Now().Add(-48 * time.Hour),
		NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, &key.PublicKey, key)
	require.NoError(t, err)
	cert, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	return authority{cert, key, pemOf("CERTIFICATE", der)}
}

func pemOf(kind string, der []byte) string {
	return string(pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}))
}

// issue makes a certificate for an address or name, valid until then.
func (a authority) issue(t testing.TB, name string, until time.Time) (cert, key string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: name},
		NotBefore: time.Now().Add(-24 * time.Hour), NotAfter: until,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}}
	if ip := net.ParseIP(name); ip != nil {
		tmpl.IPAddresses = []net.IP{ip}
	} else {
		tmpl.DNSNames = []string{name}
	}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, a.cert, &k.PublicKey, a.key)
	require.NoError(t, err)
	kd, err := x509.MarshalPKCS8PrivateKey(k)
	require.NoError(t, err)
	return pemOf("CERTIFICATE", der), pemOf("PRIVATE KEY", kd)
}

const secure = mosquittotest.Quick + "cafile {dir}/ca.pem\ncertfile {dir}/server.pem\nkeyfile {dir}/server.key\n"

// secured starts a broker with a certificate for the name.
func secured(t testing.TB, ca authority, name string, until time.Time, more string) *mosquittotest.Broker {
	t.Helper()
	b := mosquittotest.New(t, secure+more)
	cert, key := ca.issue(t, name, until)
	b.Write("ca.pem", ca.pem)
	b.Write("server.pem", cert)
	b.Write("server.key", key)
	b.Restart()
	return b
}

func TestReadingsArriveOverTLSWithAClientCertificate(t *testing.T) {
	ca := newAuthority(t)
	b := secured(t, ca, "127.0.0.1", time.Now().Add(time.Hour), "require_certificate true\n")
	r := &recorder{}
	o := options(b, r)
	o.URL, o.CAFile = "mqtts://"+b.Addr(), b.Write("our-ca.pem", ca.pem)

	without := start(t, o)
	patience.Until(t, "refused without a certificate", func() bool {
		return strings.Contains(without.Status().Error, "refuses our certificate")
	})
	stop(t, without)

	cert, key := ca.issue(t, "dewcase", time.Now().Add(time.Hour))
	o.CertFile, o.KeyFile = b.Write("our.pem", cert), b.Write("our.key", key)
	f := start(t, o)
	ready(t, f)
	require.NoError(t, f.Publish("dewcase/a/k7", []byte("sealed"), false))
	patience.Until(t, "arrives", func() bool { return len(r.messages()) == 1 })
}

func TestABrokersCertificateThatCannotBeTrustedIsRefusedInPlainWords(t *testing.T) {
	ca, other := newAuthority(t), newAuthority(t)
	hour := time.Now().Add(time.Hour)
	for name, c := range map[string]struct {
		host  string
		until time.Time
		trust authority
		want  string
	}{
		"expired":         {"127.0.0.1", time.Now().Add(-time.Minute), ca, "expired"},
		"wrong name":      {"broker.example", hour, ca, "is not for \"127.0.0.1\""},
		"changed CA":      {"127.0.0.1", hour, other, "set mqtt.ca_file"},
		"good after all:": {"127.0.0.1", hour, ca, ""},
	} {
		t.Run(name, func(t *testing.T) {
			b := secured(t, ca, c.host, c.until, "")
			o := options(b, &recorder{})
			o.URL, o.CAFile = "mqtts://"+b.Addr(), b.Write("our-ca.pem", c.trust.pem)
			f := start(t, o)
			if c.want == "" {
				ready(t, f)
				return
			}
			patience.Until(t, c.want, func() bool { return strings.Contains(f.Status().Error, c.want) })
			require.False(t, f.Status().Connected)
		})
	}
}

func TestNoPlainTextWhereTLSWasAskedFor(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	o := options(b, &recorder{})
	o.URL = "mqtts://" + b.Addr()
	f := start(t, o)
	patience.Until(t, "said", func() bool { return f.Status().Error != "" && f.Status().Error != "not connected yet" })
	require.False(t, f.Status().Connected)
	require.Zero(t, f.Status().Connections)
}

func TestAWrongPasswordIsSaidOnceWithoutThePasswordAndNotHurriedAfter(t *testing.T) {
	b := mosquittotest.New(t, strings.Replace(mosquittotest.Quick, "allow_anonymous true",
		"allow_anonymous false\npassword_file {dir}/passwords", 1))
	b.Passwords(map[string]string{"dewcase": "right-horse"})
	b.Restart()
	var mu sync.Mutex
	var logs bytes.Buffer
	password := "wrong-horse"
	o := options(b, &recorder{})
	o.Username = "dewcase"
	o.Password = func() (string, error) { mu.Lock(); defer mu.Unlock(); return password, nil }
	o.Logger = slog.New(slog.NewTextHandler(
		writer(func(p []byte) (int, error) { mu.Lock(); defer mu.Unlock(); return logs.Write(p) }), nil))
	f := start(t, o)
	patience.Until(t, "said", func() bool { return strings.Contains(f.Status().Error, "mqtt.password_file") })
	attempts := func() int { return strings.Count(b.Log(), "not authorised") }
	patience.Until(t, "tried again", func() bool { return attempts() >= 2 })
	mu.Lock()
	require.Equal(t, 1, strings.Count(logs.String(), "level=WARN"), logs.String())
	require.NotContains(t, logs.String(), "horse")
	password = "right-horse" // the file was corrected
	mu.Unlock()
	ready(t, f)
	require.GreaterOrEqual(t, usual.refused, 30*time.Second)

	unreadable := o
	unreadable.Password = func() (string, error) { return "", fmt.Errorf("no such file") }
	g := start(t, unreadable)
	patience.Until(t, "refused", func() bool { return strings.Contains(g.Status().Error, "mqtt.password_file") })
}

type writer func([]byte) (int, error)

func (w writer) Write(p []byte) (int, error) { return w(p) }

// denying is a broker that refuses subscriptions, as Mosquitto does with its
// security plug-in; a plain access list of Mosquitto's grants them and then
// delivers nothing.
type denying struct {
	mochi.HookBase
	deny func(filter string) bool
}

func (*denying) ID() string { return "denying" }
func (*denying) Provides(b byte) bool {
	return b == mochi.OnACLCheck || b == mochi.OnConnectAuthenticate
}
func (*denying) OnConnectAuthenticate(*mochi.Client, mochipackets.Packet) bool { return true }
func (d *denying) OnACLCheck(_ *mochi.Client, topic string, write bool) bool {
	return write || !d.deny(topic)
}

func TestARefusedSubscriptionIsToldAndAskedForAgain(t *testing.T) {
	var mu sync.Mutex
	denied := "zigbee/#"
	srv := mochi.New(&mochi.Options{Logger: slog.New(slog.DiscardHandler)})
	require.NoError(t, srv.AddHook(&denying{deny: func(
		f string) bool {
		mu.Lock()
		defer mu.Unlock()
		return f == denied
	}}, nil))
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, srv.AddListener(listeners.NewNet("t", l)))
	require.NoError(t, srv.Serve())
	t.Cleanup(func() { _ = srv.Close() })
	f := start(t, Options{URL: "mqtt://" + l.Addr().String(), ClientID: "dewcase",
		Topics: []string{"dewcase/#", "zigbee/#"}, Handler: (&recorder{}).handle})
	patience.Until(t, "told", func() bool {
		return strings.Contains(f.Status().Error,
			"refuses the subscription to zigbee/#")
	})
	s := f.Status()
	require.True(t, s.Connected)
	require.False(t, s.Ready())
	require.Equal(t, []string{"zigbee/#"}, s.Refused)
	mu.Lock()
	denied = "" // its owner corrected the access list
	mu.Unlock()
	ready(t, f)
	require.EqualValues(t, 1, f.Status().Connections)
}

func TestAnotherProgramUnderOurNameIsRecognisedAndNotFought(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	f := start(t, options(b, &recorder{}))
	f2, err := New(options(b, &recorder{})) // the same client identifier
	require.NoError(t, err)
	f2.pause = quick
	require.NoError(t, f2.Start())
	told := func() bool {
		return strings.Contains(f.Status().Error, "another program uses the client identifier") ||
			strings.Contains(f2.Status().Error, "another program uses the client identifier")
	}
	patience.Until(t, "told", told)
	stop(t, f2)
	ready(t, f)
	require.GreaterOrEqual(t, usual.usurped, time.Minute, "no more than one take-over a minute from then on")
}

// proxy is a bad link: it delays, breaks into small pieces, swallows and resets.
type proxy struct {
	net.Listener
	to    string
	mu    sync.Mutex
	open  []net.Conn
	swall bool
}

func newProxy(t testing.TB, to string) *proxy {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p := &proxy{Listener: l, to: to}
	var running sync.WaitGroup
	running.Go(func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial("tcp", to)
			if err != nil {
				_ = in.Close()
				continue
			}
			p.mu.Lock()
			p.open = append(p.open, in, out)
			p.mu.Unlock()
			running.Go(func() { p.carry(in, out) })
			running.Go(func() { p.carry(out, in) })
		}
	})
	t.Cleanup(func() { _ = l.Close(); p.reset(); running.Wait() })
	return p
}

func (p *proxy) carry(from, to net.Conn) {
	defer to.Close()
	defer from.Close()
	buf := make([]byte, 7)
	for {
		n, err := from.Read(buf)
		p.mu.Lock()
		swallow := p.swall
		p.mu.Unlock()
		if n > 0 && !swallow {
			if _, err := to.Write(buf[:n]); err != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}

// reset breaks every connection at once.
func (p *proxy) reset() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.open {
		if tcp, ok := c.(*net.TCPConn); ok {
			_ = tcp.SetLinger(0)
		}
		_ = c.Close()
	}
	p.open = nil
}

func (p *proxy) swallow(on bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.swall = on
}

func TestABadLinkLosesNothingAndLeaksNothing(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	p := newProxy(t, b.Addr())
	r := &recorder{}
	o := options(b, r)
	o.URL = "mqtt://" + p.Addr().String()
	f := start(t, o)
	ready(t, f)
	before := runtime.NumGoroutine()
	c := publisher(t, b)
	for round := range 8 {
		publish(t, c, round*50, round*50+50)
		p.reset()
		patience.Until(t, "back", func() bool { return f.Status().Connections > int64(round+1) })
	}
	patience.Until(t, "all arrive", func() bool {
		have := map[string]bool{}
		for _, s := range r.payloads() {
			have[s] = true
		}
		return len(have) == 400
	})
	c.Disconnect(100)
	ready(t, f)
	patience.Until(t, "no goroutine left behind", func() bool { return runtime.NumGoroutine() <= before+4 })
}

func TestAHalfOpenLinkIsNoticed(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	p := newProxy(t, b.Addr())
	r := &recorder{}
	o := options(b, r)
	o.URL, o.KeepAlive = "mqtt://"+p.Addr().String(), 2*time.Second
	f := start(t, o)
	ready(t, f)
	p.swallow(true)
	patience.Until(t, "noticed", func() bool { return !f.Status().Connected })
	p.swallow(false)
	ready(t, f)
	publish(t, publisher(t, b), 0, 10)
	patience.Until(t, "flows again", func() bool { return len(r.messages()) == 10 })
}

func TestTroublesHaveWordsOfTheirOwn(t *testing.T) {
	f, err := New(Options{URL: "mqtt://broker.example", ClientID: "x", Topics: []string{"a"},
		Handler: (&recorder{}).handle})
	require.NoError(t, err)
	said := map[string]bool{}
	for _, trouble := range []error{
		&net.DNSError{Err: "no such host", Name: "broker.example"}, syscall.ECONNREFUSED, io.EOF, errSilent,
		errors.New("something else"), context.DeadlineExceeded,
	} {
		words, _ := f.explain(fmt.Errorf("network Error : %w", trouble))
		require.Contains(t, words, "broker")
		said[words] = true
	}
	require.Len(t, said, 6)
}

func TestJitterSpreadsWaits(t *testing.T) {
	seen := map[time.Duration]bool{}
	for range 100 {
		d := jitter(time.Second)
		require.GreaterOrEqual(t, d, 500*time.Millisecond)
		require.LessOrEqual(t, d, 1500*time.Millisecond)
		seen[d] = true
	}
	require.Greater(t, len(seen), 90)
}
