package curves

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"maps"
	"math"
	"slices"
	"time"

	"dewcase/internal/flow/kept"
	"dewcase/internal/roof"
)

// Shelf keeps days beyond the life of a keeper.
type Shelf interface {
	// Kept gives what is kept of a kind and a case over [from, until), in Unix ms.
	Kept(ctx context.Context, kind, caseID string, from, until int64) ([]roof.Derived, error)
	// Keep keeps values in place of those of the same kind, case and time.
	Keep(ctx context.Context, kind, caseID string, values []roof.Derived) error
}

// Rests gives the digests of what stretches within [fromMS, untilMS) rest on, and
// from when on a stretch may still change; ok is false where none can be kept.
type Rests func(ctx context.Context, c *roof.Case, fromMS, untilMS int64) (of kept.Hours, settledMS int64, ok bool,
	err error)

// Kind is what days are kept as.
const Kind = "curves"

// On has the keeper keep days on a shelf, and take them from there. It is called
// before any other.
func (k *Keeper) On(s Shelf, rests Rests) *Keeper {
	k.shelf, k.rests = s, rests
	return k
}

// takeDown lays missing days from the shelf, works those out that lie far enough
// back to be kept, and returns what is missing then.
func (k *Keeper) takeDown(ctx context.Context, c *roof.Case, x *held, missing []int64, lay func(int64, day)) ([]int64,
	error) {
	// With several outdoors, which of them an excess is over rests on more than a day.
	outdoors := slices.DeleteFunc(slices.Clone(c.Positions), func(p roof.Position) bool {
		return p.Place != roof.OutdoorAir
	})
	if k.shelf == nil || len(outdoors) > 1 {
		return missing, nil
	}
	fromMS, untilMS := missing[0]*dayMS, (missing[len(missing)-1]+1)*dayMS
	version := k.version(x)
	rests, settledMS, ok, err := k.rests(ctx, c, fromMS, untilMS)
	if err != nil || !ok {
		return missing, err
	}
	of := func(h kept.Hours, number int64) kept.Digest { return h.Of(number*dayMS, (number+1)*dayMS) }
	values, err := k.shelf.Kept(ctx, Kind, c.ID, fromMS, untilMS)
	if err != nil {
		return nil, err
	}
	for _, v := range values {
		number := v.AtMS / dayMS
		i, wanted := slices.BinarySearch(missing, number)
		if !wanted || v.Rests != of(rests, number) {
			continue
		}
		d, err := unpackDay(v.Data)
		if err != nil {
			continue // as if it were not there
		}
		lay(number, d)
		k.hold(c, x, version, dayKey{number, hourMS}, d)
		missing = slices.Delete(missing, i, i+1)
	}
	var later []int64
	for len(missing) > 0 {
		n := 1
		for n < min(len(missing), atOnce) && missing[n] == missing[0]+int64(n) {
			n++
		}
		for n > 0 && (missing[n-1]+1)*dayMS > settledMS {
			n--
		}
		if n == 0 {
			later = append(later, missing...)
			break
		}
		days, err := k.workOut(ctx, c, x, missing[0], n, hourMS)
		if err != nil {
			return nil, err
		}
		// What is kept must rest on what its digest says: nothing of it changed
		// while it was worked out.
		again, _, _, err := k.rests(ctx, c, fromMS, untilMS)
		if err != nil {
			return nil, err
		}
		var made []roof.Derived
		for i, d := range days {
			lay(missing[i], d)
			if r := of(rests, missing[i]); r == of(again, missing[i]) {
				made = append(made, roof.Derived{AtMS: missing[i] * dayMS, Rests: r, Data: packDay(d)})
			}
		}
		// One that cannot be kept is right all the same, and is worked out again.
		_ = k.shelf.Keep(ctx, Kind, c.ID, made)
		missing = missing[n:]
	}
	return later, nil
}

