package broker

import (
	"errors"
	"net"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"dewcase/internal/door/credentials"
)

// Rights are the topic filters (with + and #) a user may publish to and read.
type Rights struct {
	Publish, Subscribe []string
}

// LoggerRights returns the rights of a logger's own user: its own topic, and
// nothing to read.
func LoggerRights(caseID, logger string) Rights {
	own := "dewcase/" + caseID + "/" + logger
	return Rights{Publish: []string{own, own + "/+"}}
}

// Everything returns what a client without a user may do on loopback. Topics that
// begin with $ belong to the broker and are never included.
func Everything() Rights { return Rights{Publish: []string{"#"}, Subscribe: []string{"#"}} }

func (r Rights) mayPublish(topic string) bool {
	return slices.ContainsFunc(r.Publish, func(f string) bool { return credentials.Covers(f, topic) })
}

// maySubscribe asks that every topic the wanted filter matches is allowed.
func (r Rights) maySubscribe(filter string) bool {
	return slices.ContainsFunc(r.Subscribe, func(f string) bool { return credentials.Covers(f, filter) })
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
	cl.Properties.Will.WillDelayInterval = 0 // or the library would send it, later
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
	if auth == nil {
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
		h.b.warnings.Warn("an MQTT login was refused", "remote", cl.Net.Remote, "user", short(string(pk.Connect.Username)))
		return false
	}
	g.clear(host)
	if h.othersSession(cl) {
		h.b.warnings.Warn("an MQTT client identifier in use by another user was refused", "remote", cl.Net.Remote, "client",
			short(cl.ID))
		return false
	}
	g.grant(cl, rights)
	return true
}

// Forbidden is a publish that was refused.
type Forbidden struct {
	User, Client, Topic string
	Arrived             time.Time
	Why                 string // in words, and what would be right
}

// OnACLCheck decides about one topic to publish to, or one filter to read.
func (h *hook) OnACLCheck(cl *mqtt.Client, topic string, write bool) bool {
	if write {
		why := h.b.forbids(h.b.guard.of(cl), topic)
		if why != "" && h.b.opts.Forbidden != nil {
			h.b.opts.Forbidden(Forbidden{User: string(cl.Properties.Username), Client: cl.ID, Topic: topic,
				Arrived: h.b.opts.Now().UTC(), Why: why})
		}
		return why == ""
	}
	if strings.HasPrefix(topic, "$") || !modestTopic(topic) || !h.b.guard.of(cl).maySubscribe(topic) {
		return false
	}
	_, had := cl.State.Subscriptions.Get(topic)
	return had || cl.State.Subscriptions.Len() < maxFilters &&
		atomic.LoadInt64(&h.b.srv.Info.Subscriptions) < maxAllFilters
}

// forbids says why a client with these rights may not publish to a topic; "" if
// it may.
func (b *Broker) forbids(r Rights, topic string) string {
	switch {
	case strings.HasPrefix(topic, "$"):
		return "topics that begin with $ belong to the broker"
	case slices.ContainsFunc(b.opts.Own, func(f string) bool { return credentials.Covers(f, topic) }):
		return "the daemon alone publishes to " + strings.Join(b.opts.Own, ", ")
	case r.mayPublish(topic):
		return ""
	case len(r.Publish) == 0:
		return "the user may read only"
	}
	return "the user may publish to " + strings.Join(r.Publish, ", ") + " only"
}

// OnWill keeps a dying client from speaking where it may not: the library does
// not ask about wills. They are never readings, and are passed on at once.
func (h *hook) OnWill(cl *mqtt.Client, will mqtt.Will) (mqtt.Will, error) {
	if h.OnACLCheck(cl, will.TopicName, true) {
		h.b.passOn(cl, packets.Packet{FixedHeader: packets.FixedHeader{Qos: will.Qos, Retain: will.Retain},
			TopicName: will.TopicName, Payload: will.Payload, Properties: packets.Properties{User: will.User}})
	}
	// An empty payload to a topic nobody can read is as good as none.
	return mqtt.Will{TopicName: "$void"}, nil
}

// short cuts a stranger's word down for a log line.
func short(s string) string {
	if len(s) <= 64 {
		return s
	}
	return s[:64] + "..."
}
