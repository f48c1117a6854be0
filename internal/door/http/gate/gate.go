// Package gate stands before every page and API route: it refuses foreign host
// names and cross-site changes, asks for credentials where they are demanded,
// slows guessing down and bounds what costly requests may use.
package gate

import (
	"context"
	"encoding/json"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/alexedwards/scs/v2"
	"golang.org/x/time/rate"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/floodlog"
)

// Options say who may come in.
type Options struct {
	Hosts        []string // names the pages may be asked for under, beside localhost and addresses
	PasswordHash string   // the consultant's; "" none
	Token        string   // the administrator's; "" none
	Demand       bool     // nobody comes in without credentials
	Secure       bool     // cookies over HTTPS only
	Open         []string // path prefixes that carry their own token or tell nothing
	Log          *slog.Logger
}

// Gate is the checked way in.
type Gate struct {
	opt      Options
	sessions *scs.SessionManager
	guesses  guesses
	wrongs   floodlog.Log // loopback is never locked out, so guesses from there may come in floods
}

// New builds a gate.
func New(opt Options) *Gate {
	s := scs.New()
	s.Lifetime, s.IdleTimeout = 30*24*time.Hour, 7*24*time.Hour
	s.Cookie.Name, s.Cookie.HttpOnly, s.Cookie.SameSite, s.Cookie.Secure = "dewcase", true, http.SameSiteLaxMode,
		opt.Secure
	return &Gate{opt: opt, sessions: s, guesses: guesses{by: map[string]*rate.Limiter{}},
		wrongs: floodlog.Log{To: opt.Log, Lines: 5, Within: time.Minute}}
}

// Problem is an error as RFC 9457 describes it.
type Problem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
}

// Refuse answers with a problem object.
func Refuse(w http.ResponseWriter, status int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(Problem{Type: "about:blank", Title: http.StatusText(status), Status: status,
		Detail: detail})
}

// Wrap puts the gate before a handler.
func (g *Gate) Wrap(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		Refuse(w, http.StatusForbidden, "a change asked for by a page of another site is refused")
	}))
	return g.hosts(cross.Handler(g.sessions.LoadAndSave(g.credentials(next))))
}

// hosts refuses names that are not ours: a page elsewhere whose name was made
// to point here (DNS rebinding) comes with its own name.
func (g *Gate) hosts(next http.Handler) http.Handler {
	allowed := map[string]bool{"localhost": true}
	for _, h := range g.opt.Hosts {
		allowed[strings.ToLower(h)] = true
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host := r.Host
		if h, _, err := net.SplitHostPort(host); err == nil {
			host = h
		}
		host = strings.ToLower(strings.Trim(strings.TrimSuffix(host, "."), "[]"))
		if _, err := netip.ParseAddr(host); err != nil && !allowed[host] {
			Refuse(w, http.StatusMisdirectedRequest, "this daemon does not answer under the name it was asked for; add it to "+
				"http.hosts in the configuration if it should")
			return
		}
		next.ServeHTTP(w, r)
	})
}

const sessionUser = "user"

func (g *Gate) credentials(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		who := ""
		if h := r.Header.Get("Authorization"); h != "" {
			token, bearer := strings.CutPrefix(h, "Bearer ")
			switch {
			case g.guesses.tired(r):
				g.tooMany(w)
				return
			case !bearer || g.opt.Token == "" || !credentials.Same(token, g.opt.Token):
				g.guesses.count(r)
				g.unauthorized(w, "the token is not the administrator's")
				return
			}
			who = "administrator"
		} else if g.sessions.GetString(r.Context(), sessionUser) != "" {
			who = "consultant"
		}
		if who == "" && g.opt.Demand && !g.open(r.URL.Path) {
			if r.Method == http.MethodGet && !strings.HasPrefix(r.URL.Path, "/api/") && r.URL.Path != "/metrics" {
				http.Redirect(w, r, "/login?next="+url.QueryEscape(r.URL.RequestURI()), http.StatusSeeOther)
				return
			}
			g.unauthorized(w, "log in, or send the administrator's token as Authorization: Bearer")
			return
		}
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), whoKey{}, who)))
	})
}

