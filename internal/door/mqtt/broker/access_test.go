package broker

import (
	"fmt"
	"net"
	"net/url"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
	"dewcase/internal/testkit/patience"
)

func users(user, password string) (Rights, bool) {
	switch {
	case user == "k7" && password == "right":
		return LoggerRights("larkfield-9", "k7"), true
	case user == "home" && password == "right":
		return Rights{Subscribe: []string{"dewcase/larkfield-9/state/#"}}, true
	case user == "spy" && password == "right":
		return Rights{Subscribe: []string{"other/#"}}, true
	case (user == "all" || user == "reader" || user == "bridge") && password == "right":
		return Everything(), true
	}
	return Rights{}, false
}

func as(user, password string) func(*paho.ClientOptions) {
	return func(o *paho.ClientOptions) { o.SetUsername(user).SetPassword(password).SetCleanSession(false) }
}

func guarded(t *testing.T, r *recorder) *Broker {
	b := start(t, Options{Handler: r.handle, Authenticate: users})
	b.guard.sleep = func(time.Duration) {}
	return b
}

func TestFiltersCoverTopicsAndNarrowerFilters(t *testing.T) {
	for _, c := range []struct {
		filter, wanted string
		want           bool
	}{
		{"#", "a/b/c", true}, {"#", "#", true}, {"a/#", "a/b", true}, {"a/#", "a", true}, // MQTT 3.1.1, 4.7.1.2
		{"a/+", "a/b", true}, {"a/+", "a/+", true}, {"a/+", "a/b/c", false}, {"a/+", "a/#", false},
		{"a/b", "a/b", true}, {"a/b", "a/+", false}, {"a/b", "a/b/", false}, {"a/b/#", "a/+/#", false}, {"a/b", "a", false},
	} {
		require.Equal(t, c.want, credentials.Covers(c.filter, c.wanted), "%s covers %s", c.filter, c.wanted)
	}
}

func TestWrongPasswordsAreRefusedAndCounted(t *testing.T) {
	b := guarded(t, &recorder{})
	for _, who := range []func(*paho.ClientOptions){as("k7", "wrong"), as("nobody", "right"), as("", ""), nil} {
		_, err := dial(b, "c", who)
		require.ErrorContains(t, err, "ot") // "bad user name or password" or "not authorized", as the library words it
	}
	require.EqualValues(t, 2, b.Stats().FailedLogins)
}

func TestALoggersUserPublishesToItsOwnTopicOnly(t *testing.T) {
	r := &recorder{}
	b := guarded(t, r)
	c := connect(t, b, "k7", as("k7", "right"))
	wait(t, c.Publish("dewcase/larkfield-9/k7", 1, false, "mine"))
	wait(t, c.Publish("dewcase/larkfield-9/k7/temp", 1, false, "mine"))
	sub := c.Subscribe("#", 1, nil)
	require.True(t, sub.WaitTimeout(patience.Long))
	require.EqualValues(t, 0x80, sub.(*paho.SubscribeToken).Result()["#"])
	c.Publish("dewcase/larkfield-9/k8", 1, false, "not mine")
	patience.Until(t, "disconnected", func() bool { return !c.IsConnectionOpen() })
	require.Len(t, r.messages(), 2)
}

func TestALoggersUserTellsNoForecastAndNoState(t *testing.T) {
	for topic, want := range map[string]bool{"dewcase/larkfield-9/k7": true, "dewcase-forecast/larkfield-9": false,
		"dewcase-state/larkfield-9": false} {
		require.Equal(t, want, LoggerRights("larkfield-9", "k7").mayPublish(topic), topic)
	}
}

func TestNobodyReadsTheBrokersOwnTopics(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	c := connect(t, b, "c", nil)
	for _, filter := range []string{"$SYS/#", "$SYS/broker/version", "$share/g/#"} {
		tok := c.Subscribe(filter, 0, nil)
		require.True(t, tok.WaitTimeout(patience.Long))
		for _, code := range tok.(*paho.SubscribeToken).Result() {
			require.EqualValues(t, 0x80, code, filter)
		}
	}
}

