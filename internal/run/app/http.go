package app

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/door/http/api"
	"dewcase/internal/door/http/gate"
	"dewcase/internal/door/mqtt/mqttfeed"
	"dewcase/internal/run/config"
)

func (a *App) openHTTP(context.Context) error {
	c := a.opt.Config.HTTP
	var err error
	if a.gate, err = a.newGate(c); err != nil {
		return err
	}
	tls, err := a.pagesCert.serverTLS("the pages", c.CertFile, c.KeyFile)
	if err != nil {
		return err
	}
	routes, err := a.router(a.gate)
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return fmt.Errorf("listening for pages on %s (http.listen, or -http): %w", c.Listen, taken(err))
	}
	a.listener = &fair{Listener: l, open: map[netip.Addr]int{}, proxies: c.Proxies}
	a.server = &http.Server{Handler: routes, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 60 * time.Second,
		WriteTimeout: 5 * time.Minute,
		IdleTimeout:  2 * time.Minute, MaxHeaderBytes: 64 << 10, TLSConfig: tls, ErrorLog: quiet(a.opt.Log),
		BaseContext: func(net.Listener) context.Context { return a.base }}
	a.onStop("the pages", func(ctx context.Context) error {
		a.hub.close()
		err := a.server.Shutdown(ctx)
		if errors.Is(err, context.DeadlineExceeded) {
			err = a.server.Close()
		}
		_ = a.listener.Close() // open but never served, where the start failed later
		return err
	})
	return nil
}

// taken says what to do where another program has a port.
func taken(err error) error {
	if errors.Is(err, syscall.EADDRINUSE) {
		return fmt.Errorf("%w: another program has this port, perhaps another dewcase; stop that one, or take another port "+
			"(0 picks a free one)", err)
	}
	return err
}

func (a *App) newGate(c config.HTTP) (*gate.Gate, error) {
	hash, token, err := httpSecrets(a.opt.Config)
	if err != nil {
		return nil, err
	}
	wide := !config.Loopback(c.Listen)
	if wide && hash == "" && token == "" {
		return nil, fmt.Errorf("pages listening on %s can be reached from other machines and need credentials: set the "+
			"consultant's password (run `dewcase password`, write its hash to a file, name it in http.password_file) or an "+
			"administrator's token (DEWCASE_TOKEN or http.token_file), or listen on 127.0.0.1", c.Listen)
	}
	hosts := append([]string{}, c.Hosts...)
	if host, _, err := net.SplitHostPort(c.Listen); err == nil && host != "" {
		hosts = append(hosts, host)
	}
	// a proxy passes the name on that people asked for
	if u, err := url.Parse(c.PublicURL); err == nil && u.Hostname() != "" {
		hosts = append(hosts, u.Hostname())
	}
	if wide {
		if own, err := os.Hostname(); err == nil {
			hosts = append(hosts, own, own+".local")
		}
	}
	demand := a.opt.Config.Demands(hash, token)
	code, err := a.setUpCode(hash, demand)
	if err != nil {
		return nil, err
	}
	tokens, err := readPushTokens(c)
	if err != nil {
		return nil, err
	}
	a.pushTokens.Store(tokens)
	return gate.New(gate.Options{Push: a.pushToken, Hosts: hosts, Proxies: c.Proxies, PasswordHash: hash, Token: token,
		Demand: demand, SetUpCode: code, Keep: a.keepPassword,
		Secure: c.CertFile != "" || strings.HasPrefix(c.PublicURL, "https:"),
		Open:   []string{"/healthz", "/readyz", "/login", "/assets/", "/favicon.svg", "/home/"}, Log: a.opt.Log}), nil
}

