package faulttest

import (
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/patience"
)

// account is a user of the embedded broker; "" is none.
type account struct{ user, password string }

// subscriber connects, subscribes and reads nothing further.
func subscriber(t testing.TB, addr, id string, who account, clean bool, filter string) net.Conn {
	t.Helper()
	conn, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	require.NoError(t, conn.SetDeadline(time.Now().Add(patience.Long)))
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.ClientIdentifier, hello.CleanSession = "MQTT", 4, id, clean
	hello.UsernameFlag, hello.Username = who.user != "", who.user
	hello.PasswordFlag, hello.Password = who.user != "", []byte(who.password)
	require.NoError(t, hello.Write(conn))
	got, err := packets.ReadPacket(conn)
	require.NoError(t, err)
	require.Zero(t, got.(*packets.ConnackPacket).ReturnCode)
	ask := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	ask.MessageID, ask.Topics, ask.Qoss = 1, []string{filter}, []byte{1}
	require.NoError(t, ask.Write(conn))
	for { // what is retained may come first
		got, err = packets.ReadPacket(conn)
		require.NoError(t, err)
		if ack, ok := got.(*packets.SubackPacket); ok {
			require.Equal(t, []byte{1}, ack.ReturnCodes)
			return conn
		}
	}
}

// acknowledged publishes readings as a logger and wants each acknowledged, most of
// them soon: the bar is 1 s, five times that since tests share the machine.
func acknowledged(t *testing.T, c paho.Client, n int, pause time.Duration) {
	t.Helper()
	var took []time.Duration
	for i := range n {
		from := time.Now()
		require.True(t, send(c, "dewcase/larch-3/k1", body(i), patience.Long), "reading %d", i)
		took = append(took, time.Since(from))
		time.Sleep(pause)
	}
	slices.Sort(took)
	t.Logf("half of %d acknowledgements took %v at most, the longest %v", n, took[n/2], took[n-1])
	require.Less(t, took[n/2], 5*time.Second)
}

// guarded starts a daemon whose embedded broker knows a logger and home automation.
func guarded(t *testing.T, lines string) *crashtest.Daemon {
	t.Helper()
	dir := t.TempDir()
	users, conf := filepath.Join(dir, "users"), filepath.Join(dir, "dewcase.yaml")
	require.NoError(t, os.WriteFile(users, []byte(strings.ReplaceAll(lines, "HASH", hashOf(t, loggerPassword))), 0o600))
	require.NoError(t, os.WriteFile(conf, fmt.Appendf(nil, "mqtt: {users_file: %q}\n", users), 0o600))
	d := crashtest.Serve(t, filepath.Join(dir, "data"), "-config", conf)
	newHouse(d)
	return d
}

const oldLines = "larch-3/k1:HASH\nhome:HASH:dewcase-state/larch-3,dewcase-forecast/larch-3\n"

const memoryBar = 200 << 20

// Row 72: subscribers that read nothing, even of the most restricted account, cost
// a bounded memory and hold no reading up.
func TestSubscribersThatDoNotReadCostABoundedMemory(t *testing.T) {
	for name, c := range map[string]struct {
		users               string
		who, logger         account
		subscribers, floods int
	}{
		"40 of home automation": {oldLines, account{"home", loggerPassword}, account{"larch-3/k1", loggerPassword}, 40, 2500},
		"200 without users":     {"", account{}, account{}, 200, 800},
	} {
		t.Run(name, func(t *testing.T) {
			var d *crashtest.Daemon
			if c.users != "" {
				d = guarded(t, c.users)
			} else {
				d = crashtest.Serve(t, t.TempDir())
				newHouse(d)
			}
			for n := range c.subscribers {
				conn := subscriber(t, d.MQTT, fmt.Sprint("deaf", n), c.who, true, "dewcase-forecast/larch-3")
				t.Cleanup(func() { _ = conn.Close() })
			}
			logger, err := client(t, d.MQTT, "logger", c.logger.user, c.logger.password)
			require.NoError(t, err)
			flood, err := client(t, d.MQTT, "flood", c.who.user, c.who.password)
			require.NoError(t, err)
			var flooding sync.WaitGroup
			payload := strings.Repeat("x", 30000)
			flooding.Go(func() {
				for range c.floods {
					flood.Publish("dewcase-forecast/larch-3", 0, false, payload).Wait()
				}
			})
			acknowledged(t, logger, 20, 50*time.Millisecond)
			flooding.Wait()
			acknowledged(t, logger, 20, 0)
			t.Logf("peak %d MiB, %v cut, %v missed", d.PeakRSS()>>20, d.Metric("dewcase_mqtt_subscribers_cut_total"),
				d.Metric("dewcase_mqtt_missed_total"))
			require.Less(t, d.PeakRSS(), int64(memoryBar))
		})
	}
}

