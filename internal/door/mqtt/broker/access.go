package broker

import (
	"errors"
	"net"
	"slices"
	"strings"
	"sync"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"dewcase/internal/door/credentials"
)

// Rights are the topic filters (with + and #) a user may publish to and read.
type Rights struct {
	Publish, Subscribe []string
}

// LoggerRights are those of a logger's own user: its own topic, and nothing to read.
func LoggerRights(caseID, logger string) Rights {
	own := "dewcase/" + caseID + "/" + logger
	return Rights{Publish: []string{own, own + "/+"}}
}

// Everything is what a client without a user may do on loopback. Topics that
// begin with $ belong to the broker and are never included.
func Everything() Rights { return Rights{Publish: []string{"#"}, Subscribe: []string{"#"}} }

func (r Rights) mayPublish(topic string) bool {
	return slices.ContainsFunc(r.Publish, func(f string) bool { return covers(f, topic) })
}

// maySubscribe asks that every topic the wanted filter matches is allowed.
func (r Rights) maySubscribe(filter string) bool {
	return slices.ContainsFunc(r.Subscribe, func(f string) bool { return covers(f, filter) })
}

// covers reports that the filter matches a topic, or all that another filter matches.
func covers(filter, wanted string) bool {
	f, w := strings.Split(filter, "/"), strings.Split(wanted, "/")
	for i, level := range f {
		if level == "#" {
			return true
		}
		if i >= len(w) || w[i] == "#" {
			return false
		}
		if level != "+" && level != w[i] {
			return false
		}
	}
	return len(f) == len(w)
}

// modestTopic refuses topics whose many levels would cost the topic tree more
// than they are worth: its search is quadratic in the levels.
func modestTopic(topic string) bool {
	return len(topic) <= maxTopicBytes && strings.Count(topic, "/") < maxTopicLevels
}

// guard remembers who may do what and slows down those who guess.
type guard struct {
	mu     sync.Mutex
	rights map[string]grant   // by client identifier: they outlive a connection, as its session does
	misses map[string]*misses // by source, see credentials.Source
	slots  chan struct{}      // password checks at one time: they are dear on purpose
	sleep  func(time.Duration)
}

type grant struct {
	cl     *mqtt.Client
	rights Rights
}

type misses struct {
	n    int
	last time.Time
}

func newGuard() *guard {
	return &guard{rights: make(map[string]grant), misses: make(map[string]*misses),
		slots: make(chan struct{}, 2), sleep: time.Sleep}
}

func (g *guard) grant(cl *mqtt.Client, r Rights) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.rights[cl.ID] = grant{cl: cl, rights: r}
}

func (g *guard) of(cl *mqtt.Client) Rights {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.rights[cl.ID].rights
}

func (g *guard) forget(cl *mqtt.Client) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.rights[cl.ID].cl == cl {
		delete(g.rights, cl.ID)
	}
}

// delay is how long an address has to wait for its next try: nothing after one
// slip, then doubling from 100 ms to 5 s; ten minutes of rest clear it.
func (g *guard) delay(addr string, failed bool) time.Duration {
	addr = credentials.Source(addr)
	g.mu.Lock()
	defer g.mu.Unlock()
	m := g.misses[addr]
	now := time.Now()
	if m != nil && now.Sub(m.last) > 10*time.Minute {
		delete(g.misses, addr)
		m = nil
	}
	if failed {
		if m == nil {
			if len(g.misses) >= 4096 { // many addresses guessing: forget the oldest
				oldest := ""
				for a, x := range g.misses {
					if oldest == "" || x.last.Before(g.misses[oldest].last) {
						oldest = a
					}
				}
				delete(g.misses, oldest)
			}
			m = &misses{}
			g.misses[addr] = m
		}
		m.n++
		m.last = now
	}
	if m == nil || m.n < 2 {
		return 0
	}
	return min(100*time.Millisecond<<min(m.n-2, 10), 5*time.Second)
}

func (g *guard) clear(addr string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	delete(g.misses, credentials.Source(addr))
}

