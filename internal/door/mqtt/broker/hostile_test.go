package broker

import (
	"bufio"
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"dewcase/internal/testkit/patience"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/require"
)

// rawClient speaks MQTT byte by byte, for what a proper client would not send.
type rawClient struct {
	net.Conn
	in *bufio.Reader
}

func rawConnect(t *testing.T, b *Broker, level byte, id string) *rawClient {
	t.Helper()
	conn, err := net.Dial("tcp", b.Addr())
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	require.NoError(t, conn.SetDeadline(time.Now().Add(patience.Long)))
	c := &rawClient{Conn: conn, in: bufio.NewReader(conn)}
	body := []byte{0, 4, 'M', 'Q', 'T', 'T', level, 2, 0, 60}
	if level == 5 {
		body = append(body, 0)
	}
	body = binary.BigEndian.AppendUint16(body, uint16(len(id)))
	body = append(body, id...)
	c.send(t, 0x10, body)
	kind, ack := c.read(t)
	require.EqualValues(t, 0x20, kind)
	require.Zero(t, ack[1], "CONNACK says no")
	return c
}

func (c *rawClient) send(t *testing.T, first byte, body []byte) {
	t.Helper()
	_, err := c.Write(packet(first, body))
	require.NoError(t, err)
}

func packet(first byte, body []byte) []byte {
	return append(binary.AppendUvarint([]byte{first}, uint64(len(body))), body...)
}

func (c *rawClient) publish(t *testing.T, level byte, topic string, qos byte, id uint16, payload []byte) {
	t.Helper()
	_, err := c.Write(publishPacket(level, topic, qos, id, payload))
	require.NoError(t, err)
}

func publishPacket(level byte, topic string, qos byte, id uint16, payload []byte) []byte {
	body := binary.BigEndian.AppendUint16(nil, uint16(len(topic)))
	body = append(body, topic...)
	if qos > 0 {
		body = binary.BigEndian.AppendUint16(body, id)
	}
	if level == 5 {
		body = append(body, 0)
	}
	return packet(0x30|qos<<1, append(body, payload...))
}

func (c *rawClient) read(t *testing.T) (first byte, body []byte) {
	t.Helper()
	first, err := c.in.ReadByte()
	require.NoError(t, err)
	n, err := binary.ReadUvarint(c.in)
	require.NoError(t, err)
	body = make([]byte, n)
	_, err = io.ReadFull(c.in, body)
	require.NoError(t, err)
	return first, body
}

func (c *rawClient) wantAck(t *testing.T, kind byte, id uint16) {
	t.Helper()
	first, body := c.read(t)
	require.Equal(t, kind, first)
	require.GreaterOrEqual(t, len(body), 2)
	require.Equal(t, id, binary.BigEndian.Uint16(body))
	if len(body) > 2 {
		require.Less(t, body[2], byte(0x80), "a reason that says no")
	}
}

func TestAcknowledgementsKeepTheOrderOfTheMessagesUpToTheOneThatFailed(t *testing.T) {
	const n, bad = 50, 30
	for _, level := range []byte{4, 5} {
		b := start(t, Options{Batch: func(_ context.Context, messages []Message) []error {
			results := make([]error, len(messages))
			for i, m := range messages {
				if string(m.Payload) == fmt.Sprint(bad) {
					results[i] = errors.New("no space left on device")
				}
			}
			return results
		}})
		c := rawConnect(t, b, level, fmt.Sprint("v", level))
		// In one write: the broker may hang up as soon as it meets the bad one.
		var all []byte
		for id := range uint16(n) {
			all = append(all, publishPacket(level, "dewcase/a/k7", 1, id+1, fmt.Append(nil, id+1))...)
		}
		_, err := c.Write(all)
		require.NoError(t, err)
		for id := range uint16(bad - 1) {
			c.wantAck(t, 0x40, id+1)
		}
		rest, err := io.ReadAll(c.in)
		require.NotErrorIs(t, err, os.ErrDeadlineExceeded, "the connection is closed")
		require.NotContains(t, string(rest), "\x40\x02", "nothing after the failure is acknowledged")
	}
}

func TestAHandlerThatForgetsAResultIsNoReasonToAcknowledge(t *testing.T) {
	b := start(t, Options{Batch: func(context.Context, []Message) []error { return nil }})
	c := rawConnect(t, b, 4, "k7")
	c.publish(t, 4, "dewcase/a/k7", 1, 1, nil)
	rest, _ := io.ReadAll(c.in)
	require.Empty(t, rest)
	patience.Until(t, "counted", func() bool { return b.Stats().NotDurable == 1 })
}

