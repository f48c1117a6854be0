package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/watch"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// town is the houses.
type town struct {
	options
	winters []*winter
	visited int       // houses whose pages are asked for
	began   time.Time // when the daemon's clock began, by the world's
}

// winter is one simulated roof as its loggers saw it, a reading every interval.
type winter struct {
	file    *roof.Case
	loggers []logger
	steps   int // readings of each logger
}

type logger struct {
	id       string
	covers   bool // sits on the underside of the covering
	readings []roof.Values
}

// spareDays are simulated beyond the record: houses that share a winter are at
// different dates of it.
const spareDays = 12

// newTown simulates the winters.
func newTown(o options) (*town, error) {
	o.records = min(o.records, o.houses)
	t := &town{options: o, visited: cmp.Or(min(o.nightly, o.houses), o.houses)}
	causes := roofworlds.Causes()
	perDay := int(24 * time.Hour / interval)
	for k := range min(o.winters, o.records) {
		seed := uint64(7_000_000 + k)
		w := roofworlds.Draw(seed, causes[k%len(causes)])
		days := o.days + spareDays
		w.Start = nowhere.Truncate(24*time.Hour).AddDate(0, 0, -days)
		run := roofsim.Run(w, roofsim.Options{Days: days + 1, Step: interval})
		m := roofworlds.Kit{Interval: interval, Faults: roofsim.Faults{TempLimitC: 0.3, RHLimitPct: 2, NoiseC: 0.03,
			NoiseRHPct: 0.2, ResolutionC: 0.01, ResRHPct: 0.1}}.Measure(run, seed)
		x := &winter{file: m.Case, steps: math.MaxInt}
		for _, l := range m.Case.Loggers {
			p, _ := m.Case.Position(l.Fitted[0].Position)
			one := logger{id: l.ID, covers: p.Place == roof.CoveringUnderside}
			for _, r := range m.Of(l.ID) {
				one.readings = append(one.readings, r.Values)
			}
			x.steps = min(x.steps, len(one.readings))
			x.loggers = append(x.loggers, one)
		}
		if x.steps < (o.days+1)*perDay {
			return nil, fmt.Errorf("winter %d has %d readings a logger only", k, x.steps)
		}
		t.winters = append(t.winters, x)
	}
	return t, nil
}

// house is one of the houses. Its record is one of a few, which differ in winter,
// date, phase and values; its name and its loggers' offsets are its own.
type house struct {
	*winter
	id        string
	n, record int
	had       int // readings of each logger before now
	first     int // step of the winter that is its first reading
}

func (t *town) house(n int) house {
	r := n % t.records
	h := house{winter: t.winters[r%len(t.winters)], id: fmt.Sprintf("house-%05d", n), n: n, record: r,
		had: t.days * 24 * int(time.Hour/interval)}
	h.first = r * 37 % ((h.steps - h.had) / 2)
	return h
}

// phase is when within an interval a logger reports.
func (h house) phase(l int) time.Duration {
	return time.Duration(uint32(h.record*len(h.loggers)+l)*2654435761%300_000) * time.Millisecond
}

// at is when a logger takes its k-th reading; the first of those that are yet to
// come follows on nowhere.
func (h house) at(l, k int) time.Time {
	return nowhere.Add(time.Duration(k-h.had) * interval).Add(h.phase(l))
}

// values are those of a record: its winter's, moved by less than loggers differ.
func (h house) values(l, k int) roof.Values {
	v := h.loggers[l].readings[(h.first+k)%h.steps]
	move := func(q roof.Quantity, step, most float64) {
		if x, ok := v.Get(q); ok {
			v.Set(q, math.Round(min(x+step*float64((h.record/len(h.loggers)+l)%9-4), most)*100)/100)
		}
	}
	move(roof.TempC, 0.01, math.Inf(1))
	move(roof.RHPct, 0.1, 100)
	return v
}

// reading is a logger's k-th.
func (h house) reading(l, k int) roof.Reading {
	at := h.at(l, k)
	return roof.Reading{Logger: h.loggers[l].id, At: at, Arrived: at, Values: h.values(l, k)}
}

