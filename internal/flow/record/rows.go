package record

import (
	"encoding/binary"
	"errors"
	"math"

	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/risk"
	"dewcase/internal/reason/series"
)

// A sheet of hourly rows is kept figure by figure, each as a column over the
// hours: how a figure's bits differ from those of the hour before, without the
// bytes that are zero at either end. Every bit comes back.
const rowsFormat = 1

// figures lists what a row holds, in a fixed order.
func figures(r timeline.Row, each func(x uint64) uint64) {
	float := func(x *float64) { *x = math.Float64frombits(each(math.Float64bits(*x))) }
	for i := range r.Positions {
		p := &r.Positions[i]
		p.ObservedMS = int64(each(uint64(p.ObservedMS)))
		for _, b := range [...]*series.Bin{&p.TempC, &p.RHPct, &p.DewPointC, &p.FrostPointC} {
			b.ObservedMS = int64(each(uint64(b.ObservedMS)))
			float(&b.Mean)
			float(&b.Min)
			float(&b.Max)
		}
	}
	for i := range r.Surfaces {
		s := &r.Surfaces[i]
		for _, x := range [...]*float64{&s.ObservedMS, &s.CondensingMS, &s.AtRiskMS, &s.FrostMS, &s.MarginMean, &s.MarginMin,
			&s.MarginMax} {
			float(x)
		}
	}
}

// perPosition and perSurface are how many figures each has.
const (
	perPosition = 1 + 4*4
	perSurface  = 7
)

func packRows(rows []timeline.Row) []byte {
	b := binary.AppendUvarint([]byte{rowsFormat}, uint64(len(rows)))
	last := make([]uint64, perPosition*len(rows[0].Positions)+perSurface*len(rows[0].Surfaces))
	for _, r := range rows {
		k := 0
		figures(r, func(x uint64) uint64 {
			b = kept.AppendDifference(b, last[k], x)
			last[k] = x
			k++
			return x
		})
	}
	return b
}

var errRows = errors.New("these are no kept hours")

func unpackRows(b []byte, positions, surfaces int) ([]timeline.Row, error) {
	if len(b) == 0 || b[0] != rowsFormat {
		return nil, errRows
	}
	count, n := binary.Uvarint(b[1:])
	if n <= 0 || count > uint64(len(b)) {
		return nil, errRows
	}
	b = b[1+n:]
	rows := make([]timeline.Row, count)
	ps, ss := make([]timeline.PositionRow, int(count)*positions), make([]risk.Spell, int(count)*surfaces)
	last := make([]uint64, perPosition*positions+perSurface*surfaces)
	short := false
	for i := range rows {
		rows[i] = timeline.Row{Positions: ps[i*positions : (i+1)*positions : (i+1)*positions],
			Surfaces: ss[i*surfaces : (i+1)*surfaces : (i+1)*surfaces]}
		k := 0
		figures(rows[i], func(uint64) uint64 {
			x, rest, ok := kept.TakeDifference(b, last[k])
			if !ok {
				short = true
				return 0
			}
			b, last[k] = rest, x
			k++
			return x
		})
		if short {
			return nil, errRows
		}
	}
	if len(b) > 0 {
		return nil, errRows
	}
	return rows, nil
}
