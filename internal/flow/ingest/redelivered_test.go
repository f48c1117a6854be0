package ingest

import (
	"context"
	"fmt"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

// sent is one sending of a message without a time of its own, or a restart of
// the daemon.
type sent struct {
	after   time.Duration // since the first
	packet  uint16
	dup     bool
	payload string
	restart bool
}

func TestAMessageWithoutATimeThatComesAgainIsStoredOnce(t *testing.T) {
	const a, b, c = `{"temp_c":4.31,"rh_pct":92.4}`, `{"temp_c":4.32,"rh_pct":92.4}`, `{"temp_c":4.33,"rh_pct":92.5}`
	const relative = `[{"bu":"Cel","n":"t","t":-1200,"v":3.1},{"n":"t","t":-600,"v":3.3},{"n":"t","v":3.4}]`
	restart := sent{restart: true}
	const s, min = time.Second, time.Minute
	for name, x := range map[string]struct {
		sendings  []sent
		stored    int
		duplicate int
	}{
		"its acknowledgement was lost on the way": {[]sent{{0, 7, false, a, false},
			{40 * s, 7, true, a, false}, {50 * s, 7, true, a, false}}, 1, 2},
		"the daemon was killed before it": {[]sent{{0, 7, false, a, false}, restart,
			{3 * s, 7, true, a, false}}, 1, 1},
		"and killed once more": {[]sent{{0, 7, false, a, false}, restart,
			{3 * s, 7, true, a, false}, restart, {6 * s, 7, true, a, false}}, 1, 2},
		"it was away for a day": {[]sent{{0, 7, false, a, false}, restart,
			{24 * 60 * min, 7, true, a, false}}, 1, 1},
		"several were under way, the last not stored": {[]sent{{0, 7, false, a, false}, {s, 8, false, b, false},
			restart, {3 * s, 7, true, a, false}, {3 * s, 8, true, b, false}, {4 * s, 9, true, c, false}}, 3, 2},
		"several that say the same": {[]sent{{0, 7, false, a, false}, {s, 8, false, a, false},
			restart, {3 * s, 7, true, a, false}, {3 * s, 8, true, a, false}, {4 * s, 9, true, a, false}}, 3, 2},
		"the last was never stored": {[]sent{{0, 7, false, a, false}, restart,
			{5 * min, 8, true, b, false}}, 2, 0},
		"a new one that says the same, under another identifier": {[]sent{{0, 7, false, a, false},
			{5 * min, 8, true, a, false}}, 2, 0},
		"a new one that says the same, sent once": {[]sent{{0, 7, false, a, false}, restart,
			{5 * min, 7, false, a, false}}, 2, 0},
		"an older one that said the same": {[]sent{{0, 7, false, a, false},
			{5 * min, 8, false, b, false}, restart, {10 * min, 9, true, a, false}}, 3, 0},
		"new ones were taken since the restart": {[]sent{{0, 7, false, a, false}, restart,
			{5 * min, 8, false, b, false}, {10 * min, 9, true, a, false}}, 3, 0},
		"times that count from the arrival, its word was lost": {[]sent{{0, 7, false, relative, false},
			{40 * s, 7, true, relative, false}}, 3, 3},
		"times that count from the arrival, the daemon was killed": {[]sent{{0, 7, false, relative, false}, restart,
			{40 * s, 7, true, relative, false}}, 3, 3},
	} {
		t.Run(name, func(t *testing.T) {
			p, d, _ := path(t, "")
			now := arrived
			p.Now = func() time.Time { return now }
			for _, m := range x.sendings {
				if m.restart {
					next, _, _ := path(t, "")
					next.Store, next.Count, next.Now = p.Store, d, p.Now
					p = next
					continue
				}
				now = arrived.Add(m.after + 196144*time.Nanosecond + m.after/1000) // clocks count finer than records
				require.NoError(t, p.Message(context.Background(),
					payload.Message{Topic: "dewcase/a/k1", Payload: []byte(m.payload), Arrived: now, Redelivered: m.dup,
						Packet: m.packet}))
			}
			require.Equal(t, x.stored, d.outcomes[roof.Stored], "stored")
			require.Equal(t, x.duplicate, d.outcomes[roof.Duplicate], "duplicates")
		})
	}
}

// A flood's readings run ahead of the clock; what comes just after a restart
// must not meet them.
func TestAFloodThatARestartCutsOffKeepsEveryReading(t *testing.T) {
	p, d, _ := path(t, "")
	send := func(from, until int, dup bool) {
		for i := from; i < until; i++ {
			m := payload.Message{Topic: "dewcase/a/k1", Payload: fmt.Appendf(nil, `{"temp_c":%d.5,"rh_pct":%d}`, i/100, i%100),
				Arrived: arrived.Add(time.Duration(i) * time.Microsecond), Packet: uint16(i + 1), Redelivered: dup}
			require.NoError(t, p.Message(context.Background(), m))
		}
	}
	send(0, 500, false)
	next, _, _ := path(t, "")
	next.Store, next.Count, next.Now = p.Store, d, func() time.Time { return arrived }
	p = next
	send(400, 600, true)
	send(600, 700, false)
	require.Equal(t, map[roof.Outcome]int{roof.Stored: 700, roof.Duplicate: 100}, d.outcomes)
}

func TestAMessageThatWasNotStoredKeepsTheTimeOfItsFirstArrival(t *testing.T) {
	p, _, s := path(t, "k1")
	m := payload.Message{Topic: "dewcase/a/k1", Payload: []byte(`{"temp_c":4.31}`), Arrived: arrived, Packet: 7}
	require.Error(t, p.Message(context.Background(), m))
	s.refuse = ""
	m.Arrived, m.Redelivered = arrived.Add(time.Minute), true
	require.NoError(t, p.Message(context.Background(), m))
	var at []time.Time
	for r, err := range s.Range(context.Background(), "a", "k1", time.Time{}, time.Time{}) {
		require.NoError(t, err)
		at = append(at, r.At)
	}
	require.Equal(t, []time.Time{arrived}, at)
}

func TestMessagesOfOneMillisecondAreReadingsOfTheirOwn(t *testing.T) {
	for name, c := range map[string]struct {
		payloads []string
		want     map[roof.Outcome]int
	}{
		"what a broker kept comes all at once": {[]string{`{"temp_c":1}`, `{"temp_c":2}`, `{"temp_c":3}`},
			map[roof.Outcome]int{roof.Stored: 3}},
		"halves of one reading belong together": {[]string{`{"temp_c":1}`, `{"rh_pct":50}`, `{"temp_c":2}`,
			`{"rh_pct":51}`}, map[roof.Outcome]int{roof.Stored: 2, roof.Merged: 2}},
		"the same by two gateways is one": {[]string{`{"temp_c":1,"rh_pct":50}`, `{"temp_c":1,"rh_pct":50}`},
			map[roof.Outcome]int{roof.Stored: 1, roof.Duplicate: 1}},
		"arrays that count back are left as they are": {[]string{`[{"bu":"Cel","n":"t","t":-60,"v":1},{"n":"t","v":2}]`,
			`[{"bu":"Cel","n":"t","t":-60,"v":1},{"n":"t","v":2}]`}, map[roof.Outcome]int{roof.Stored: 2, roof.Duplicate: 2}},
	} {
		t.Run(name, func(t *testing.T) {
			p, d, _ := path(t, "")
			var all []payload.Message
			for i, x := range c.payloads {
				all = append(all, payload.Message{Topic: "dewcase/a/k1", Payload: []byte(x),
					Arrived: arrived.Add(time.Duration(i)), Packet: uint16(i + 1)})
			}
			p.Messages(context.Background(), all)
			require.Equal(t, c.want, d.outcomes)
		})
	}
}

// Half of the flood is looked for among all that was under way, so that four
// times the messages are some sixteen times the work. Going through the record
// once more for each of those would make it sixty-four. The processor's time is
// counted and not the wall's, which a busy machine stretches.
func TestAFloodOfMessagesSentBeforeIsSettledInLittleTime(t *testing.T) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	settled(t, 200) // the first run pays for what is set up once
	few, many := settled(t, 750), settled(t, 3000)
	require.Positive(t, few)
	require.Less(t, float64(many)/float64(few), 32.0, "%v for 750 messages, %v for 3000", few, many)
}

