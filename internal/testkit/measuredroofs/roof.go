// Package measuredroofs reads two measured house roofs for tests: sound, never
// repaired, hourly over two winters (TRH-database, CC BY 4.0). The files lie
// beside the repository and are not part of it; without them a test that asks
// for them is skipped. Test-only.
package measuredroofs

import (
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/tabletest"
)

// Zone is that of the loggers' clocks, summer and winter.
var Zone = time.FixedZone("UTC+2", 2*3600)

// Roof is the record of one roof.
type Roof struct {
	At      []time.Time // of each row, UTC, in order
	cells   [][]string
	columns map[string]int
}

// Load reads the roof R2 or R3.
func Load(tb testing.TB, name string) *Roof {
	tb.Helper()
	file, err := os.Open(filepath.Join(tabletest.Root(tb), "..", "shared", "data", name+"_roof.csv.gz"))
	if errors.Is(err, fs.ErrNotExist) {
		tb.Skip("left out for want of the measured roofs R2 and R3 (TRH-database, CC BY 4.0): " +
			"R2_roof.csv.gz and R3_roof.csv.gz go into ../shared/data")
	}
	if err != nil {
		tb.Fatal(err)
	}
	defer file.Close()
	r, err := parse(file)
	if err != nil {
		tb.Fatalf("the measured roof %s: %v", name, err)
	}
	return r
}

func parse(file *os.File) (*Roof, error) {
	plain, err := gzip.NewReader(file)
	if err != nil {
		return nil, err
	}
	rows, err := csv.NewReader(plain).ReadAll()
	if err != nil {
		return nil, err
	}
	if len(rows) < 2 {
		return nil, errors.New("no rows")
	}
	out := &Roof{columns: map[string]int{}, cells: rows[1:]}
	for i, name := range rows[0] {
		out.columns[name] = i
	}
	for _, row := range out.cells {
		at, err := time.ParseInLocation(time.DateTime, row[0], Zone)
		if err != nil {
			return nil, err
		}
		out.At = append(out.At, at.UTC())
	}
	return out, nil
}

// Values are the temperature in C and, within 0..105 %, the humidity over water
// that a sensor showed in row i; sensors are named by the beginning of their
// columns, such as station or indoor1.
func (r *Roof) Values(i int, sensor string) (v roof.Values) {
	if x, ok := r.cell(i, sensor+"_T"); ok {
		v.Set(roof.TempC, x)
	}
	if x, ok := r.cell(i, sensor+"_RH"); ok && x >= 0 && x <= 105 {
		v.Set(roof.RHPct, x)
	}
	return v
}

func (r *Roof) cell(i int, column string) (float64, bool) {
	k, ok := r.columns[column]
	if !ok {
		panic(fmt.Sprintf("the measured roofs have no column %s", column))
	}
	x, err := strconv.ParseFloat(r.cells[i][k], 64)
	return x, err == nil
}

// Readings are those of a sensor in [from, until), under a logger's name.
func (r *Roof) Readings(logger, sensor string, from, until time.Time) iter.Seq2[roof.Reading, error] {
	return func(yield func(roof.Reading, error) bool) {
		for i, at := range r.At {
			if at.Before(from) || !at.Before(until) {
				continue
			}
			if v := r.Values(i, sensor); !v.Empty() && !yield(roof.Reading{Logger: logger, At: at, Values: v}, nil) {
				return
			}
		}
	}
}

// End is after the last reading of every roof.
var End = time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)
