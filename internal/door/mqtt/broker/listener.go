package broker

import (
	"crypto/tls"
	"errors"
	"io"
	"log/slog"
	"net"
	"sync"
	"time"

	"dewcase/internal/door/mqtt/mqttframe"
)

// listener hands out connections that can do no harm by themselves: their number
// is limited, they must say CONNECT in time, a client that does not read is
// dropped, and messages that are too large are discarded on the way in.
type listener struct {
	net.Listener
	tls        *tls.Config
	limit      int
	maxPayload int
	patience   time.Duration // from TCP connection to CONNECT, TLS included
	log        *slog.Logger

	mu     sync.Mutex
	conns  map[*guardedConn]struct{}
	hosts  map[string]int // open connections by address, this machine's left out
	closed bool
}

func newListener(inner net.Listener, cfg *tls.Config, limit, maxPayload int, log *slog.Logger) *listener {
	return &listener{Listener: inner, tls: cfg, limit: limit, maxPayload: maxPayload, patience: connectTimeout, log: log,
		conns: make(map[*guardedConn]struct{}), hosts: make(map[string]int)}
}

// Accept waits for a connection. Short of descriptors it waits and tries again:
// the library would stop listening for ever.
func (l *listener) Accept() (net.Conn, error) {
	pause := 5 * time.Millisecond
	for {
		raw, err := l.Listener.Accept()
		if err != nil {
			if l.isClosed() || errors.Is(err, net.ErrClosed) {
				return nil, err
			}
			if pause > time.Second {
				l.log.Warn("no new MQTT connection can be taken", "error", err)
			}
			time.Sleep(pause)
			pause = min(2*pause, 2*time.Second)
			continue
		}
		c := raw
		if l.tls != nil {
			c = tls.Server(raw, l.tls)
		}
		host, _, _ := net.SplitHostPort(raw.RemoteAddr().String())
		g := &guardedConn{Conn: c, in: mqttframe.NewReader(c, l.maxPayload), from: l, host: host}
		if !l.add(g) {
			_ = raw.Close()
			continue
		}
		return g, nil
	}
}

func (l *listener) add(g *guardedConn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	// One address may not take every place: it gets half of them.
	if l.closed || len(l.conns) >= l.limit || l.hosts[g.host] >= l.limit/2 {
		return false
	}
	_ = g.Conn.SetReadDeadline(time.Now().Add(l.patience))
	l.conns[g] = struct{}{}
	if !isLoopbackHost(g.host) {
		l.hosts[g.host]++
	}
	return true
}

func (l *listener) remove(g *guardedConn) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.conns, g)
	if l.hosts[g.host]--; l.hosts[g.host] <= 0 {
		delete(l.hosts, g.host)
	}
}

func (l *listener) isClosed() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.closed
}

// Close takes no further connections.
func (l *listener) Close() error {
	l.mu.Lock()
	already := l.closed
	l.closed = true
	l.mu.Unlock()
	if already {
		return nil
	}
	return l.Listener.Close()
}

// closeAll ends every connection still open, those that never said CONNECT too.
func (l *listener) closeAll() {
	l.mu.Lock()
	open := make([]*guardedConn, 0, len(l.conns))
	for g := range l.conns {
		open = append(open, g)
	}
	l.mu.Unlock()
	for _, g := range open {
		_ = g.Close()
	}
}

// guardedConn is one client's connection.
type guardedConn struct {
	net.Conn
	in   io.Reader
	from *listener
	host string
	once sync.Once
}

func (g *guardedConn) Read(p []byte) (int, error) { return g.in.Read(p) }

// Write gives each write its own time: the library's deadline counts from the
// last packet read, which is long ago while a logger waits for the disk.
func (g *guardedConn) Write(p []byte) (int, error) {
	if err := g.Conn.SetWriteDeadline(time.Now().Add(writeTimeout)); err != nil {
		return 0, err
	}
	return g.Conn.Write(p)
}

// SetDeadline is called by the library for the keep-alive time; it concerns reading.
func (g *guardedConn) SetDeadline(t time.Time) error { return g.Conn.SetReadDeadline(t) }

func (g *guardedConn) Close() error {
	g.once.Do(func() { g.from.remove(g) })
	return g.Conn.Close()
}
