package broker

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"net"
	"runtime"
	"strings"
	"testing"
	"time"

	"dewcase/internal/testkit/patience"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/require"
)

// subscriber is a client that reads and acknowledges only when it is told to.
type subscriber struct {
	net.Conn
	in      *bufio.Reader
	present bool // the broker knew its session
}

// join connects with a session that is kept, unless clean, and subscribes.
func join(t testing.TB, b *Broker, id, user string, clean bool, filters ...string) *subscriber {
	t.Helper()
	conn, err := net.Dial("tcp", b.Addr())
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	require.NoError(t, conn.SetDeadline(time.Now().Add(patience.Long)))
	s := &subscriber{Conn: conn, in: bufio.NewReader(conn)}
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.ClientIdentifier, hello.CleanSession = "MQTT", 4, id, clean
	hello.UsernameFlag, hello.PasswordFlag = user != "", user != ""
	hello.Username, hello.Password = user, []byte("right")
	require.NoError(t, hello.Write(conn))
	ack := s.next(t).(*packets.ConnackPacket)
	require.Zero(t, ack.ReturnCode)
	s.present = ack.SessionPresent
	for i, f := range filters {
		ask := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
		ask.MessageID, ask.Topics, ask.Qoss = uint16(i+1), []string{f}, []byte{1}
		require.NoError(t, ask.Write(conn))
		require.Equal(t, []byte{1}, s.next(t).(*packets.SubackPacket).ReturnCodes)
	}
	return s
}

func (s *subscriber) next(t testing.TB) packets.ControlPacket {
	t.Helper()
	p, err := packets.ReadPacket(s.in)
	require.NoError(t, err)
	return p
}

// takes reads the next message and acknowledges it if wanted.
func (s *subscriber) takes(t testing.TB, acknowledge bool) *packets.PublishPacket {
	t.Helper()
	p := s.next(t).(*packets.PublishPacket)
	if acknowledge {
		ack := packets.NewControlPacket(packets.Puback).(*packets.PubackPacket)
		ack.MessageID = p.MessageID
		require.NoError(t, ack.Write(s))
	}
	return p
}

// leave disconnects and waits until the broker knows.
func (s *subscriber) leave(t testing.TB, b *Broker, remaining int) {
	t.Helper()
	require.NoError(t, packets.NewControlPacket(packets.Disconnect).Write(s))
	patience.Until(t, "gone", func() bool { return b.Stats().Clients == int64(remaining) })
}

func say(t testing.TB, b *Broker, topic string, from, until int) {
	t.Helper()
	for i := from; i < until; i++ {
		require.NoError(t, b.Publish(topic, fmt.Append(nil, i), false))
	}
}

func TestWhatWasNotAcknowledgedComesAgainFirstAndInOrder(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	s := join(t, b, "home", "", false, "a/#")
	say(t, b, "a/b", 0, 3)
	require.Equal(t, "0", string(s.takes(t, true).Payload))
	for range 2 {
		s.takes(t, false)
	}
	s.leave(t, b, 0)
	say(t, b, "a/b", 3, 5)
	s = join(t, b, "home", "", false)
	require.True(t, s.present)
	for i := 1; i < 5; i++ {
		got := s.takes(t, true)
		require.Equal(t, fmt.Sprint(i), string(got.Payload))
		require.Equal(t, i < 3, got.Dup)
	}
	patience.Until(t, "nothing waits", func() bool { return b.Stats().Waiting == 0 })
}

func TestForASubscriberThatIsAwayTheFirstMessagesAreKept(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	join(t, b, "home", "", false, "a/#").leave(t, b, 0)
	say(t, b, "a/b", 0, maxAwayMessages+44)
	require.EqualValues(t, 44, b.Stats().Missed)
	s := join(t, b, "home", "", false)
	for i := range maxAwayMessages {
		require.Equal(t, fmt.Sprint(i), string(s.takes(t, true).Payload))
	}
}

func TestNoMoreGoesToASubscriberThanItMayHoldUnacknowledged(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	s := join(t, b, "home", "", true, "a/#")
	say(t, b, "a/b", 0, maxUnacknowledged+10)
	for range maxUnacknowledged {
		s.takes(t, false)
	}
	require.NoError(t, s.SetReadDeadline(time.Now().Add(100*time.Millisecond)))
	_, err := s.in.Peek(1)
	require.Error(t, err, "it waits for acknowledgements")
}

