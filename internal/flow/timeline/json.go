package timeline

import (
	"encoding/json"
	"slices"
	"time"
)

// AppendJSON writes the view as encoding/json does, byte for byte, but in one go:
// there every column is written, then read through and copied, which for a
// winter by the hour takes longer than writing it.
func (v View) AppendJSON(b []byte) ([]byte, error) {
	// 13 columns a position and 7 a surface, of some 8 bytes a figure.
	w := writer{b: slices.Grow(b, len(v.Time)*(30+8*(13*len(v.Positions)+7*len(v.Surfaces)))+1024)}
	w.field(`{"case":`, v.Case)
	w.field(`,"from":`, v.From)
	w.field(`,"until":`, v.Until)
	w.field(`,"step_s":`, v.StepS)
	w.list(`,"time":`, v.Time == nil, len(v.Time), func(i int) { w.time(v.Time[i]) })
	w.list(`,"positions":`, v.Positions == nil, len(v.Positions), func(i int) {
		p := &v.Positions[i]
		w.field(`{"position":`, p.Position)
		w.field(`,"place":`, p.Place)
		w.column(`,"coverage":`, p.Coverage)
		w.band(`,"temp_c":`, p.TempC)
		w.band(`,"rh_pct":`, p.RHPct)
		w.band(`,"dew_point_c":`, p.DewPointC)
		w.band(`,"frost_point_c":`, p.FrostPointC)
		w.text(`}`)
	})
	w.list(`,"surfaces":`, v.Surfaces == nil, len(v.Surfaces), func(i int) {
		s := &v.Surfaces[i]
		w.field(`{"surface":`, s.Surface)
		w.field(`,"air":`, s.Air)
		w.column(`,"coverage":`, s.Coverage)
		w.band(`,"margin_k":`, s.MarginK)
		w.column(`,"condensing_min":`, s.CondensingMin)
		w.column(`,"at_risk_min":`, s.AtRiskMin)
		w.column(`,"frost_min":`, s.FrostMin)
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
	b   []byte
	err error
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

func (w *writer) column(name string, c Column) {
	w.text(name)
	w.b = c.appendJSON(w.b)
}

func (w *writer) band(name string, b Band) {
	w.text(name)
	w.column(`{"mean":`, b.Mean)
	w.column(`,"min":`, b.Min)
	w.column(`,"max":`, b.Max)
	w.text(`}`)
}