// caseFile is a house's own.
func (t *town) caseFile(h house) ([]byte, error) {
	c := *h.file
	c.ID, c.Property.Label = h.id, "House "+strconv.Itoa(h.n)
	c.Loggers = slices.Clone(c.Loggers)
	for i, l := range c.Loggers {
		c.Loggers[i].Offsets = append(slices.Clone(l.Offsets), roof.Offset{From: l.Fitted[0].From,
			TempC: 0.01 * float64((h.n/t.records+i)%11-5)})
	}
	return casefile.Format(&c)
}

// seed puts cases and records into a store, unless they are there.
// A folder that is used again has its nightly work done.
func (t *town) seed(ctx context.Context, data string) (string, error) {
	done := filepath.Join(data, "seeded")
	want := fmt.Sprint(t.houses, t.days, len(t.winters), t.records)
	if have, err := os.ReadFile(done); err == nil {
		if string(have) != want {
			return "", errors.New("the folder holds another town; name another one")
		}
		t.nightly = 0
		return "used again", nil
	}
	s, err := sqlite.Open(ctx, data, sqlite.Options{Now: func() time.Time { return nowhere }})
	if err != nil {
		return "", err
	}
	began := time.Now()
	readings, err := t.settleIn(ctx, s)
	took := time.Since(began)
	if err = errors.Join(err, s.Close()); err != nil {
		return "", err
	}
	size, err := fileSize(data)
	if err != nil {
		return "", err
	}
	if err := os.WriteFile(done, []byte(want), 0o600); err != nil {
		return "", err
	}
	return fmt.Sprintf("%d readings stored in %.0f s, %d MB on disk, %.1f bytes each", readings, took.Seconds(),
		size/1e6, float64(size)/float64(readings)), nil
}

// seedAtOnce is how many houses are put into the store at a time, which share commits.
const seedAtOnce = 8

// settleIn keeps all houses' files and records. Of each record the first house's is
// appended; the others' sealed days are copied from there.
func (t *town) settleIn(ctx context.Context, s *sqlite.Store) (readings int64, err error) {
	var sum atomic.Int64
	for r := range t.records {
		n, err := t.settle(ctx, s, t.house(r), nil)
		if err != nil {
			return 0, err
		}
		sum.Add(int64(n))
		others, ctx := errgroup.WithContext(ctx)
		others.SetLimit(seedAtOnce)
		sealed, err := s.CopySealed(ctx, t.house(r).id)
		if err != nil {
			return 0, err
		}
		for n := r + t.records; n < t.houses; n += t.records {
			others.Go(func() error {
				k, err := t.settle(ctx, s, t.house(n), sealed)
				sum.Add(int64(k))
				return err
			})
		}
		if err := others.Wait(); err != nil {
			return 0, err
		}
	}
	return sum.Load(), nil
}

// settle keeps a house's file and record, the days that are over by sealed, if there
// is one.
func (t *town) settle(ctx context.Context, s *sqlite.Store, h house,
	sealed func(context.Context, string) (int, error)) (readings int, err error) {
	file, err := t.caseFile(h)
	if err != nil {
		return 0, err
	}
	if _, _, err := s.WriteCase(ctx, sqlite.CasePut{ID: h.id, File: file, By: "fleet"}); err != nil {
		return 0, err
	}
	if h.n >= t.nightly { // its nightly work is done
		blob, err := json.Marshal(watch.Slow{Done: nowhere, At: nowhere.Truncate(24 * time.Hour)})
		if err != nil {
			return 0, err
		}
		if err := s.PutState(ctx, "alert_slow", h.id, blob); err != nil {
			return 0, err
		}
	}
	today, from := nowhere.Truncate(24*time.Hour), 0
	if sealed != nil {
		if readings, err = sealed(ctx, h.id); err != nil {
			return readings, err
		}
		from = max(0, h.had-int(nowhere.Sub(today)/interval)-1)
	}
	var all []roof.Reading
	for l := range h.loggers {
		for k := from; k < h.had; k++ {
			if r := h.reading(l, k); sealed == nil || !r.At.Before(today) {
				all = append(all, r)
			}
		}
	}
	_, err = s.Append(ctx, h.id, all)
	return readings + len(all), err
}

// fileSize is what a folder's files take.
func fileSize(dir string) (sum int64, err error) {
	entries, err := os.ReadDir(dir)
	for _, e := range entries {
		if st, err := e.Info(); err == nil {
			sum += st.Size()
		}
	}
	return sum, err
}