func TestASubscriberThatDoesNotReadIsCutAndKnowsThatItMissedSomething(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	join(t, b, "deaf", "", false, "a/#")
	good, got := connect(t, b, "good", nil), make(chan string, 1000)
	wait(t, good.Subscribe("a/#", 0, func(_ paho.Client, m paho.Message) { got <- m.Topic() }))
	payload := make([]byte, 30000)
	n := 0
	for ; b.Stats().Cut == 0 && n < 2000; n++ {
		require.NoError(t, b.Publish("a/b", payload, false))
		<-got // whoever reads gets all
	}
	require.EqualValues(t, 1, b.Stats().Cut)
	require.Less(t, n, 2000)
	patience.Until(t, "cut", func() bool { return b.Stats().Clients == 1 })
	require.False(t, join(t, b, "deaf", "", false).present)
	patience.Until(t, "nothing waits", func() bool { return b.Stats().Waiting == 0 })
}

// The heap, where the process may hold other things: what 60 subscribers of one
// user and of none let wait.
func TestWhatWaitsForSubscribersIsBoundedForAllTogether(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle, Authenticate: users})
	var before, now runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for i := range 60 {
		s := join(t, b, fmt.Sprint("deaf", i), []string{"all", "reader", "bridge"}[i%3], i%2 == 0, "a/#")
		if i%4 == 1 { // a quarter of them is away
			s.leave(t, b, i-i/4)
		}
	}
	for i := range 2500 {
		require.NoError(t, b.Publish("a/b", make([]byte, 30000), false))
		require.LessOrEqual(t, b.Stats().Waiting, int64(maxWaitingBytes), "message %d", i)
		b.post.mu.Lock()
		for user, waiting := range b.post.users {
			require.LessOrEqual(t, waiting, int64(maxUserBytes), user)
		}
		b.post.mu.Unlock()
	}
	runtime.GC()
	runtime.ReadMemStats(&now)
	require.Less(t, int64(now.HeapAlloc)-int64(before.HeapAlloc), int64(maxWaitingBytes))
}

func TestOfAUsersSessionsThatAreAwayTheOldestAreForgotten(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	const more = 5
	for i := range maxAwayOfUser + more {
		join(t, b, fmt.Sprint("flow", i), "", false, "a/#").leave(t, b, 0)
	}
	require.EqualValues(t, maxAwayOfUser, b.srv.Info.Subscriptions)
	require.Equal(t, maxAwayOfUser, b.srv.Clients.Len())
	for i, known := range map[int]bool{0: false, more - 1: false, more: true, maxAwayOfUser: true} {
		require.Equal(t, known, join(t, b, fmt.Sprint("flow", i), "", false).present, "flow %d", i)
	}
}

func TestAUserHasAQuarterOfTheConnections(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle, Authenticate: users, MaxClients: 8})
	for i := range 2 {
		join(t, b, fmt.Sprint("c", i), "all", true, "a/#")
	}
	third := join(t, b, "c2", "all", true)
	_, err := third.in.ReadByte()
	require.Error(t, err, "closed")
	join(t, b, "k", "k7", true)
	require.EqualValues(t, 1, b.Stats().Cut)
}

func TestRetainedMessagesAreBoundedAndTheDaemonsOwnAreAlwaysKept(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	c := connect(t, b, "c", nil)
	var last paho.Token
	for i := range 200 {
		last = c.Publish(fmt.Sprint("a/", i), 1, true, strings.Repeat("x", 30000))
	}
	wait(t, last)
	wait(t, c.Publish("a/0", 1, true, ""))
	require.NoError(t, b.Publish("own", []byte("dry"), true))
	patience.Until(t, "passed on", func() bool {
		b.post.mu.Lock()
		defer b.post.mu.Unlock()
		return b.post.retained["own"] != nil && b.post.retained["a/0"] == nil && b.post.retained["a/1"] != nil &&
			b.post.retainedBytes < maxRetainedBytes+maxForwardBytes
	})
	s := join(t, b, "s", "", true)
	ask := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	ask.MessageID, ask.Topics, ask.Qoss = 1, []string{"own"}, []byte{1}
	require.NoError(t, ask.Write(s))
	s.next(t)
	got := s.takes(t, true)
	require.True(t, got.Retain)
	require.Equal(t, "dry", string(got.Payload))
}

