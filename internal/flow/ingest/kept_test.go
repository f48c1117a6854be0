package ingest

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

// shelf keeps rejects as the log does.
type shelf struct {
	*desk
	made bool // the house elsewhere
	kept []roof.KeptReject
}

func (s *shelf) Known(caseID string) bool { return s.made || caseID != "elsewhere" }
func (s *shelf) Keep(_ context.Context, rejects []roof.Reject) {
	for _, r := range rejects {
		r.Payload = r.Payload[:min(len(r.Payload), roof.RejectPayloadBytes)]
		s.kept = append(s.kept, roof.KeptReject{ID: int64(len(s.kept) + 1), Reject: r})
	}
}

// What came for a house before it was made is taken once it is: by its own time
// or by that of its first arrival, once, and nothing else with it.
func TestMessagesForAHouseThatWasMadeLaterAreTakenInTheirOwnTime(t *testing.T) {
	p, d, store := path(t, "")
	s := &shelf{desk: d}
	p.Cases, p.Rejects = s, s
	send := func(topic, body string, minute int, retained bool) {
		require.NoError(t, p.Message(t.Context(), payload.Message{Topic: topic, Payload: []byte(body), Retained: retained,
			Arrived: arrived.Add(time.Duration(minute) * time.Minute)}))
	}
	own := func(minute int) string { return arrived.Add(time.Duration(minute) * time.Minute).Format(time.RFC3339) }
	send("dewcase/elsewhere/k1", `{"temp_c":4,"rh_pct":90}`, 1, false)
	send("dewcase/elsewhere/k1", fmt.Sprintf(`[{"time":%q,"temp_c":5},{"time":%q,"temp_c":6}]`, own(-50), own(-40)), 2,
		false)
	send("dewcase/elsewhere/k2", `{"temp_c":7}`, 3, true)                                  // how old it is nobody knows
	send("dewcase/elsewhere/k2", `{"temp_c":300}`, 4, false)                               // cannot be
	send("dewcase/elsewhere/k2", fmt.Sprintf(`{"time":%q,"temp_c":8}`, own(-30)), 5, true) // retained, but dated
	send("dewcase/other/k1", `{"temp":4}`, 6, false)                                       // understood by nobody
	require.Len(t, s.kept, 7)

	dec, err := payload.New(nil)
	require.NoError(t, err)
	require.Empty(t, p.LookAgain(dec, s.kept), "the house is not there yet")
	s.made = true
	all := p.LookAgain(dec, s.kept)
	require.Equal(t, []string{"elsewhere"}, slices.Collect(maps.Keys(all)))
	k := all["elsewhere"]
	require.Equal(t, 3, k.Messages())
	require.Equal(t, 4, k.Readings)
	require.Equal(t, []string{"k1", "k2"}, k.Loggers)
	require.Equal(t, arrived.Add(-50*time.Minute), k.From)
	require.Equal(t, arrived.Add(time.Minute), k.Until)

	for i, want := range []Report{{Stored: 4}, {Duplicates: 4}} {
		rep, done, err := p.TakeKept(t.Context(), "elsewhere", k)
		require.NoError(t, err)
		require.Equal(t, want, rep, "time %d", i+1)
		require.Len(t, done, 4, "the rejects of three messages, one of which held two readings")
	}
	var times []time.Time
	for r, err := range store.Range(t.Context(), "elsewhere", "k1", time.Time{}, time.Time{}) {
		require.NoError(t, err)
		times = append(times, r.At)
		require.False(t, r.Arrived.After(arrived.Add(2*time.Minute)), "it arrived when it came first")
	}
	require.Equal(t, []time.Time{arrived.Add(-50 * time.Minute), arrived.Add(-40 * time.Minute), arrived.Add(time.Minute)},
		times)
}

// A message of which one value could not be is not offered for ever.
func TestAMessageRejectedForItsValuesIsNotOffered(t *testing.T) {
	dec, err := payload.New(nil)
	require.NoError(t, err)
	p, _, _ := path(t, "")
	require.Empty(t, p.LookAgain(dec, []roof.KeptReject{{Reject: roof.Reject{Source: "dewcase/a/k1", At: arrived,
		Reason: roof.TempOutOfRange, Payload: []byte(`{"temp_c":4}`)}}}))
}

// Two messages of one millisecond are two readings, in the order in which they came.
func TestMessagesOfOneMillisecondAreAReadingEach(t *testing.T) {
	dec, err := payload.New(nil)
	require.NoError(t, err)
	p, _, store := path(t, "")
	var kept []roof.KeptReject // the log lists the newest first
	for i, body := range []string{`{"temp_c":6}`, `{"temp_c":5}`, `{"temp_c":5}`, `{"rh_pct":90}`} {
		kept = append(kept, roof.KeptReject{ID: int64(9 - i), Reject: roof.Reject{Source: "dewcase/a/k1", At: arrived,
			Reason: roof.UnknownCase, Payload: []byte(body)}})
	}
	rep, _, err := p.TakeKept(t.Context(), "a", p.LookAgain(dec, kept)["a"])
	require.NoError(t, err)
	require.Zero(t, rep.Conflicts)
	var got []string
	for r, err := range store.Range(t.Context(), "a", "k1", time.Time{}, time.Time{}) {
		require.NoError(t, err)
		temp, _ := r.Values.Get(roof.TempC)
		got = append(got, fmt.Sprint(r.At.Sub(arrived), " ", temp, " ", r.Values.Has(roof.RHPct)))
	}
	require.Equal(t, []string{"0s 5 true", "1ms 6 false"}, got)
}