// OnConnect refuses what would be trouble later.
func (h *hook) OnConnect(cl *mqtt.Client, pk packets.Packet) error {
	if len(pk.Connect.ClientIdentifier) > 256 || len(pk.Connect.WillPayload) > maxForwardBytes {
		return errors.New("client identifier or will too large")
	}
	return nil
}

// othersSession reports that the client identifier belongs to a session of
// another user, whose queued messages a take-over would hand out.
func (h *hook) othersSession(cl *mqtt.Client) bool {
	old, ok := h.b.srv.Clients.Get(cl.ID)
	return ok && string(old.Properties.Username) != string(cl.Properties.Username)
}

// OnConnectAuthenticate checks user and password.
func (h *hook) OnConnectAuthenticate(cl *mqtt.Client, pk packets.Packet) bool {
	host, _, _ := net.SplitHostPort(cl.Net.Remote)
	local := isLoopbackHost(host)
	auth := h.b.opts.Authenticate
	if auth == nil || (local && h.b.opts.AnonymousLoopback && !pk.Connect.UsernameFlag) {
		if !local {
			return false // New does not listen wider without users; this is the second lock on the door
		}
		if h.othersSession(cl) {
			return false
		}
		h.b.guard.grant(cl, Everything())
		return true
	}
	if !pk.Connect.UsernameFlag {
		return false
	}
	g := h.b.guard
	g.sleep(g.delay(host, false))
	g.slots <- struct{}{}
	rights, ok := auth(string(pk.Connect.Username), string(pk.Connect.Password))
	<-g.slots
	if !ok {
		h.b.stats.badLogins.Add(1)
		g.delay(host, true)
		h.b.warn("an MQTT login was refused", "remote", cl.Net.Remote, "user", short(string(pk.Connect.Username)))
		return false
	}
	g.clear(host)
	if h.othersSession(cl) {
		h.b.warn("an MQTT client identifier in use by another user was refused", "remote", cl.Net.Remote, "client",
			short(cl.ID))
		return false
	}
	g.grant(cl, rights)
	return true
}

// OnACLCheck decides about one topic, or one filter to read. A message going out
// to a subscriber is asked about again by its topic.
func (h *hook) OnACLCheck(cl *mqtt.Client, topic string, write bool) bool {
	if strings.HasPrefix(topic, "$") {
		return false
	}
	r := h.b.guard.of(cl)
	if write {
		return r.mayPublish(topic)
	}
	return modestTopic(topic) && r.maySubscribe(topic)
}

// OnWill keeps a dying client from speaking where it may not: the library does
// not ask about wills. They are never readings.
func (h *hook) OnWill(cl *mqtt.Client, will mqtt.Will) (mqtt.Will, error) {
	if !modestTopic(will.TopicName) || !h.OnACLCheck(cl, will.TopicName, true) {
		// An empty payload to a topic nobody can read is as good as none.
		return mqtt.Will{TopicName: "$void"}, nil
	}
	if will.Retain && h.b.srv.Topics.Retained.Len() >= maxRetained {
		will.Retain = false
	}
	return will, nil
}

// short cuts a stranger's word down for a log line.
func short(s string) string {
	if len(s) <= 64 {
		return s
	}
	return s[:64] + "..."
}

// warn logs at most a few lines a second: floods of bad clients must not fill the disk.
func (b *Broker) warn(msg string, args ...any) {
	b.stats.logMu.Lock()
	now := time.Now()
	if now.Sub(b.stats.logSince) > time.Second {
		if b.stats.unlogged > 0 {
			b.log.Warn("further MQTT warnings were left out", "count", b.stats.unlogged)
		}
		b.stats.logSince, b.stats.logged, b.stats.unlogged = now, 0, 0
	}
	b.stats.logged++
	quiet := b.stats.logged > 5
	if quiet {
		b.stats.unlogged++
	}
	b.stats.logMu.Unlock()
	if !quiet {
		b.log.Warn(msg, args...)
	}
}