// Row 73: sessions kept for clients that will not come back are bounded, and cost
// readings nothing.
func TestSessionsThatNobodyComesBackForAreBounded(t *testing.T) {
	d := crashtest.Serve(t, t.TempDir())
	newHouse(d)
	const sessions, workers = 3000, 6
	var opening sync.WaitGroup
	for w := range workers {
		opening.Go(func() {
			for n := range sessions / workers {
				conn := subscriber(t, d.MQTT, fmt.Sprintf("flow-%d-%d", w, n), account{}, false, "dewcase/#")
				_ = packets.NewControlPacket(packets.Disconnect).Write(conn)
				_ = conn.Close()
			}
		})
	}
	opening.Wait()
	logger, err := client(t, d.MQTT, "logger", "", "")
	require.NoError(t, err)
	acknowledged(t, logger, 300, 0)
	t.Logf("peak %d MiB", d.PeakRSS()>>20)
	require.Less(t, d.PeakRSS(), int64(memoryBar))
}

// Row 74: with users on file nobody without one does anything, from this machine
// either.
func TestUsersOnFileAreDemandedOnThisMachineToo(t *testing.T) {
	d := guarded(t, oldLines)
	_, err := client(t, d.MQTT, "stranger", "", "")
	require.Error(t, err)
	_, err = client(t, d.MQTT, "logger", "larch-3/k1", loggerPassword)
	require.NoError(t, err)
}

// Row 75: what the daemon says of a roof nobody else can say, by whichever form
// of line.
func TestOnlyTheDaemonSaysTheStateOfARoof(t *testing.T) {
	d := guarded(t, oldLines+"bridge:HASH\nnew:HASH:read=dewcase-state/#;write=dewcase-state/#,dewcase-forecast/larch-3\n")
	said := func() string {
		conn := subscriber(t, d.MQTT, "reader", account{"home", loggerPassword}, true, "dewcase-state/larch-3")
		defer conn.Close()
		got, err := packets.ReadPacket(conn)
		require.NoError(t, err)
		return string(got.(*packets.PublishPacket).Payload)
	}
	k1, err := client(t, d.MQTT, "logger", "larch-3/k1", loggerPassword)
	require.NoError(t, err)
	require.True(t, send(k1, "dewcase/larch-3/k1", body(0), patience.Long))
	require.Contains(t, said(), `"sentence":`)
	for _, user := range []string{"home", "bridge", "new", "larch-3/k1"} {
		c, err := client(t, d.MQTT, "forger-"+user, user, loggerPassword)
		require.NoError(t, err)
		c.Publish("dewcase-state/larch-3", 1, true, `{"wet":false,"sentence":"all dry"}`)
		patience.Until(t, user+" is refused", func() bool { return !c.IsConnectionOpen() })
	}
	require.NotContains(t, said(), "all dry")
	require.EqualValues(t, 4, rejected(d, "forbidden"))
}

// Row 76: a publish that may not be is counted, logged once and listed with its
// user, topic and reason.
func TestAForbiddenPublishLeavesATrace(t *testing.T) {
	d := guarded(t, oldLines)
	const tries = 30
	for n := range tries {
		c, err := client(t, d.MQTT, fmt.Sprint("typo", n), "larch-3/k1", loggerPassword)
		require.NoError(t, err)
		c.Publish("dewcase/larch-3/k11", byte(n%2), false, body(n))
		if n%2 == 0 {
			require.True(t, send(c, "dewcase/larch-3/k1", body(n), patience.Long), "the connection stays with quality 0")
		}
	}
	patience.Until(t, "counted", func() bool { return rejected(d, "forbidden") == tries })
	patience.Until(t, "listed", func() bool {
		list := string(d.Do(http.MethodGet, "/api/cases/larch-3/rejects", nil, 200))
		return strings.Contains(list, `"reason":"forbidden"`) && strings.Contains(list, `"source":"dewcase/larch-3/k11"`) &&
			strings.Contains(list, "user larch-3/k1 (client typo")
	})
	page := string(d.Do(http.MethodGet, "/messages?case=larch-3", nil, 200))
	require.Contains(t, page, "dewcase/larch-3/k11")
	require.Contains(t, page, "Correct the topic")
	require.Equal(t, 1, strings.Count(d.Log(), "reason=forbidden"), d.Log())
}
