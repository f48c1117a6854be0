package broker

import (
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"dewcase/internal/door/credentials"
)

// What waits for subscribers is bounded for each, for each user and for all
// together, so that ingest is never touched by who reads slowly or not at all.
const (
	maxOutboxBytes    = 4 << 20  // for one subscriber
	maxOutboxMessages = 4096     // for one subscriber
	maxUserBytes      = 8 << 20  // for all subscribers of one user
	maxWaitingBytes   = 32 << 20 // for all subscribers
	maxUnacknowledged = 256      // written to one subscriber, QoS 1
	maxAwayMessages   = 256      // for one subscriber that is away
	maxAwayBytes      = 1 << 20  // for one subscriber that is away
	maxAway           = 128      // subscribers that are away and whose session is kept
	maxAwayOfUser     = 16       // of them of one user
	maxRetained       = 1000     // topics whose last message is kept
	maxRetainedBytes  = 2 << 20  // their messages; less than an outbox takes
)

var (
	errCut         = errors.New("the subscriber does not read, or too many of its user do not")
	errSessions    = errors.New("too many sessions are kept for subscribers that are away")
	errConnections = errors.New("its user has too many connections already")
)

// outgoing is one message on its way to subscribers, shared by all of them.
type outgoing struct {
	topic   string
	payload []byte
	qos     byte
	retain  bool
	own     bool // the daemon's
	origin  string
	expiry  int64 // Unix seconds; 0 never
	props   packets.Properties
	weight  int64
	created int64 // Unix seconds
}

// delivery is a message for one subscriber.
type delivery struct {
	*outgoing
	qos         byte
	retain, dup bool
	id          uint16 // once it was written; QoS 1 only
	matched     []int  // subscription identifiers of MQTT 5
}

func (d delivery) packet() packets.Packet {
	props := d.props
	props.SubscriptionIdentifier = d.matched
	head := packets.FixedHeader{Type: packets.Publish, Qos: d.qos, Retain: d.retain, Dup: d.dup}
	return packets.Packet{FixedHeader: head, TopicName: d.topic, Payload: d.payload, PacketID: d.id, Created: d.created,
		Expiry: d.expiry, Properties: props}
}

// outbox is what waits for one subscriber, connected or away, oldest first.
type outbox struct {
	cl      *mqtt.Client // its connection, the last one while it is away
	user    string
	rights  Rights
	clean   bool // its session ends with its connection
	since   time.Time
	away    bool
	gone    bool
	writing bool       // a goroutine writes to the connection
	sent    []delivery // written, not acknowledged
	waiting []delivery
	bytes   int64
	lastID  uint16
}

// post passes messages on to subscribers. It never waits for one.
type post struct {
	b  *Broker
	mu sync.Mutex

	boxes         map[string]*outbox // by client identifier
	users         map[string]int64   // bytes waiting
	bytes         int64
	retained      map[string]*outgoing
	retainedBytes int64
	missed, cuts  int64
}

func newPost(b *Broker) *post {
	return &post{b: b, boxes: map[string]*outbox{}, users: map[string]int64{}, retained: map[string]*outgoing{}}
}

