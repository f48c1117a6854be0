package sqlite

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

func TestCaseFilesKeepTheirHistory(t *testing.T) {
	now := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	s := openIn(t, t.TempDir(), Options{Now: func() time.Time { return now }, SealAfter: -1})
	ctx := t.Context()
	_, _, _, err := s.Case(ctx, house)
	require.ErrorIs(t, err, roof.ErrNotFound)

	created, err := s.PutCase(ctx, house, []byte("one"))
	require.NoError(t, err)
	require.True(t, created)
	created, err = s.PutCase(ctx, house, []byte("one"))
	require.NoError(t, err)
	require.False(t, created)
	file, first, updated, err := s.Case(ctx, house)
	require.NoError(t, err)
	require.Equal(t, "one", string(file))
	require.Equal(t, now, updated)

	now = now.Add(time.Hour)
	second, created, err := s.WriteCase(ctx, CasePut{ID: house, File: []byte("two"), By: "consultant", IfMatch: first})
	require.NoError(t, err)
	require.False(t, created)
	_, _, err = s.WriteCase(ctx, CasePut{ID: house, File: []byte("three"), By: "homeowner", IfMatch: first})
	require.ErrorIs(t, err, roof.ErrChanged)
	_, _, err = s.WriteCase(ctx, CasePut{ID: "absent", File: []byte("x"), IfMatch: first})
	require.ErrorIs(t, err, roof.ErrChanged)
	_, err = s.PutCase(ctx, "another", nil)
	require.NoError(t, err)

	list, err := s.Cases(ctx)
	require.NoError(t, err)
	require.Len(t, list, 2)
	require.Equal(t, roof.CaseVersion{Case: house, ETag: second, Updated: now, By: "consultant"}, list[1])
	require.NoError(t, s.DeleteCase(ctx, house, "consultant"))
	require.ErrorIs(t, s.DeleteCase(ctx, house, ""), roof.ErrNotFound)
	_, _, _, err = s.Case(ctx, house)
	require.ErrorIs(t, err, roof.ErrNotFound)
	list, err = s.Cases(ctx)
	require.NoError(t, err)
	require.Len(t, list, 1)
	history, err := s.CaseHistory(ctx, house, 10, 0)
	require.NoError(t, err)
	require.Equal(t, []roof.CaseVersion{
		{Case: house, Number: 3, Updated: now, By: "consultant"},
		{Case: house, Number: 2, ETag: second, Updated: now, By: "consultant", Size: 3},
		{Case: house, Number: 1, ETag: first, Updated: now.Add(-time.Hour), Size: 3},
	}, history)
	older, err := s.CaseHistory(ctx, house, 1, 3)
	require.NoError(t, err)
	require.Equal(t, history[1:2], older)
	older, err = s.CaseHistory(ctx, house, 10, 1)
	require.NoError(t, err)
	require.Empty(t, older)
	_, err = s.CaseHistory(ctx, "absent", 10, 0)
	require.ErrorIs(t, err, roof.ErrNotFound)
	for _, version := range []string{"1", first} {
		v, err := s.CaseVersion(ctx, house, version)
		require.NoError(t, err)
		require.Equal(t, "one", string(v.File))
		require.Equal(t, 1, v.Number)
	}
	gone, err := s.CaseVersion(ctx, house, "3")
	require.NoError(t, err)
	require.Nil(t, gone.File)
	for _, version := range []string{"0", "4", "-1", "", "x", second[:10]} {
		_, err := s.CaseVersion(ctx, house, version)
		require.ErrorIs(t, err, roof.ErrNotFound, version)
	}
	created, err = s.PutCase(ctx, house, []byte("one"))
	require.NoError(t, err)
	require.True(t, created, "again")
	again, err := s.CaseVersion(ctx, house, first)
	require.NoError(t, err)
	require.Equal(t, 4, again.Number, "the newest of one content")
}