// Verify works some of a case's kept days out anew, at most n of them spread over
// the record, and names those that differ; checked says how many there were. What
// would not be served any more, because what it rests on has changed, is left out.
func (k *Keeper) Verify(ctx context.Context, c *roof.Case, n int) (checked int, differs []string, err error) {
	values, err := k.shelf.Kept(ctx, Kind, c.ID, math.MinInt64, math.MaxInt64)
	if err != nil || len(values) == 0 {
		return 0, nil, err
	}
	rests, _, ok, err := k.rests(ctx, c, values[0].AtMS, values[len(values)-1].AtMS+dayMS)
	if err != nil || !ok {
		return 0, nil, err
	}
	for i := 0; i < len(values) && checked < n; i += max(len(values)/n, 1) {
		v := values[i]
		if v.Rests != rests.Of(v.AtMS, v.AtMS+dayMS) {
			continue
		}
		checked++
		at := time.UnixMilli(v.AtMS).UTC().Format(time.DateOnly)
		got, err := unpackDay(v.Data)
		if err != nil {
			differs = append(differs, "case "+c.ID+": the chart's hours kept of "+at+" cannot be read")
			continue
		}
		fresh, err := k.workOut(ctx, c, k.of(c), v.AtMS/dayMS, 1, hourMS)
		if err != nil {
			return checked, differs, err
		}
		if key, same := alike(fresh[0], got); !same {
			differs = append(differs, "case "+c.ID+": the chart's hours of "+key.String()+" of "+at+
				" are kept with figures that the record does not give")
		}
	}
	return checked, differs, nil
}

// alike reports whether two days hold the same, but for the last bits of a figure,
// which depend on where a look begins; key is the first that does not.
func alike(want, got day) (key Key, same bool) {
	for key := range got {
		if want[key] == nil {
			return key, false
		}
	}
	for key, bins := range want {
		for i, b := range bins {
			if i >= len(got[key]) {
				return key, false
			}
			x := got[key][i]
			for _, f := range [][2]float32{{b.Mean, x.Mean}, {b.Min, x.Min}, {b.Max, x.Max}, {b.Seen, x.Seen}} {
				if math.Abs(float64(f[0]-f[1])) > 1e-5*math.Max(1, math.Abs(float64(f[0]))) {
					return key, false
				}
			}
		}
	}
	return Key{}, true
}

// dayFormat is raised with every change of packDay. A day is its columns in the
// order of their keys, figure by figure as it differs from that of the hour before.
const dayFormat = 1

func packDay(d day) []byte {
	b := binary.AppendUvarint([]byte{dayFormat}, uint64(len(d)))
	keys := slices.SortedFunc(maps.Keys(d), func(x, y Key) int {
		return cmp.Or(cmp.Compare(x.Position, y.Position), cmp.Compare(x.Quantity, y.Quantity))
	})
	for _, key := range keys {
		b = append(binary.AppendUvarint(b, uint64(len(key.Position))), key.Position...)
		b = append(b, byte(key.Quantity))
		var last [4]uint64
		for _, x := range d[key] {
			for i, f := range [...]float32{x.Mean, x.Min, x.Max, x.Seen} {
				bits := uint64(math.Float32bits(f))
				b = kept.AppendDifference(b, last[i], bits)
				last[i] = bits
			}
		}
	}
	return b
}

var errDay = errors.New("this is no kept day")

func unpackDay(b []byte) (day, error) {
	if len(b) == 0 || b[0] != dayFormat {
		return nil, errDay
	}
	b = b[1:]
	count, n := binary.Uvarint(b)
	if n <= 0 {
		return nil, errDay
	}
	b = b[n:]
	d := day{}
	for range count {
		size, n := binary.Uvarint(b)
		if n <= 0 || size >= uint64(len(b)-n) {
			return nil, errDay
		}
		b = b[n:]
		key := Key{string(b[:size]), Quantity(b[size])}
		b = b[size+1:]
		bins := make([]Bin, dayMS/hourMS)
		var last [4]uint64
		for i := range bins {
			for k := range last {
				var ok bool
				if last[k], b, ok = kept.TakeDifference(b, last[k]); !ok {
					return nil, errDay
				}
			}
			f := func(k int) float32 { return math.Float32frombits(uint32(last[k])) }
			bins[i] = Bin{f(0), f(1), f(2), f(3)}
		}
		d[key] = bins
	}
	if len(b) > 0 {
		return nil, errDay
	}
	return d, nil
}