func TestQualityOfService2IsAnsweredInFull(t *testing.T) {
	r := &recorder{}
	b := start(t, Options{Handler: r.handle})
	for _, level := range []byte{4, 5} {
		c := rawConnect(t, b, level, "k7")
		c.publish(t, level, "dewcase/a/k7", 2, 9, []byte("{}"))
		c.wantAck(t, 0x50, 9)
		c.publish(t, level, "dewcase/a/k7", 2, 9, []byte("{}")) // again, PUBREC was lost on the way
		first, _ := c.read(t)
		require.EqualValues(t, 0x50, first)
		c.send(t, 0x62, []byte{0, 9})
		c.wantAck(t, 0x70, 9)
	}
	require.Len(t, r.messages(), 2, "a repeated identifier is the same message")
}

func TestUnreleasedMessagesDoNotPileUp(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	c := rawConnect(t, b, 4, "k7")
	for id := range uint16(3000) {
		body := append([]byte{0, 1, 'a'}, byte((id+1)>>8), byte(id+1))
		if _, err := c.Write(append([]byte{0x34, byte(len(body))}, body...)); err != nil {
			return
		}
	}
	_, err := io.Copy(io.Discard, c)
	require.NotErrorIs(t, err, context.DeadlineExceeded)
	patience.Until(t, "dropped", func() bool { return b.Stats().Clients == 0 })
}

func TestImpossibleMessagesAreCountedAndGoodOnesBesideThemKept(t *testing.T) {
	for _, level := range []byte{4, 5} {
		r := &recorder{}
		b := start(t, Options{Handler: r.handle})
		c := rawConnect(t, b, level, "gateway")
		bad := []string{"dewcase/a/k\x007", "dewcase/+/k7", "dewcase/#", "$SYS/broker/uptime", "dewcase/a/\xff",
			strings.Repeat("x", 65535), strings.Repeat("/", 65535), "dewcase/../k7", strings.Repeat("a/", 200),
			"dewcase/a/<script>", "dewcase/a/🏠\u202e"}
		id := uint16(0)
		for _, topic := range bad {
			id++
			c.publish(t, level, topic, 1, id, []byte("21.5"))
			c.wantAck(t, 0x40, id)
		}
		id++
		c.publish(t, level, "dewcase/a/big", 1, id, make([]byte, 10<<20))
		c.wantAck(t, 0x40, id)
		id++
		c.publish(t, level, "dewcase/a/k7", 1, id, []byte("good"))
		c.wantAck(t, 0x40, id)

		got := r.messages()
		require.Len(t, got, len(bad)+2)
		byTopic := map[string]Message{}
		for _, m := range got {
			byTopic[m.Topic] = m
			require.NotContains(t, m.Topic, "\x00")
		}
		require.EqualValues(t, 10<<20, byTopic["dewcase/a/big"].TooLarge)
		require.Empty(t, byTopic["dewcase/a/big"].Payload)
		require.Equal(t, "good", string(byTopic["dewcase/a/k7"].Payload))
		require.Contains(t, byTopic, "?SYS/broker/uptime")
		require.EqualValues(t, 1, b.Stats().TooLarge)
	}
}

func TestASubscriberMakesDeepTopicsNoDearer(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	home := connect(t, b, "home", nil)
	wait(t, home.Subscribe("#", 1, func(paho.Client, paho.Message) {}))
	tok := home.Subscribe(strings.Repeat("a/", 20000)+"#", 1, nil)
	require.True(t, tok.WaitTimeout(patience.Long))
	require.EqualValues(t, 0x80, tok.(*paho.SubscribeToken).Result()[strings.Repeat("a/", 20000)+"#"])
	c := rawConnect(t, b, 4, "deep")
	body := binary.BigEndian.AppendUint16(nil, 65535)
	body = append(body, strings.Repeat("/", 65535)...)
	c.send(t, 0x33, append(body, 0, 1, 'x')) // retained
	c.wantAck(t, 0x40, 1)
	b.post.mu.Lock()
	defer b.post.mu.Unlock()
	require.Empty(t, b.post.retained)
}

// A house may have a connection of its own, and most of the time says nothing.
func TestAConnectionThatSaysLittleCostsLittle(t *testing.T) {
	b := start(t, Options{Handler: func(context.Context, Message) error { return nil }})
	const clients, most = 100, 64 << 10 // both ends of each are here
	var before, now runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for i := range clients {
		c := rawConnect(t, b, 4, fmt.Sprint("house", i))
		p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
		p.TopicName, p.Qos, p.MessageID, p.Payload = "dewcase/a/k7", 1, 1, []byte("4.31")
		require.NoError(t, p.Write(c))
		_, err := packets.ReadPacket(c.in)
		require.NoError(t, err)
	}
	runtime.GC()
	runtime.ReadMemStats(&now)
	require.Less(t, (int64(now.HeapAlloc)-int64(before.HeapAlloc))/clients, int64(most))
}

