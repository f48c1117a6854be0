// Package gate guards every page and API route. It refuses foreign host names
// and cross-site changes, asks for credentials where they are required, slows
// down guessing, and limits what costly requests may use.
package gate

import (
	"context"
	"encoding/json"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/alexedwards/scs/v2"
	"golang.org/x/time/rate"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/floodlog"
)

// Options say who may come in.
type Options struct {
	Hosts        []string                        // names the pages may be asked for under, beside localhost and addresses
	Proxies      []netip.Prefix                  // whose word on where a request came from is taken
	PasswordHash string                          // the consultant's; "" none
	Token        string                          // the administrator's; "" none
	Demand       bool                            // nobody comes in without credentials
	Secure       bool                            // cookies over HTTPS only
	Open         []string                        // path prefixes that carry their own token or tell nothing
	SetUpCode    string                          // with it a person sets the consultant's password, once; "" never
	Keep         func(passwordHash string) error // makes a password that was set durable
	// Push says whose token it is that a request presents that sends a message, and
	// whether it may on the topic of its path; ok is false for any other request.
	Push func(token string, r *http.Request) (name string, known, may, ok bool)
	Log  *slog.Logger
}

// Gate is the checked way in.
type Gate struct {
	opt      Options
	sessions *scs.SessionManager
	guesses  guesses
	wrongs   floodlog.Log // guesses from many addresses may come in floods
	secrets  atomic.Pointer[secrets]
	setUp    sync.Mutex // over setting the password by the code
	unnamed  sync.Once  // tells of a proxy that is not named
}

// secrets are what people and programs present; hash "" and token "" never fit.
type secrets struct{ hash, token, code string }

// New builds a gate.
func New(opt Options) *Gate {
	s := scs.New()
	s.Lifetime, s.IdleTimeout = 30*24*time.Hour, 7*24*time.Hour
	s.Cookie.Name, s.Cookie.HttpOnly, s.Cookie.SameSite, s.Cookie.Secure = "dewcase", true, http.SameSiteLaxMode,
		opt.Secure
	g := &Gate{opt: opt, sessions: s, guesses: guesses{by: map[string]*rate.Limiter{}},
		wrongs: floodlog.Log{To: opt.Log, Lines: 5, Within: time.Minute}}
	g.secrets.Store(&secrets{opt.PasswordHash, opt.Token, opt.SetUpCode})
	return g
}

// Change puts another password and token in force; the code that sets a
// password stays as it is while there is none.
func (g *Gate) Change(passwordHash, token string) {
	g.setUp.Lock()
	defer g.setUp.Unlock()
	next := secrets{hash: passwordHash, token: token}
	if passwordHash == "" {
		next.code = g.secrets.Load().code
	}
	g.secrets.Store(&next)
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
	return g.hosts(g.proxies(cross.Handler(g.sessions.LoadAndSave(g.credentials(next)))))
}

// proxies refuses what a proxy passes on where nobody is asked for credentials:
// on loopback that is everybody's request dressed as this machine's own.
func (g *Gate) proxies(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		header := forwarded(r)
		if header != "" && !g.opt.Demand {
			Refuse(w, http.StatusForbidden, "a proxy passed this request on ("+header+"), and this daemon asks nobody for "+
				"credentials; set http.public_url, http.password_file or http.token_file, and everybody is asked")
			return
		}
		if ip, err := netip.ParseAddr(peer(r)); header != "" && err == nil && !g.trusted(ip) {
			g.unnamed.Do(func() {
				g.opt.Log.Warn("a proxy that http.trusted_proxies does not name passes requests on; wrong tries of one count "+
					"against all who come through it", "proxy", ip.Unmap().String())
			})
		}
		next.ServeHTTP(w, r)
	})
}

// forwarded is the header by which a proxy says that it passed a request on, ""
// without one.
func forwarded(r *http.Request) string {
	for name := range r.Header {
		if strings.HasPrefix(name, "X-Forwarded-") || slices.Contains(passedOn, name) {
			return name
		}
	}
	return ""
}

var passedOn = []string{"Forwarded", "Via", "X-Real-Ip", "X-Client-Ip", "True-Client-Ip", "Cf-Connecting-Ip"}