// settled is the processor's time that a flood of messages takes that come again
// after a restart, every other one with something that the record does not say.
func settled(t *testing.T, flood int) time.Duration {
	t.Helper()
	p, d, _ := path(t, "")
	message := func(i int, dup bool) payload.Message {
		temp := i / 100
		if dup && i%2 == 1 {
			temp += 40
		}
		return payload.Message{Topic: "dewcase/a/k1", Payload: fmt.Appendf(nil, `{"temp_c":%d.5,"rh_pct":%d}`, temp, i%100),
			Arrived: arrived.Add(time.Duration(i) * time.Millisecond), Packet: uint16(i + 1), Redelivered: dup}
	}
	for i := range flood {
		require.NoError(t, p.Message(context.Background(), message(i, false)))
	}
	next, _, _ := path(t, "")
	next.Store, next.Count, next.Now = p.Store, d, func() time.Time { return arrived.Add(time.Minute) }
	begun := spent(t)
	for i := range flood {
		m := message(i, true)
		m.Arrived = arrived.Add(time.Minute)
		require.NoError(t, next.Message(context.Background(), m))
	}
	took := spent(t) - begun
	require.Equal(t, map[roof.Outcome]int{roof.Stored: flood + flood/2, roof.Duplicate: flood / 2}, d.outcomes)
	return took
}

// spent is the processor's time that this thread has had.
func spent(t *testing.T) time.Duration {
	t.Helper()
	var now unix.Timespec
	require.NoError(t, unix.ClockGettime(unix.CLOCK_THREAD_CPUTIME_ID, &now))
	return time.Duration(now.Nano())
}

func TestAClockThatIsSetBackIsFollowed(t *testing.T) {
	p, _, s := path(t, "")
	for i, at := range []time.Time{arrived, arrived.Add(-time.Hour)} {
		require.NoError(t, p.Message(context.Background(),
			payload.Message{Topic: "dewcase/a/k1", Payload: fmt.Appendf(nil, `{"temp_c":%d}`, i), Arrived: at,
				Packet: uint16(i + 1)}))
	}
	var at []time.Time
	for r, err := range s.Range(context.Background(), "a", "k1", time.Time{}, time.Time{}) {
		require.NoError(t, err)
		at = append(at, r.At)
	}
	require.Equal(t, []time.Time{arrived.Add(-time.Hour), arrived}, at)
}

func TestWhatIsRememberedOfSendingsIsBounded(t *testing.T) {
	p, _, _ := path(t, "")
	for i := range rememberedSendings + 100 {
		m := payload.Message{Topic: "dewcase/a/k1", Payload: fmt.Appendf(nil, `{"temp_c":%d.5}`, i%50),
			Arrived: arrived.Add(time.Duration(i) * time.Second), Packet: uint16(i + 1)}
		require.NoError(t, p.Message(context.Background(), m))
	}
	require.Len(t, p.again.taken, rememberedSendings)
	require.Len(t, p.again.order, rememberedSendings)
}