// publish puts a message into the outboxes of its subscribers.
func (p *post) publish(m *outgoing) {
	var to map[string]packets.Subscription
	if atomic.LoadInt64(&p.b.srv.Info.Subscriptions) > 0 {
		to = p.b.srv.Topics.Subscribers(m.topic).Subscriptions
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if m.retain {
		p.keep(m)
	}
	for id, sub := range to {
		if o := p.boxes[id]; o != nil && !(sub.NoLocal && m.origin == id) {
			p.add(o, m, sub, m.retain && sub.RetainAsPublished)
		}
	}
}

// keep makes a message its topic's retained one; an empty one removes it.
func (p *post) keep(m *outgoing) {
	old := p.retained[m.topic]
	if old != nil {
		p.retainedBytes -= old.weight
		delete(p.retained, m.topic)
	}
	if len(m.payload) == 0 || !m.own && (len(p.retained) >= maxRetained || p.retainedBytes+m.weight > maxRetainedBytes) {
		return
	}
	p.retained[m.topic] = m
	p.retainedBytes += m.weight
}

// subscribed hands out the retained messages of new subscriptions.
func (p *post) subscribed(cl *mqtt.Client, filters packets.Subscriptions) {
	p.mu.Lock()
	defer p.mu.Unlock()
	o := p.boxes[cl.ID]
	if o == nil || o.cl != cl {
		return
	}
	now := time.Now().Unix()
	for _, sub := range filters {
		if _, granted := cl.State.Subscriptions.Get(sub.Filter); !granted || sub.RetainHandling == 2 {
			continue
		}
		for topic, m := range p.retained {
			if m.expiry != 0 && m.expiry < now {
				p.retainedBytes -= m.weight
				delete(p.retained, topic)
			} else if credentials.Covers(sub.Filter, topic) {
				p.add(o, m, sub, true)
			}
		}
	}
}

// add puts a message into an outbox. Where more would wait than may, whoever has
// most waiting is cut: its connection and its session, so that it knows.
func (p *post) add(o *outbox, m *outgoing, sub packets.Subscription, retain bool) {
	if o.gone || !o.rights.maySubscribe(m.topic) {
		return
	}
	d := delivery{outgoing: m, qos: min(m.qos, sub.Qos, 1), retain: retain}
	for _, id := range sub.Identifiers {
		if id > 0 {
			d.matched = append(d.matched, id)
		}
	}
	if len(d.matched) == 0 && sub.Identifier > 0 {
		d.matched = []int{sub.Identifier}
	}
	slices.Sort(d.matched)
	p.wait(o, d)
	switch {
	case o.bytes > maxOutboxBytes || len(o.waiting) > maxOutboxMessages:
		p.cut(o, errCut)
	case p.users[o.user] > maxUserBytes:
		p.cut(p.fullest(func(x *outbox) bool { return x.user == o.user }), errCut)
	case p.bytes > maxWaitingBytes:
		p.cut(p.fullest(func(*outbox) bool { return true }), errCut)
	}
	p.wake(o)
}

// wait puts a message last in line; for a subscriber that is away only a few are
// kept.
func (p *post) wait(o *outbox, d delivery) {
	if o.away && (d.qos == 0 || len(o.sent)+len(o.waiting) >= maxAwayMessages || o.bytes+d.weight > maxAwayBytes) {
		p.missed++
		return
	}
	o.waiting = append(o.waiting, d)
	p.weigh(o, d.weight)
}

func (p *post) weigh(o *outbox, change int64) {
	o.bytes += change
	p.bytes += change
	if p.users[o.user] += change; p.users[o.user] == 0 {
		delete(p.users, o.user)
	}
}

// fullest is the outbox with most waiting, of those that count.
func (p *post) fullest(counts func(*outbox) bool) (most *outbox) {
	for _, o := range p.boxes {
		if counts(o) && (most == nil || o.bytes > most.bytes) {
			most = o
		}
	}
	return most
}

// cut ends a subscriber's connection and forgets its session.
func (p *post) cut(o *outbox, why error) {
	p.cuts++
	p.missed += int64(len(o.sent) + len(o.waiting))
	p.b.warnings.Warn("an MQTT subscriber was cut", "client", short(o.cl.ID), "user", short(o.user), "away", o.away,
		"waiting", len(o.sent)+len(o.waiting), "bytes", o.bytes, "error", why)
	p.remove(o)
	p.b.endSession(o.cl)
	go o.cl.Stop(why) // which may wait for the network
}

func (p *post) remove(o *outbox) {
	p.weigh(o, -o.bytes)
	o.sent, o.waiting, o.gone = nil, nil, true
	if p.boxes[o.cl.ID] == o {
		delete(p.boxes, o.cl.ID)
	}
}

// connected gives a client its outbox, with what waited for its session.
func (p *post) connected(cl *mqtt.Client, rights Rights, fresh bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	old := p.boxes[cl.ID]
	o := &outbox{cl: cl, user: string(cl.Properties.Username), rights: rights,
		clean: cl.Properties.ProtocolVersion < 5 && cl.Properties.Clean}
	if old != nil {
		if !fresh && !old.clean {
			for i := range old.sent {
				old.sent[i].dup = true
			}
			o.waiting, o.lastID = slices.Concat(old.sent, old.waiting), old.lastID
		}
		p.remove(old)
	}
	o.waiting = slices.DeleteFunc(o.waiting, func(d delivery) bool { return !rights.maySubscribe(d.topic) })
	for _, d := range o.waiting {
		p.weigh(o, d.weight)
	}
	p.boxes[cl.ID] = o
	if o.user != "" {
		n := 0
		for _, x := range p.boxes {
			if x.user == o.user && !x.away {
				n++
			}
		}
		if n > max(p.b.opts.MaxClients/4, 1) {
			p.cut(o, errConnections)
			return
		}
	}
	p.wake(o)
}

// left keeps what waits for a subscriber that is away, or reports that its
// session is to end.
func (p *post) left(cl *mqtt.Client, expire bool) (kept bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	o := p.boxes[cl.ID]
	if o == nil || o.cl != cl {
		return false
	}
	if expire {
		p.remove(o)
		return false
	}
	o.away, o.since = true, time.Now()
	waiting := o.waiting
	o.waiting = nil
	p.weigh(o, -o.bytes)
	for _, d := range o.sent {
		p.weigh(o, d.weight)
	}
	for _, d := range waiting {
		p.wait(o, d)
	}
	away, crowd, total := map[string]int{}, o.user, 0
	for _, x := range p.boxes {
		if x.away {
			total++
			if away[x.user]++; away[x.user] > away[crowd] {
				crowd = x.user
			}
		}
	}
	if away[crowd] > maxAwayOfUser || total > maxAway {
		p.cut(p.longestAway(crowd), errSessions)
	}
	return !o.gone
}

// longestAway is the outbox of the user's subscriber that is away for longest.
func (p *post) longestAway(user string) (longest *outbox) {
	for _, o := range p.boxes {
		if o.away && o.user == user && (longest == nil || o.since.Before(longest.since)) {
			longest = o
		}
	}
	return longest
}

// expired ends what is kept for a subscriber that stayed away too long.
func (p *post) expired(cl *mqtt.Client) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if o := p.boxes[cl.ID]; o != nil && o.cl == cl {
		p.remove(o)
	}
}

