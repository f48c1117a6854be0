package timeline

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
)

// AppendJSON writes the view as encoding/json does, byte for byte, but in one go:
// there every column is written, then read through and copied, which for a
// winter by the hour takes longer than writing it.
func (v View) AppendJSON(b []byte) ([]byte, error) { return v.AppendColumns(b, nil) }

// Columns are those of a view's columns that are asked for; nil are all.
type Columns map[string]bool

// columnNames are the columns that can be asked for alone.
var columnNames = func() (names []string) {
	for _, band := range []string{"temp_c", "rh_pct", "dew_point_c", "frost_point_c", "margin_k"} {
		names = append(names, band+".mean", band+".min", band+".max")
	}
	return append(names, "coverage", "condensing_min", "at_risk_min", "frost_min")
}()

// ParseColumns reads names that are set apart by commas; "" asks for all.
func ParseColumns(s string) (Columns, error) {
	if s == "" {
		return nil, nil
	}
	out := Columns{}
	for name := range strings.SplitSeq(s, ",") {
		if !slices.Contains(columnNames, name) {
			return nil, fmt.Errorf("columns names %q, which is none; there are %s", name, strings.Join(columnNames, ", "))
		}
		out[name] = true
	}
	return out, nil
}

// AppendColumns is AppendJSON of some of the columns; the others are left out.
func (v View) AppendColumns(b []byte, only Columns) ([]byte, error) {
	// 13 columns a position and 7 a surface, of some 8 bytes a figure.
	a, c := 13, 7
	if only != nil {
		a, c = min(len(only), a), min(len(only), c)
	}
	w := writer{b: slices.Grow(b, len(v.Time)*(30+8*(a*len(v.Positions)+c*len(v.Surfaces)))+1024), only: only}
	w.field(`{"case":`, v.Case)
	w.field(`,"from":`, v.From)
	w.field(`,"until":`, v.Until)
	w.field(`,"step_s":`, v.StepS)
	w.list(`,"time":`, v.Time == nil, len(v.Time), func(i int) { w.time(v.Time[i]) })
	w.list(`,"positions":`, v.Positions == nil, len(v.Positions), func(i int) {
		p := &v.Positions[i]
		w.field(`{"position":`, p.Position)
		w.field(`,"place":`, p.Place)
		w.column("coverage", p.Coverage)
		w.band("temp_c", p.TempC)
		w.band("rh_pct", p.RHPct)
		w.band("dew_point_c", p.DewPointC)
		w.band("frost_point_c", p.FrostPointC)
		w.text(`}`)
	})
	w.list(`,"surfaces":`, v.Surfaces == nil, len(v.Surfaces), func(i int) {
		s := &v.Surfaces[i]
		w.field(`{"surface":`, s.Surface)
		w.field(`,"air":`, s.Air)
		w.column("coverage", s.Coverage)
		w.band("margin_k", s.MarginK)
		w.column("condensing_min", s.CondensingMin)
		w.column("at_risk_min", s.AtRiskMin)
		w.column("frost_min", s.FrostMin)
		if s.Note != "" {
			w.field(`,"note":`, s.Note)
		}
		w.text(`}`)
	})
	w.field(`,"events":`, v.Events)
	w.text(`}`)
	return w.b, w.err
}

// writer writes JSON; the first error stays.
type writer struct {
	b    []byte
	only Columns
	err  error
}

func (w *writer) text(s string) { w.b = append(w.b, s...) }

// field writes a name with what stands before it, and a small value.
func (w *writer) field(name string, value any) {
	w.text(name)
	b, err := json.Marshal(value)
	if err != nil && w.err == nil {
		w.err = err
	}
	w.b = append(w.b, b...)
}

func (w *writer) list(name string, none bool, n int, each func(int)) {
	w.text(name)
	if none {
		w.text(`null`)
		return
	}
	for i := range n {
		w.b = append(w.b, "[,"[min(i, 1)])
		each(i)
	}
	if n == 0 {
		w.text(`[`)
	}
	w.text(`]`)
}

func (w *writer) time(t time.Time) {
	b, err := t.AppendText(append(w.b, '"'))
	if err != nil && w.err == nil {
		w.err = err
	}
	w.b = append(b, '"')
}

func (w *writer) wants(name string) bool { return w.only == nil || w.only[name] }

func (w *writer) column(name string, c Column) {
	if w.wants(name) {
		w.text(`,"` + name + `":`)
		w.b = c.appendJSON(w.b)
	}
}

func (w *writer) band(name string, b Band) {
	first := true
	for _, of := range [...]struct {
		name string
		c    Column
	}{{"mean", b.Mean}, {"min", b.Min}, {"max", b.Max}} {
		if !w.wants(name + "." + of.name) {
			continue
		}
		if first {
			w.text(`,"` + name + `":{"`)
		} else {
			w.text(`,"`)
		}
		first = false
		w.text(of.name + `":`)
		w.b = of.c.appendJSON(w.b)
	}
	if !first {
		w.text(`}`)
	}
}