func TestAnotherUsersSessionCannotBeTakenOver(t *testing.T) {
	b := guarded(t, &recorder{})
	home := connect(t, b, "shared-id", as("home", "right"))
	wait(t, home.Subscribe("dewcase/larkfield-9/state/#", 1, nil))
	_, err := dial(b, "shared-id", as("spy", "right"))
	require.Error(t, err)
	require.True(t, home.IsConnectionOpen())
	home.Disconnect(100)
	patience.Until(t, "away", func() bool { return b.Stats().Clients == 0 })
	require.NoError(t, b.Publish("dewcase/larkfield-9/state/loft", []byte("at risk"), false))
	_, err = dial(b, "shared-id", as("spy", "right"))
	require.Error(t, err, "the session outlives its connection")
	got := make(chan string, 1)
	connect(t, b, "shared-id", func(o *paho.ClientOptions) {
		as("home", "right")(o)
		o.SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) { got <- string(m.Payload()) })
	})
	require.Equal(t, "at risk", <-got, "kept for its own user")
}

func TestAWillSpeaksOnlyWhereItsUserMay(t *testing.T) {
	r := &recorder{}
	b := start(t, Options{Handler: r.handle, Authenticate: users})
	got := make(chan string, 4)
	all := connect(t, b, "all", as("all", "right"))
	wait(t, all.Subscribe("#", 1, func(_ paho.Client, m paho.Message) { got <- m.Topic() }))
	for _, topic := range []string{"dewcase/larkfield-9/state/loft", "dewcase/larkfield-9/k7"} {
		c := rawWill(t, b, topic)
		require.NoError(t, c.Close())
	}
	require.Equal(t, "dewcase/larkfield-9/k7", <-got)
	require.Empty(t, r.messages(), "a will is no reading")
}

// rawWill connects as the logger k7 with a retained will.
func rawWill(t *testing.T, b *Broker, topic string) net.Conn {
	t.Helper()
	o := paho.NewClientOptions().AddBroker("tcp://"+b.Addr()).SetClientID("will-"+topic[len(topic)-2:]).SetUsername(
		"k7").SetPassword("right").
		SetWill(topic, "gone", 1, true).SetAutoReconnect(false)
	var conn net.Conn
	o.SetCustomOpenConnectionFn(func(*url.URL, paho.ClientOptions) (_ net.Conn, err error) {
		conn, err = net.Dial("tcp", b.Addr())
		return conn, err
	})
	c := paho.NewClient(o)
	wait(t, c.Connect())
	t.Cleanup(func() { c.Disconnect(10) }) // it does not notice a connection closed under it
	return conn
}

func TestGuessingPasswordsGetsSlowerByAddress(t *testing.T) {
	g := newGuard()
	var got []time.Duration
	for range 9 {
		got = append(got, g.delay("192.0.2.7", true))
	}
	ms := time.Millisecond
	require.Equal(t, []time.Duration{0, 100 * ms, 200 * ms, 400 * ms, 800 * ms, 1600 * ms, 3200 * ms, 5000 * ms,
		5000 * ms}, got)
	require.Zero(t, g.delay("192.0.2.8", false))
	g.clear("192.0.2.7")
	require.Zero(t, g.delay("192.0.2.7", false))
	for i := range 9 {
		g.delay(fmt.Sprintf("2001:db8:1:2::%x", i), true)
	}
	require.Equal(t, 5*time.Second, g.delay("2001:db8:1:2:ff::1", false), "an IPv6 network is one guesser")
	require.Zero(t, g.delay("2001:db8:1:3::1", false))
	g.clear("2001:db8:1:2::9")
	require.Zero(t, g.delay("2001:db8:1:2::1", false))
	for i := range 6000 {
		g.delay(time.Duration(i).String(), true)
	}
	require.LessOrEqual(t, len(g.misses), 4096)
}
