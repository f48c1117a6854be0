package mqttfeed

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"sync"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"dewcase/internal/door/mqtt/mqttframe"
)

// writeTimeout is how long one acknowledgement may take to leave.
const writeTimeout = 10 * time.Second

var (
	errSilent = errors.New("the broker has been silent for longer than one and a half keep-alive times")
	errFull   = errors.New("left the broker until the store has room")
	errNoSub  = errors.New("the broker did not answer the subscription")
)

// link is one connection, watched: a broker that is gone without a word is
// noticed, and messages that are too large are discarded unread.
type link struct {
	net.Conn
	in     io.Reader
	silent time.Duration
	cause  atomic.Pointer[error]
	unhook func() bool // from the feed's end

	mu    sync.Mutex
	limit time.Time
}

// open is the library's way to the broker.
func (f *Feed) open(*url.URL, paho.ClientOptions) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(f.base, connectTimeout)
	defer cancel()
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", f.server.Host)
	if err != nil {
		return nil, err
	}
	if f.secure {
		cfg, err := f.tlsConfig()
		if err != nil {
			return nil, errors.Join(err, conn.Close())
		}
		secured := tls.Client(conn, cfg)
		if err := secured.HandshakeContext(ctx); err != nil {
			_ = conn.Close()
			return nil, err
		}
		conn = secured
	}
	l := &link{Conn: conn, silent: f.opts.KeepAlive * 3 / 2}
	l.in = mqttframe.NewReaderFromBroker(timed{l}, f.opts.MaxPayloadBytes)
	l.unhook = context.AfterFunc(f.base, func() { _ = l.Conn.Close() })
	f.link.Store(l)
	return l, nil
}

// drop ends the connection for a reason of ours.
func (f *Feed) drop(cause error) {
	if l := f.link.Load(); l != nil {
		l.cause.CompareAndSwap(nil, &cause)
		_ = l.Close()
	}
}

func (l *link) Read(p []byte) (int, error) { return l.in.Read(p) }

// Write gives each write its own time.
func (l *link) Write(p []byte) (int, error) {
	if err := l.Conn.SetWriteDeadline(time.Now().Add(writeTimeout)); err != nil {
		return 0, l.why(err)
	}
	n, err := l.Conn.Write(p)
	return n, l.why(err)
}

func (l *link) Close() error {
	l.unhook()
	return l.Conn.Close()
}

// acknowledge writes acknowledgements in one go; the library writes its packets
// in one piece each, so none falls into another. An error is the reader's to see.
func (l *link) acknowledge(acks []byte) {
	if l != nil && len(acks) > 0 {
		_, _ = l.Write(acks)
	}
}

// SetDeadline is called by the library around the greeting.
func (l *link) SetDeadline(t time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.limit = t
	return nil
}

// SetWriteDeadline is ours alone.
func (l *link) SetWriteDeadline(time.Time) error { return nil }

// why replaces the error of a connection we closed ourselves: the library takes
// "use of closed network connection" for its own doing and would wait for ever.
func (l *link) why(err error) error {
	if err == nil {
		return nil
	}
	if cause := l.cause.Load(); cause != nil {
		return *cause
	}
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return errSilent
	}
	return err
}

// timed is the link below the message filter: every read has its time.
type timed struct{ *link }

func (t timed) Read(p []byte) (int, error) {
	t.mu.Lock()
	end := t.limit
	t.mu.Unlock()
	if silent := time.Now().Add(t.silent); end.IsZero() || silent.Before(end) {
		end = silent
	}
	if err := t.Conn.SetReadDeadline(end); err != nil {
		return 0, t.why(err)
	}
	n, err := t.Conn.Read(p)
	return n, t.why(err)
}

// tlsConfig reads the certificates anew; nil without TLS.
func (f *Feed) tlsConfig() (*tls.Config, error) {
	if !f.secure {
		return nil, nil
	}
	cfg := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: f.host}
	if f.opts.CAFile != "" {
		pem, err := os.ReadFile(f.opts.CAFile)
		if err != nil {
			return nil, errors.New(plainFileError("mqtt.ca_file", err))
		}
		cfg.RootCAs = x509.NewCertPool()
		if !cfg.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("mqtt.ca_file: %s: holds no certificate in PEM form", f.opts.CAFile)
		}
	}
	if (f.opts.CertFile == "") != (f.opts.KeyFile == "") {
		return nil, errors.New("mqtt.cert_file and mqtt.key_file: give both or neither")
	}
	if f.opts.CertFile != "" {
		pair, err := tls.LoadX509KeyPair(f.opts.CertFile, f.opts.KeyFile)
		if err != nil {
			var p *os.PathError
			if errors.As(err, &p) {
				return nil, errors.New(plainFileError("mqtt.cert_file or mqtt.key_file", err))
			}
			return nil, fmt.Errorf("mqtt.cert_file %s does not go with mqtt.key_file %s: %w", f.opts.CertFile, f.opts.KeyFile,
				err)
		}
		cfg.Certificates = []tls.Certificate{pair}
	}
	return cfg, nil
}