func TestMemoryIsBoundedWhileNothingBecomesDurable(t *testing.T) {
	release := make(chan struct{})
	b := start(t, Options{MaxPendingBytes: 4 << 20, Handler: func(ctx context.Context, _ Message) error {
		select {
		case <-release:
		case <-ctx.Done():
		}
		return nil
	}})
	var before, now runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	const clients, each = 4, 500
	payload := bytes.Repeat([]byte{'x'}, 64<<10) // 125 MiB in all
	sent := make(chan error, clients)
	for i := range clients {
		c := rawConnect(t, b, 4, fmt.Sprint("flood", i))
		go func() {
			for id := range uint16(each) {
				p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
				p.TopicName, p.Qos, p.MessageID, p.Payload = "dewcase/a/k7", 1, id+1, payload
				if err := p.Write(c); err != nil {
					sent <- err
					return
				}
			}
			for range each {
				if _, err := packets.ReadPacket(c.in); err != nil {
					sent <- err
					return
				}
			}
			sent <- nil
		}()
	}
	patience.Until(t, "the budget is used up", func() bool { return b.Stats().Received >= 60 })
	time.Sleep(200 * time.Millisecond) // nothing to wait for: that no more comes in is the point
	runtime.GC()
	runtime.ReadMemStats(&now)
	require.LessOrEqual(t, b.Stats().Received, int64(64))
	require.Less(t, int64(now.HeapAlloc)-int64(before.HeapAlloc), int64(24<<20))
	close(release)
	for range clients {
		require.NoError(t, <-sent)
	}
	patience.Until(t, "all accepted", func() bool { return b.Stats().Accepted == clients*each })
}

func TestConnectionsThatSayNothingAreClosedAndTheirNumberIsLimited(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle, MaxClients: 4})
	waits := func(d time.Duration) (before time.Duration) {
		b.listener.mu.Lock()
		defer b.listener.mu.Unlock()
		before, b.listener.patience = b.listener.patience, d
		return before
	}
	usual := waits(100 * time.Millisecond)
	silent, err := net.Dial("tcp", b.Addr())
	require.NoError(t, err)
	defer silent.Close()
	require.NoError(t, silent.SetReadDeadline(time.Now().Add(patience.Long)))
	_, err = silent.Read(make([]byte, 1))
	require.ErrorIs(t, err, io.EOF)
	waits(usual)
	for i := range 4 {
		rawConnect(t, b, 4, fmt.Sprint("c", i))
	}
	_, err = dial(b, "one too many", nil)
	require.ErrorContains(t, err, "erver")
}

func TestPublishersLeaveNoSessionBehind(t *testing.T) {
	b := start(t, Options{Handler: (&recorder{}).handle})
	for i := range 50 {
		c, err := dial(b, fmt.Sprint("k", i), func(o *paho.ClientOptions) { o.SetCleanSession(false) })
		require.NoError(t, err)
		wait(t, c.Publish("dewcase/a/k7", 1, false, "x"))
		c.Disconnect(100)
	}
	patience.Until(t, "forgotten", func() bool { return b.srv.Clients.Len() <= 1 }) // the broker's own
	patience.Until(t, "rights too", func() bool {
		b.guard.mu.Lock()
		defer b.guard.mu.Unlock()
		return len(b.guard.rights) == 0
	})
}

// certificate makes a server certificate for 127.0.0.1, signed by itself.
func certificate(t *testing.T) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "roof"}, IsCA: true,
		BasicConstraintsValid: true,
		NotBefore:             time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, &key.PublicKey, key)
	require.NoError(t, err)
	leaf, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	pool := x509.NewCertPool()
	pool.AddCert(leaf)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}

func TestMessagesArriveOverTLSOnly(t *testing.T) {
	cert, pool := certificate(t)
	r := &recorder{}
	b := start(t, Options{Handler: r.handle,
		TLS: &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}})
	o := paho.NewClientOptions().AddBroker("ssl://" + b.Addr()).SetClientID("k7").SetTLSConfig(&tls.Config{RootCAs: pool})
	c := paho.NewClient(o)
	wait(t, c.Connect())
	defer c.Disconnect(100)
	wait(t, c.Publish("dewcase/a/k7", 1, false, "sealed"))
	require.Equal(t, "sealed", string(r.messages()[0].Payload))
	b.listener.mu.Lock()
	b.listener.patience = 300 * time.Millisecond
	b.listener.mu.Unlock()
	_, err := dial(b, "plain", nil)
	require.Error(t, err)
}