func (g *Gate) trusted(ip netip.Addr) bool {
	return slices.ContainsFunc(g.opt.Proxies, func(p netip.Prefix) bool { return p.Contains(ip.Unmap().WithZone("")) })
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
			name, known, may, push := g.push(token, r)
			switch {
			case g.guesses.tired(g.client(r)):
				g.tooMany(w)
				return
			case bearer && push && known && may:
				next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), whoKey{}, name)))
				return
			case bearer && push && known:
				Refuse(w, http.StatusForbidden, "the token "+name+" may not send on this topic; name it behind the token's digest")
				return
			case !bearer || g.secrets.Load().token == "" || !credentials.Same(token, g.secrets.Load().token):
				g.guesses.count(g.client(r))
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

// push asks whose token a request that sends a message presents. Anywhere else such
// a token is none.
func (g *Gate) push(token string, r *http.Request) (name string, known, may, ok bool) {
	if g.opt.Push == nil {
		return "", false, false, false
	}
	return g.opt.Push(token, r)
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
	from := g.client(r)
	if g.guesses.tired(from) {
		return false, true
	}
	if hash := g.secrets.Load().hash; hash != "" {
		good, err := credentials.Verify(hash, password)
		if err != nil {
			g.opt.Log.Error("the consultant's password file cannot be used", "error", err)
		}
		if good && g.admit(r) {
			return true, false
		}
	}
	g.guesses.count(from)
	g.wrongs.Warn("a wrong password was tried", "from", from)
	return false, false
}

func (g *Gate) admit(r *http.Request) bool {
	if g.sessions.RenewToken(r.Context()) != nil {
		return false
	}
	g.sessions.Put(r.Context(), sessionUser, "consultant")
	return true
}

// SetUp reports whether the password is still to be set, with the code.
func (g *Gate) SetUp() bool { return g.secrets.Load().code != "" }

// SetPassword sets the consultant's password where the code is the right one,
// which it is once only, and opens a session. Guesses at the code count as those
// at a password do.
func (g *Gate) SetPassword(r *http.Request, code, password string) (ok, tired bool, err error) {
	from := g.client(r)
	if g.guesses.tired(from) {
		return false, true, nil
	}
	g.setUp.Lock()
	defer g.setUp.Unlock()
	now := *g.secrets.Load()
	code = strings.ToUpper(strings.Join(strings.Fields(code), ""))
	if now.code == "" || !credentials.Same(code, now.code) {
		g.guesses.count(from)
		g.wrongs.Warn("a wrong password was tried", "from", from)
		return false, false, nil
	}
	if now.hash, err = credentials.Hash(password); err != nil {
		return false, false, err
	}
	if err := g.opt.Keep(now.hash); err != nil {
		return false, false, err
	}
	now.code = ""
	g.secrets.Store(&now)
	g.opt.Log.Info("the consultant's password was set with the set-up code", "from", from)
	return g.admit(r), false, nil
}

// LogOut ends the session.
func (g *Gate) LogOut(r *http.Request) error { return g.sessions.Destroy(r.Context()) }

// guesses counts wrong tries by source (credentials.Source): ten at once, then
// one in six seconds.
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

func (g *guesses) tired(from string) bool { return g.limiter(credentials.Source(from)).Tokens() < 1 }

func (g *guesses) count(from string) { g.limiter(credentials.Source(from)).Allow() }

func peer(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// client is the address that wrong tries are counted against: the peer's, or
// where that is a trusted proxy the right-most hop of X-Forwarded-For that is
// none. Further left anybody can write what they like.
func (g *Gate) client(r *http.Request) string {
	from := peer(r)
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for _, hop := range slices.Backward(hops) {
		if ip, err := netip.ParseAddr(from); err != nil || !g.trusted(ip) {
			break
		}
		hop = strings.TrimSpace(hop)
		if host, _, err := net.SplitHostPort(hop); err == nil {
			hop = host
		}
		ip, err := netip.ParseAddr(strings.Trim(hop, "[]"))
		if err != nil {
			break
		}
		from = ip.String()
	}
	return from
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