func (g *Gate) open(path string) bool {
	for _, p := range g.opt.Open {
		if path == p || strings.HasSuffix(p, "/") && strings.HasPrefix(path, p) {
			return true
		}
	}
	return false
}

func (g *Gate) unauthorized(w http.ResponseWriter, detail string) {
	w.Header().Set("WWW-Authenticate", `Bearer realm="dewcase"`)
	Refuse(w, http.StatusUnauthorized, detail)
}

func (g *Gate) tooMany(w http.ResponseWriter) {
	w.Header().Set("Retry-After", "60")
	Refuse(w, http.StatusTooManyRequests, "too many wrong tries from this address; wait a minute")
}

type whoKey struct{}

// Who is who asked: "administrator", "consultant", or "" where nobody was
// demanded.
func Who(ctx context.Context) string {
	who, _ := ctx.Value(whoKey{}).(string)
	return who
}

// Demanded reports whether the gate asks for credentials at all.
func (g *Gate) Demanded() bool { return g.opt.Demand }

// LogIn checks the consultant's password and opens a session; tired is true
// where the address has guessed too often.
func (g *Gate) LogIn(r *http.Request, password string) (ok, tired bool) {
	if g.guesses.tired(r) {
		return false, true
	}
	if g.opt.PasswordHash != "" {
		good, err := credentials.Verify(g.opt.PasswordHash, password)
		if err != nil {
			g.opt.Log.Error("the consultant's password file cannot be used", "error", err)
		}
		if good && g.sessions.RenewToken(r.Context()) == nil {
			g.sessions.Put(r.Context(), sessionUser, "consultant")
			return true, false
		}
	}
	g.guesses.count(r)
	g.wrongs.Warn("a wrong password was tried", "from", address(r))
	return false, false
}

// LogOut ends the session.
func (g *Gate) LogOut(r *http.Request) error { return g.sessions.Destroy(r.Context()) }

// guesses counts wrong tries by source (credentials.Source): ten at once, then one in six
// seconds. Loopback is never locked out: whoever is on the machine is in
// already.
type guesses struct {
	mu sync.Mutex
	by map[string]*rate.Limiter
}

const maxAddresses = 10_000

func (g *guesses) limiter(from string) *rate.Limiter {
	g.mu.Lock()
	defer g.mu.Unlock()
	l, ok := g.by[from]
	if !ok {
		if len(g.by) >= maxAddresses {
			clear(g.by)
		}
		l = rate.NewLimiter(rate.Every(6*time.Second), 10)
		g.by[from] = l
	}
	return l
}

func (g *guesses) tired(r *http.Request) bool {
	from := address(r)
	if ip, err := netip.ParseAddr(from); err == nil && ip.IsLoopback() {
		return false
	}
	return g.limiter(credentials.Source(from)).Tokens() < 1
}

func (g *guesses) count(r *http.Request) { g.limiter(credentials.Source(address(r))).Allow() }

func address(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// Costly bounds how many requests of a costly kind run at once and for how
// long: what does not get a place within the wait is answered 429, so that
// ingest never starves.
func Costly(places int, wait, limit time.Duration) func(http.Handler) http.Handler {
	seats := make(chan struct{}, places)
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
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
			next.ServeHTTP(w, r.WithContext(ctx))
		})
	}
}

// Headers sets what every answer carries: a policy under which only our own
// scripts, styles and pictures run, and no guessing of types.
func Headers(next http.Handler) http.Handler {
	const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; " +
		"connect-src 'self'; manifest-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors " +
		"'none'; require-trusted-types-for 'script'; trusted-types 'none'"
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		next.ServeHTTP(w, r)
	})
}