func TestAClientHasSoManySubscriptionsAndNoMore(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	var filters []string
	for i := range maxFilters {
		filters = append(filters, fmt.Sprint("a/", i))
	}
	s := join(t, b, "c", "", true, filters...)
	for filter, want := range map[string]byte{"one/more": 0x80, "a/7": 1} {
		ask := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
		ask.MessageID, ask.Topics, ask.Qoss = 900, []string{filter}, []byte{1}
		require.NoError(t, ask.Write(s))
		require.Equal(t, []byte{want}, s.next(t).(*packets.SubackPacket).ReturnCodes)
	}
}

// The numbers of what a client sends and of what is sent to it are apart (4.6 of
// either version): acknowledging one must not free the other.
func TestNumbersOfEitherDirectionAreApart(t *testing.T) {
	r := &recorder{}
	b := start(t, Options{Handler: r.handle})
	s := join(t, b, "both", "", true, "a/#")
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Qos, p.MessageID, p.Payload = "b", 2, 1, []byte("once")
	require.NoError(t, p.Write(s))
	require.IsType(t, &packets.PubrecPacket{}, s.next(t))
	say(t, b, "a/b", 0, 1)
	require.EqualValues(t, 1, s.takes(t, true).MessageID)
	p.Dup = true
	require.NoError(t, p.Write(s))
	require.IsType(t, &packets.PubrecPacket{}, s.next(t))
	require.Len(t, r.messages(), 1)
}

// MQTT 5, 3.8.3.1 and 3.3.2.3: no message of its own, retain as published, the
// subscription's identifier, content type and a user property.
func TestSubscriptionOptionsOfMQTT5AreKept(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	c, other := rawConnect(t, b, 5, "c"), rawConnect(t, b, 5, "other")
	const noLocal, asPublished = 4, 8
	c.send(t, 0x82, []byte{0, 9, 2, 0x0B, 7, 0, 1, 'a', 0 | noLocal | asPublished})
	kind, _ := c.read(t)
	require.EqualValues(t, 0x90, kind)
	c.publish(t, 5, "a", 0, 0, []byte("own"))
	props := []byte{0x03, 0, 1, 'j', 0x26, 0, 1, 'k', 0, 1, 'v'}
	body := append(binary.BigEndian.AppendUint16(nil, 1), 'a')
	body = append(append(append(body, byte(len(props))), props...), "theirs"...)
	other.send(t, 0x31, body) // retained
	kind, got := c.read(t)
	require.EqualValues(t, 0x31, kind)
	require.True(t, strings.HasSuffix(string(got), "theirs"), "%q", got)
	require.Contains(t, string(got), "\x0b\x07")
	require.Contains(t, string(got), "\x03\x00\x01j")
	require.Contains(t, string(got), "\x26\x00\x01k\x00\x01v")
}

func TestOwnTopicsAndTopicsWithoutRightAreRefusedAndTold(t *testing.T) {
	refused := make(chan Forbidden, 10)
	r := &recorder{}
	b := start(t, Options{Handler: r.handle, Authenticate: users, Own: []string{"state/#"},
		Forbidden: func(f Forbidden) { refused <- f }})
	for _, c := range []struct{ user, topic, why string }{
		{"all", "state/x", "the daemon alone publishes to state/#"},
		{"all", "state", "the daemon alone"},
		{"all", "$SYS/x", ""}, // mqttframe made another topic of it, which may be published to
		{"home", "dewcase/larkfield-9/k7", "the user may read only"},
		{"k7", "dewcase/larkfield-9/k8", "dewcase/larkfield-9/k7, dewcase/larkfield-9/k7/+ only"},
	} {
		conn := connect(t, b, "c-"+c.user, as(c.user, "right"))
		conn.Publish(c.topic, 1, true, "x")
		if c.why == "" {
			patience.Until(t, "taken", func() bool { return len(r.messages()) == 1 })
			continue
		}
		got := <-refused
		require.Equal(t, []string{c.user, c.topic, "c-" + c.user}, []string{got.User, got.Topic, got.Client})
		require.Contains(t, got.Why, c.why)
		patience.Until(t, "closed", func() bool { return !conn.IsConnectionOpen() })
	}
	_ = rawWill(t, b, "state/roof").Close()
	require.Equal(t, "state/roof", (<-refused).Topic, "a will as well")
	require.Len(t, r.messages(), 1)
	require.NoError(t, b.Publish("state/x", []byte("wet"), true))
}
