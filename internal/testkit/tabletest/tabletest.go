// Package tabletest hands the rows of testdata/tables to tests. A file may
// grow; no test depends on a count or a row number. Test-only.
package tabletest

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// Row is one row of a table, addressed by column name.
type Row struct {
	tb    testing.TB
	file  string
	line  int
	cells map[string]string
}

// Read returns every row of testdata/tables/<name>.csv. A missing or empty file
// fails the test: a check without rows checks nothing.
func Read(tb testing.TB, name string) []Row {
	tb.Helper()
	path := filepath.Join(root(tb), "testdata", "tables", name+".csv")
	f, err := os.Open(path)
	if err != nil {
		tb.Fatalf("table %s: %v", name, err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	records, err := r.ReadAll()
	if err != nil {
		tb.Fatalf("table %s: %v", name, err)
	}
	if len(records) < 2 {
		tb.Fatalf("table %s has no rows", name)
	}
	rows := make([]Row, 0, len(records)-1)
	for i, rec := range records[1:] {
		cells := make(map[string]string, len(rec))
		for j, cell := range rec {
			cells[records[0][j]] = strings.TrimSpace(cell)
		}
		rows = append(rows, Row{tb: tb, file: name + ".csv", line: i + 2, cells: cells})
	}
	return rows
}

// String names the row for a failure message.
func (r Row) String() string { return fmt.Sprintf("%s:%d", r.file, r.line) }

// Text is a cell as written; an unknown column fails the test.
func (r Row) Text(column string) string {
	r.tb.Helper()
	cell, ok := r.cells[column]
	if !ok {
		r.tb.Fatalf("%s has no column %q", r, column)
	}
	return cell
}

// Has reports that the cell is not empty.
func (r Row) Has(column string) bool {
	r.tb.Helper()
	return r.Text(column) != ""
}

// Num is a cell as a number; one that is not a number fails the test.
func (r Row) Num(column string) float64 {
	r.tb.Helper()
	x, err := strconv.ParseFloat(r.Text(column), 64)
	if err != nil {
		r.tb.Fatalf("%s: %s is not a number: %q", r, column, r.Text(column))
	}
	return x
}

// HalfDigit is half a unit of the last decimal the cell prints: 0.005 for 2.62.
// A figure that rounds to the printed one lies within it.
func (r Row) HalfDigit(column string) float64 {
	r.tb.Helper()
	cell := strings.ToLower(r.Text(column))
	exponent := 0
	if i := strings.IndexByte(cell, 'e'); i >= 0 {
		n, err := strconv.Atoi(cell[i+1:])
		if err != nil {
			r.tb.Fatalf("%s: %s is not a number: %q", r, column, cell)
		}
		exponent, cell = n, cell[:i]
	}
	if i := strings.IndexByte(cell, '.'); i >= 0 {
		exponent -= len(cell) - i - 1
	}
	half, err := strconv.ParseFloat(fmt.Sprintf("0.5e%d", exponent), 64)
	if err != nil {
		r.tb.Fatalf("%s: %s: %v", r, column, err)
	}
	return half
}

// Near checks that got rounds to the printed figure, with extra allowed on top
// for a stated accuracy (0: none).
func (r Row) Near(column string, got, extra float64) {
	r.tb.Helper()
	want := r.Num(column)
	tolerance := r.HalfDigit(column)*1.000001 + extra
	if d := got - want; !(d <= tolerance && d >= -tolerance) {
		r.tb.Errorf("%s: %s: got %.9g, printed %s, off by %.3g, allowed %.3g", r, column, got, r.Text(column), d, tolerance)
	}
}

// Root is the repository's root, found from the directory the test runs in.
func Root(tb testing.TB) string { tb.Helper(); return root(tb) }

func root(tb testing.TB) string {
	tb.Helper()
	dir, err := os.Getwd()
	if err != nil {
		tb.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			tb.Fatal("no go.mod above the test's directory")
		}
		dir = up
	}
}
