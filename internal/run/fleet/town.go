package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"time"

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
	every   int       // every so many-th house has the record of a whole winter; 0 none
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

// winterDays is a whole winter.
const winterDays = 120

// spareDays are simulated beyond the record: houses that share a winter are at
// different dates of it.
const spareDays = 12

// newTown simulates the winters.
func newTown(o options) (*town, error) {
	t := &town{options: o}
	longest := o.days
	if o.whole > 0 {
		t.every, longest = max(o.houses/o.whole, 1), max(o.days, winterDays)
	}
	causes := roofworlds.Causes()
	perDay := int(24 * time.Hour / interval)
	for k := range min(o.winters, o.houses) {
		seed := uint64(7_000_000 + k)
		w := roofworlds.Draw(seed, causes[k%len(causes)])
		days := longest + spareDays
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
		if x.steps < (longest+1)*perDay {
			return nil, fmt.Errorf("winter %d has %d readings a logger only", k, x.steps)
		}
		t.winters = append(t.winters, x)
	}
	return t, nil
}

// house is one of the houses.
type house struct {
	*winter
	id    string
	n     int
	had   int // readings of each logger before now
	first int // step of the winter that is its first reading
}

func (t *town) house(n int) house {
	h := house{winter: t.winters[n%len(t.winters)], id: fmt.Sprintf("house-%05d", n), n: n}
	days := t.days
	if t.every > 0 && n%t.every == 0 {
		days = max(days, winterDays)
	}
	h.had = days * 24 * int(time.Hour/interval)
	h.first = n * 37 % ((h.steps - h.had) / 2)
	return h
}

// phase is when within an interval a logger reports.
func (h house) phase(l int) time.Duration {
	return time.Duration(uint32(h.n*len(h.loggers)+l)*2654435761%300_000) * time.Millisecond
}

// at is when a logger takes its k-th reading; the first of those that are yet to
// come follows on nowhere.
func (h house) at(l, k int) time.Time {
	return nowhere.Add(time.Duration(k-h.had) * interval).Add(h.phase(l))
}

// values are a house's own: those of its winter, moved by less than loggers
// differ.
func (h house) values(l, k int) roof.Values {
	v := h.loggers[l].readings[(h.first+k)%h.steps]
	for q, step := range map[roof.Quantity]float64{roof.TempC: 0.01, roof.RHPct: 0.1} {
		if x, ok := v.Get(q); ok {
			x += step * float64((h.n/7+l)%9-4)
			if q == roof.RHPct {
				x = min(max(x, 1), 100)
			}
			v.Set(q, math.Round(x*100)/100)
		}
	}
	return v
}

// caseFile is a house's own.
func (t *town) caseFile(h house) ([]byte, error) {
	c := *h.file
	c.ID, c.Property.Label = h.id, "House "+strconv.Itoa(h.n)
	return casefile.Format(&c)
}

// seed puts cases and records into a store, unless they are there.
// A folder that is used again has its nightly work done.
func (t *town) seed(ctx context.Context, data string) (string, error) {
	done := filepath.Join(data, "seeded")
	want := fmt.Sprint(t.houses, t.days, len(t.winters), t.whole)
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
	began, readings := time.Now(), 0
	for n := range t.houses {
		k, err := t.settleIn(ctx, s, t.house(n))
		if err != nil {
			return "", errors.Join(err, s.Close())
		}
		readings += k
	}
	took := time.Since(began)
	if err := s.Close(); err != nil {
		return "", err
	}
	size, err := fileSize(data)
	if err != nil {
		return "", err
	}
	if err := os.WriteFile(done, []byte(want), 0o600); err != nil {
		return "", err
	}
	return fmt.Sprintf("%d readings stored at %.0f a second, %.1f bytes each on disk", readings,
		float64(readings)/took.Seconds(), float64(size)/float64(readings)), nil
}

// settleIn keeps a house's file and record.
func (t *town) settleIn(ctx context.Context, s *sqlite.Store, h house) (int, error) {
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
	all := make([]roof.Reading, 0, h.had*len(h.loggers))
	for l := range h.loggers {
		for k := range h.had {
			at := h.at(l, k)
			all = append(all, roof.Reading{Logger: h.loggers[l].id, At: at, Arrived: at, Values: h.values(l, k)})
		}
	}
	_, err = s.Append(ctx, h.id, all)
	return len(all), err
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