func (a *App) router(g *gate.Gate) (http.Handler, error) {
	r := chi.NewRouter()
	r.Use(gate.Headers)
	r.Use(g.Wrap)
	r.Use(headed)
	r.Use(a.elsewhere)
	r.Get("/healthz", func(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "alive") })
	r.Get("/readyz", func(w http.ResponseWriter, _ *http.Request) {
		if problems := a.problems(); len(problems) > 0 {
			plain(w, http.StatusServiceUnavailable, strings.Join(problems, "\n"))
			return
		}
		// Readings are taken and durable meanwhile, so it is told and no more.
		told := slices.DeleteFunc([]string{"ready", a.disk().Words, a.mirrorTrouble().Words},
			func(s string) bool { return s == "" })
		plain(w, http.StatusOK, strings.Join(told, "\n"))
	})
	r.Handle("/metrics", a.metrics.Handler())
	api.Mount(r, api.Options{Cases: a.book, Readings: a.intake(), Views: a.views(),
		Moves: a.mover, Houses: a.houseRows(), Alerts: a.bell, Live: a.hub,
		Messages: pushes{a.path, a.opt.Now}, MaxMessage: int64(a.opt.Config.MQTT.MaxPayloadKB) << 10,
		Forecasts: a.bell, Version: a.opt.Version,
		MaxBody: int64(a.opt.Config.HTTP.MaxBodyMB) << 20, Log: a.opt.Log})
	return r, a.pages(r, g)
}

// headed answers HEAD as GET; net/http leaves the body out. A live stream never
// ends, so it has no such answer.
func headed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method == http.MethodHead && !strings.HasSuffix(r.URL.Path, "/live") {
			r = r.WithContext(r.Context())
			r.Method = http.MethodGet
		}
		next.ServeHTTP(w, r)
	})
}

func plain(w http.ResponseWriter, code int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_, _ = fmt.Fprintln(w, text)
}

// problems are what keeps the daemon from doing its job now, in words.
func (a *App) problems() []string {
	var out []string
	if f := a.store.Failing(); f != nil {
		out = append(out, fmt.Sprintf("the store cannot write since %s: %v; nothing is acknowledged until it can",
			f.Since.UTC().Format(time.RFC3339), f.Err))
	}
	if words := a.incident().Words; words != "" {
		out = append(out, words)
	}
	if a.feed != nil {
		if s := a.feed.Status(); !s.Ready() {
			out = append(out, "the MQTT broker "+s.Broker+": "+trouble(s))
		}
	}
	return out
}

func trouble(s mqttfeed.Status) string {
	switch {
	case s.Error != "":
		return s.Error
	case s.StoreError != "":
		return s.StoreError
	case len(s.Refused) > 0:
		return "it refuses the subscriptions " + strings.Join(s.Refused, ", ")
	}
	return "not connected yet"
}

// fair refuses further connections of an address that has very many open, so
// that one machine cannot take every place; this machine itself and named
// proxies, which stand for many, are trusted.
type fair struct {
	net.Listener
	proxies []netip.Prefix
	mu      sync.Mutex
	open    map[netip.Addr]int
}

const maxPerAddress = 128

func (f *fair) Accept() (net.Conn, error) {
	for {
		c, err := f.Listener.Accept()
		if err != nil {
			return nil, err
		}
		tcp, ok := c.RemoteAddr().(*net.TCPAddr)
		if !ok {
			return c, nil
		}
		from := tcp.AddrPort().Addr().Unmap()
		if from.IsLoopback() || slices.ContainsFunc(f.proxies, func(p netip.Prefix) bool { return p.Contains(from) }) {
			return c, nil
		}
		f.mu.Lock()
		if f.open[from] >= maxPerAddress {
			f.mu.Unlock()
			_ = c.Close()
			continue
		}
		f.open[from]++
		f.mu.Unlock()
		return &counted{Conn: c, leave: func() {
			f.mu.Lock()
			defer f.mu.Unlock()
			if f.open[from]--; f.open[from] == 0 {
				delete(f.open, from)
			}
		}}, nil
	}
}

type counted struct {
	net.Conn
	once  sync.Once
	leave func()
}

func (c *counted) Close() error {
	c.once.Do(c.leave)
	return c.Conn.Close()
}