// acknowledged frees the place of a message that its subscriber has taken.
func (p *post) acknowledged(cl *mqtt.Client, id uint16) {
	p.mu.Lock()
	defer p.mu.Unlock()
	o := p.boxes[cl.ID]
	if o == nil || o.cl != cl {
		return
	}
	for i, d := range o.sent {
		if d.id == id {
			o.sent = slices.Delete(o.sent, i, i+1)
			p.weigh(o, -d.weight)
			p.wake(o)
			return
		}
	}
}

// wake has somebody write what may be written.
func (p *post) wake(o *outbox) {
	if !o.writing && !o.gone && !o.away && o.ready() {
		o.writing = true
		go p.write(o)
	}
}

// ready reports that the next message may be written.
func (o *outbox) ready() bool {
	if len(o.waiting) == 0 {
		return false
	}
	window := maxUnacknowledged
	if r := int(o.cl.Properties.Props.ReceiveMaximum); r > 0 {
		window = min(window, r)
	}
	return o.waiting[0].qos == 0 || len(o.sent) < window
}

// write writes to the connection until nothing is left that may be written.
func (p *post) write(o *outbox) {
	for {
		d, ok := p.next(o)
		if !ok {
			return
		}
		if d.expiry == 0 || d.expiry > time.Now().Unix() {
			err := o.cl.WritePacket(d.packet())
			if err != nil && !errors.Is(err, packets.ErrPacketTooLarge) {
				o.cl.Stop(err)
				return
			}
			if d.qos > 0 && err == nil {
				continue // until it is acknowledged
			}
		}
		if d.qos > 0 {
			p.acknowledged(o.cl, d.id)
			continue
		}
		p.mu.Lock()
		if !o.gone {
			p.weigh(o, -d.weight)
		}
		p.mu.Unlock()
	}
}

// next takes the next message that may be written; it counts as waiting until it
// is written, of QoS 1 until it is acknowledged.
func (p *post) next(o *outbox) (d delivery, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if o.gone || o.away || !o.ready() {
		o.writing = false
		return d, false
	}
	d = o.waiting[0]
	o.waiting[0] = delivery{} // the slice must not keep it alive
	o.waiting = o.waiting[1:]
	if d.qos > 0 {
		if d.id == 0 {
			d.id = p.newID(o)
		}
		o.sent = append(o.sent, d)
	}
	return d, true
}

// newID is a packet identifier that no message under way has.
func (*post) newID(o *outbox) uint16 {
	used := func(d delivery) bool { return d.id == o.lastID }
	again := o.waiting[:min(len(o.waiting), maxUnacknowledged)] // of an earlier connection, they come first
	for {
		if o.lastID++; o.lastID != 0 && !slices.ContainsFunc(o.sent, used) && !slices.ContainsFunc(again, used) {
			return o.lastID
		}
	}
}
