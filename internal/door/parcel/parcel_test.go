package parcel_test

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/parcel"
	"dewcase/internal/roof"
)

var at = time.Date(2026, 11, 30, 8, 0, 0, 123e6, time.UTC)

// house is what is packed.
type house struct {
	versions []roof.CaseVersion
	readings []roof.Reading
	aside    []roof.Conflicting
	rejects  []roof.KeptReject
	state    []roof.HouseState
	original string
}

func drawn(r *rand.Rand) house {
	var h house
	h.versions = []roof.CaseVersion{{Case: "larch-3", Number: 1, ETag: "e", Updated: at, By: "Ann",
		File: []byte("case: larch-3\n")},
		{Case: "larch-3", Number: 2, Updated: at.Add(time.Hour)}}
	for i := range r.IntN(50) {
		x := roof.Reading{Logger: "k1", At: at.Add(time.Duration(i) * time.Minute),
			Arrived: at.Add(time.Duration(i) * time.Hour), Flags: roof.Flags(r.Uint32N(1 << 10))}
		x.Values.Set(roof.TempC, r.NormFloat64())
		if r.IntN(2) == 0 {
			x.Values.Set(roof.RHPct, 100*r.Float64())
		}
		h.readings = append(h.readings, x)
		if r.IntN(9) == 0 {
			h.aside = append(h.aside, roof.Conflicting{Reading: x})
		}
	}
	h.rejects = []roof.KeptReject{{ID: 7, Reject: roof.Reject{At: at, Case: "larch-3", Source: "a/b",
		Reason: roof.BadPayload, Detail: "no “JSON”", Payload: []byte{0, 255, '\n'}, Retained: true}}}
	h.state = []roof.HouseState{{Kind: "alert_book", Key: "larch-3", Blob: []byte(`{"a":1}`)}}
	h.original = "Datum;T\r\n\x00"
	return h
}

func pack(t testing.TB, h house) []byte {
	var b bytes.Buffer
	w := parcel.NewWriter(&b)
	require.NoError(t, w.Versions(h.versions))
	require.NoError(t, w.Readings(func(yield func(roof.Reading, error) bool) {
		for _, r := range h.readings {
			if !yield(r, nil) {
				return
			}
		}
	}))
	require.NoError(t, w.Aside(h.aside))
	require.NoError(t, w.Rejects(h.rejects))
	require.NoError(t, w.State(h.state))
	require.NoError(t, w.Original("abc", strings.NewReader(h.original)))
	require.NoError(t, w.Close(parcel.About{Case: "larch-3", Label: "3 Larch Row", At: at}))
	return b.Bytes()
}

// unpack reads everything that there is.
func unpack(b []byte) (h house, err error) {
	p, err := parcel.Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return h, err
	}
	var errs []error
	h.versions, err = p.Versions()
	errs = append(errs, err)
	h.rejects, err = p.Rejects()
	errs = append(errs, err)
	h.state, err = p.State()
	errs = append(errs, err)
	for r, err := range p.Readings() {
		if errs = append(errs, err); err == nil {
			h.readings = append(h.readings, r)
		}
	}
	for r, err := range p.Aside() {
		if errs = append(errs, err); err == nil {
			h.aside = append(h.aside, roof.Conflicting{Reading: r})
		}
	}
	for _, open := range p.Originals() {
		in, err := open()
		if err != nil {
			return h, err
		}
		all, err := io.ReadAll(in)
		h.original = string(all)
		errs = append(errs, err)
	}
	return h, errors.Join(errs...)
}

func TestAHouseComesOutOfItsFileAsItWentIn(t *testing.T) {
	for seed := range uint64(100) {
		h := drawn(rand.New(rand.NewPCG(seed, 3)))
		got, err := unpack(pack(t, h))
		require.NoError(t, err)
		require.Equal(t, h, got, "seed %d", seed)
	}
}

// A file that broke off, or of which a byte is another, is never taken for whole.
func TestADamagedFileIsRefused(t *testing.T) {
	h := drawn(rand.New(rand.NewPCG(1, 1)))
	whole := pack(t, h)
	for n := range len(whole) {
		_, err := unpack(whole[:n])
		require.ErrorIs(t, err, parcel.ErrNotAHouse, "cut at %d", n)
	}
	for n := range len(whole) {
		b := bytes.Clone(whole)
		b[n] ^= 0x10
		got, err := unpack(b)
		if err == nil { // a byte of the archive's own that says nothing of the house
			require.True(t, assert.ObjectsAreEqual(h, got), "byte %d", n)
		}
	}
	for name, about := range map[string]parcel.About{"no id": {Case: "../etc"}} {
		var b bytes.Buffer
		require.NoError(t, parcel.NewWriter(&b).Close(about))
		_, err := parcel.Open(bytes.NewReader(b.Bytes()), int64(b.Len()))
		require.ErrorIs(t, err, parcel.ErrNotAHouse, name)
	}
}

func FuzzOpen(f *testing.F) {
	f.Add(pack(f, drawn(rand.New(rand.NewPCG(2, 1)))))
	f.Fuzz(func(t *testing.T, b []byte) {
		h, err := unpack(b)
		if err != nil {
			return
		}
		for _, r := range h.readings {
			if err := r.Storable(); err != nil {
				t.Fatal(err)
			}
		}
	})
}
