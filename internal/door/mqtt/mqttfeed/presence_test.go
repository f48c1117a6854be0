package mqttfeed

import (
	"errors"
	"sync"
	"testing"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

// Whoever reads the topic of a daemon knows whether it is there: the daemon says
// so when it comes and goes, and the broker, by the last will, when it is lost.
func TestOfADaemonThatIsLostTheBrokerSaysSo(t *testing.T) {
	b := mosquittotest.Start(t, mosquittotest.Quick)
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.Addr()).SetClientID("watcher"))
	require.True(t, c.Connect().WaitTimeout(patience.Long))
	defer c.Disconnect(10)
	var mu sync.Mutex
	var said []string
	require.True(t, c.Subscribe("here", 1, func(_ paho.Client, m paho.Message) {
		mu.Lock()
		defer mu.Unlock()
		said = append(said, string(m.Payload()))
	}).WaitTimeout(patience.Long))
	words := func(n int) []string {
		patience.Until(t, "the words", func() bool { mu.Lock(); defer mu.Unlock(); return len(said) >= n })
		mu.Lock()
		defer mu.Unlock()
		return said
	}
	opts := options(b, &recorder{})
	opts.Presence = &Presence{Topic: "here", On: "on", Off: "off", Wanted: func() bool { return true }}
	f := start(t, opts)
	ready(t, f)
	require.Equal(t, []string{"on"}, words(1))
	f.drop(errors.New("cut")) // the connection ends without a DISCONNECT
	require.Equal(t, []string{"on", "off", "on"}, words(3))
	stop(t, f)
	require.Equal(t, []string{"on", "off", "on", "off"}, words(4))
}

// A broker whose access list forbids the topic brings readings all the same, while
// the presence is not wanted.
func TestABrokerThatForbidsThePresenceBringsReadings(t *testing.T) {
	b := mosquittotest.New(t, mosquittotest.Quick+"acl_file {dir}/acl\n")
	b.Write("acl", "topic readwrite dewcase/#\n")
	b.Restart()
	r := &recorder{}
	opts := options(b, r)
	opts.Presence = &Presence{Topic: "here", On: "on", Off: "off", Wanted: func() bool { return false }}
	f := start(t, opts)
	ready(t, f)
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + b.Addr()).SetClientID("logger"))
	require.True(t, c.Connect().WaitTimeout(patience.Long))
	defer c.Disconnect(10)
	require.True(t, c.Publish("dewcase/a/k1", 1, false, "x").WaitTimeout(patience.Long))
	patience.Until(t, "it arrives", func() bool { return len(r.messages()) == 1 })
	require.EqualValues(t, 1, f.Status().Connections, b.Log())
}
