package csvreadings

import (
	"cmp"
	"iter"
	"maps"
	"slices"
	"time"

	"dewcase/internal/roof"
)

// Columns gathers readings in compact memory, for an analysis without a store:
// some 30 bytes a reading of temperature and humidity. It keeps the first
// reading of a logger and time and judges what meets it as a store does
// (roof.Meet), so that both give the same record. Everything is added before
// anything is asked. It is not for concurrent use.
type Columns struct {
	loggers map[string]*columns
	sorted  bool
	counts  Counts
}

// Counts are what became of the gathered readings.
type Counts struct {
	Kept, Merged, Duplicates, Conflicts int
}

// columns are one logger's readings, unsorted until Columns.settle.
type columns struct {
	atMS    []int64
	arrived []int64
	flags   []roof.Flags
	has     []uint8
	values  [roof.QuantityCount][]float64 // nil, or as long as atMS
	rising  bool                          // in strict time order so far
}

// NewColumns starts an empty collection.
func NewColumns() *Columns { return &Columns{loggers: map[string]*columns{}} }

// Add takes one reading; order does not matter, except that the first of
// several with one time is the one kept.
func (c *Columns) Add(r roof.Reading) {
	of := c.loggers[r.Logger]
	if of == nil {
		of = &columns{rising: true}
		c.loggers[r.Logger] = of
	}
	c.sorted = false
	of.add(r)
}

func (c *columns) add(r roof.Reading) {
	at, n := r.At.UnixMilli(), len(c.atMS)
	if n > 0 && at <= c.atMS[n-1] {
		c.rising = false
	}
	c.atMS = append(c.atMS, at)
	c.flags = append(c.flags, r.Flags)
	c.addArrival(r.Arrived.UnixMilli(), n)
	has := uint8(0)
	for q := range roof.Quantity(roof.QuantityCount) {
		x, ok := r.Values.Get(q)
		if ok {
			has |= 1 << q
			if c.values[q] == nil {
				c.values[q] = make([]float64, n, cap(c.atMS))
			}
		}
		if c.values[q] != nil {
			c.values[q] = append(c.values[q], x)
		}
	}
	c.has = append(c.has, has)
}

// addArrival keeps one arrival for all while they are the same, as those of a
// file are.
func (c *columns) addArrival(ms int64, n int) {
	switch {
	case n == 0:
		c.arrived = []int64{ms}
	case len(c.arrived) == 1 && c.arrived[0] == ms:
	case len(c.arrived) == 1:
		all := make([]int64, n, n+1)
		for i := range all {
			all[i] = c.arrived[0]
		}
		c.arrived = append(all, ms)
	default:
		c.arrived = append(c.arrived, ms)
	}
}

func (c *columns) get(logger string, i int) roof.Reading {
	r := roof.Reading{Logger: logger, At: time.UnixMilli(c.atMS[i]).UTC(), Flags: c.flags[i]}
	if len(c.arrived) == 1 {
		r.Arrived = time.UnixMilli(c.arrived[0]).UTC()
	} else {
		r.Arrived = time.UnixMilli(c.arrived[i]).UTC()
	}
	for q := range roof.Quantity(roof.QuantityCount) {
		if c.has[i]&(1<<q) != 0 {
			r.Values.Set(q, c.values[q][i])
		}
	}
	return r
}

// settle puts each logger's readings into time order and joins those of one
// time.
func (c *Columns) settle() {
	if c.sorted {
		return
	}
	c.counts = Counts{Merged: c.counts.Merged, Duplicates: c.counts.Duplicates, Conflicts: c.counts.Conflicts}
	for logger, of := range c.loggers {
		if !of.rising {
			c.loggers[logger] = of.joined(logger, &c.counts)
		}
		c.counts.Kept += len(c.loggers[logger].atMS)
	}
	c.sorted = true
}

// joined is the readings in time order with one record for each time.
func (c *columns) joined(logger string, counts *Counts) *columns {
	order := make([]int32, len(c.atMS))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(i, j int32) int {
		return cmp.Or(cmp.Compare(c.atMS[i], c.atMS[j]), cmp.Compare(i, j))
	})
	out := &columns{rising: true, atMS: make([]int64, 0, len(order)), flags: make([]roof.Flags, 0, len(order)),
		has: make([]uint8, 0, len(order))}
	for i := 0; i < len(order); {
		kept := c.get(logger, int(order[i]))
		var aside []roof.Values
		at := c.atMS[order[i]]
		for i++; i < len(order) && c.atMS[order[i]] == at; i++ {
			late := c.get(logger, int(order[i]))
			var outcome roof.Outcome
			switch outcome, kept = roof.Meet(kept, aside, late); outcome {
			case roof.Merged:
				counts.Merged++
			case roof.Duplicate:
				counts.Duplicates++
			case roof.Conflict:
				counts.Conflicts++
				aside = append(aside, late.Values)
			}
		}
		out.add(kept)
	}
	return out
}

// Counts says what became of the readings gathered so far.
func (c *Columns) Counts() Counts {
	c.settle()
	return c.counts
}

// Loggers lists the loggers heard, by name.
func (c *Columns) Loggers() []string { return slices.Sorted(maps.Keys(c.loggers)) }

// Count is how many records a logger has.
func (c *Columns) Count(logger string) int {
	c.settle()
	if of := c.loggers[logger]; of != nil {
		return len(of.atMS)
	}
	return 0
}

// Readings yields one logger's records in time order.
func (c *Columns) Readings(logger string) iter.Seq2[roof.Reading, error] {
	return func(yield func(roof.Reading, error) bool) {
		c.settle()
		of := c.loggers[logger]
		if of == nil {
			return
		}
		for i := range of.atMS {
			if !yield(of.get(logger, i), nil) {
				return
			}
		}
	}
}