func TestRejectLogIsBoundedAndItsCountsAreNot(t *testing.T) {
	s := openIn(t, t.TempDir(), Options{RejectRows: 100, RejectBytes: 1 << 20, SealAfter: -1})
	ctx := t.Context()
	at := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	for i := range 250 {
		r := roof.Reject{At: at.Add(time.Duration(i) * time.Second), Case: fmt.Sprint("house-", i%2), Logger: "k7",
			Source: "dewcase/x/k7", Line: i,
			Reason: roof.BadPayload, Detail: "not JSON", Payload: []byte{'{', byte(i)}}
		if i%10 == 0 {
			r.Reason = roof.UnknownCase
		}
		require.NoError(t, s.AppendReject(ctx, r))
	}
	counts, err := s.RejectCounts(ctx)
	require.NoError(t, err)
	require.Equal(t, map[roof.Reason]int64{roof.BadPayload: 225, roof.UnknownCase: 25}, counts)
	all, err := s.Rejects(ctx, "", 1000, 0)
	require.NoError(t, err)
	require.LessOrEqual(t, len(all), 100)
	require.Greater(t, len(all), 80)
	var dropped int
	require.NoError(t, s.read.QueryRow(`SELECT sum(dropped) FROM reject_count`).Scan(&dropped))
	require.EqualValues(t, 250-len(all), dropped)
	require.Equal(t, roof.Reject{At: at.Add(249 * time.Second), Case: "house-1", Logger: "k7", Source: "dewcase/x/k7",
		Line:   249,
		Reason: roof.BadPayload, Detail: "not JSON", Payload: []byte{'{', 249}}, all[0].Reject)

	page, err := s.Rejects(ctx, "house-0", 5, 0)
	require.NoError(t, err)
	require.Len(t, page, 5)
	next, err := s.Rejects(ctx, "house-0", 5, page[4].ID)
	require.NoError(t, err)
	require.Equal(t, page[4].Line-2, next[0].Line)
}

func TestOneRejectTakesLittle(t *testing.T) {
	s := openIn(t, t.TempDir(), Options{RejectBytes: 64 << 10, SealAfter: -1})
	ctx := t.Context()
	long := strings.Repeat("ö", 40_000)
	var many []roof.Reject
	for range 100 {
		many = append(many, roof.Reject{At: time.Now(), Case: "x" + long, Source: long, Detail: "\xff\xfe" + long,
			Payload: make([]byte, 10<<20), Reason: roof.TooLarge})
	}
	require.NoError(t, s.AppendReject(ctx, many...))
	all, err := s.Rejects(ctx, "", 1000, 0)
	require.NoError(t, err)
	require.NotEmpty(t, all)
	require.LessOrEqual(t, len(all), 64/2)
	for _, r := range all {
		require.Len(t, r.Payload, rejectPayload)
		require.LessOrEqual(t, len(r.Case)+len(r.Source), 2*rejectText)
		require.True(t, strings.HasSuffix(r.Source, "ö"))
	}
	r, err := s.Check(ctx)
	require.NoError(t, err)
	require.NoError(t, r.Err())
}

func TestWhatWasHeardIsListedWithinABound(t *testing.T) {
	s := openIn(t, t.TempDir(), Options{HeardNames: 10, SealAfter: -1})
	ctx := t.Context()
	at := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	for i := range 30 {
		require.NoError(t, s.Heard(ctx, "nowhere", fmt.Sprint("k", i), at.Add(time.Duration(i)*time.Second)))
		require.NoError(t, s.Heard(ctx, "nowhere", "k0", at.Add(time.Duration(i)*time.Second)))
	}
	got, err := s.HeardNames(ctx)
	require.NoError(t, err)
	require.Len(t, got, 11, "ten names and the rest")
	by := map[string]roof.HeardName{}
	for _, h := range got {
		by[h.Logger] = h
	}
	require.Equal(t, roof.HeardName{Case: "nowhere", Logger: "k0", Count: 31, First: at, Last: at.Add(29 * time.Second)},
		by["k0"])
	require.EqualValues(t, 20, by[""].Count)
	require.NoError(t, s.ForgetHeard(ctx, "nowhere", "k0"))
	require.NoError(t, s.ForgetHeard(ctx, "nowhere", ""))
	got, err = s.HeardNames(ctx)
	require.NoError(t, err)
	require.Len(t, got, 1)
}

func TestStateIsKeptByKindAndKey(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(t.Context(), dir, Options{SealAfter: -1})
	require.NoError(t, err)
	ctx := t.Context()
	_, err = s.State(ctx, "alert", "slate")
	require.ErrorIs(t, err, roof.ErrNotFound)
	require.NoError(t, s.PutState(ctx, "alert", "slate", []byte("raised")))
	require.NoError(t, s.PutState(ctx, "alert", "slate", []byte("cleared")))
	require.NoError(t, s.PutState(ctx, "alert", "loft", nil))
	require.NoError(t, s.PutState(ctx, "token", "slate", []byte{0, 1, 2}))
	require.NoError(t, s.Close())
	s = openIn(t, dir, Options{SealAfter: -1})
	got, err := s.State(ctx, "alert", "slate")
	require.NoError(t, err)
	require.Equal(t, "cleared", string(got))
	list, err := s.States(ctx, "alert")
	require.NoError(t, err)
	require.Len(t, list, 2)
	require.Equal(t, "loft", list[0].Key)
	require.Empty(t, list[0].Blob)
	require.NoError(t, s.DeleteState(ctx, "alert", "slate"))
	require.NoError(t, s.DeleteState(ctx, "alert", "slate"))
	_, err = s.State(ctx, "alert", "slate")
	require.ErrorIs(t, err, roof.ErrNotFound)
}
