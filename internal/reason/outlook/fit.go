package outlook

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Evenings gather evenings of many roofs, from which the general coefficients
// are fitted. It is used by the trials only.
type Evenings struct {
	rows, forecast [][]float64
	wet            []float64
}

// Back is the course as it was known at row i, over the rows before it.
func (c Course) Back(i, rows int) Course {
	a := max(0, i-rows)
	cut := func(x []float64) []float64 { return x[a:i] }
	c.FromMS += int64(a) * hourMS
	c.WetH, c.ObservedH, c.MarginK, c.LimitC, c.OutdoorC, c.OutdoorDewC = cut(c.WetH), cut(c.ObservedH), cut(c.MarginK),
		cut(c.LimitC), cut(c.OutdoorC), cut(c.OutdoorDewC)
	return c
}

// Became says whether the night after a time was wet, from the whole course.
func (c Course) Became(at time.Time) (wet, known bool) {
	return c.label(int((at.UnixMilli()-c.FromMS)/hourMS), len(c.WetH))
}

// Add takes one evening: what was known then, and the whole course for what
// became of it.
func (e *Evenings) Add(known, whole Course, now time.Time, f *Forecast) {
	wet, ok := whole.Became(now)
	if !ok {
		return
	}
	i := int((now.UnixMilli() - known.FromMS) / hourMS)
	x, ok1 := known.features(i, nil)
	y, ok2 := known.features(i, f)
	if !ok1 || !ok2 {
		return
	}
	e.rows, e.forecast = append(e.rows, x), append(e.forecast, y)
	w := 0.0
	if wet {
		w = 1
	}
	e.wet = append(e.wet, w)
}

// Len is how many evenings there are.
func (e *Evenings) Len() int { return len(e.wet) }

// Fit writes the coefficients as the source of general.go.
func (e *Evenings) Fit() string {
	var b strings.Builder
	b.WriteString("package outlook\n\n// The general coefficients, fitted by TestTrain of internal/flow/watch (build " +
		"tag\n// trials) on the evenings of simulated roofs that no test is judged by.\nvar (\n")
	for _, m := range []struct {
		name string
		rows [][]float64
	}{{"general", e.rows}, {"withForecast", e.forecast}} {
		fmt.Fprintf(&b, "\t%s = &model{\n%s\t}\n", m.name, fitted(m.rows, e.wet))
	}
	b.WriteString(")\n")
	return b.String()
}

func fitted(rows [][]float64, wet []float64) string {
	m := &model{stiff: 1e-3}
	for k := range features {
		s, q, n := 0.0, 0.0, 0.0
		for _, r := range rows {
			if !math.IsNaN(r[k]) {
				s += r[k]
				q += r[k] * r[k]
				n++
			}
		}
		if n > 1 {
			m.centre[k] = s / n
			m.scale[k] = math.Sqrt(max(q/n-m.centre[k]*m.centre[k], 0))
		}
	}
	var z [][]float64
	for _, r := range rows {
		z = append(z, m.scaled(r))
	}
	beta := m.learn(z, wet)
	line := func(name string, x []float64) string {
		out := "\t\t" + name + ": [features]float64{"
		for k, v := range x {
			if k > 0 {
				out += ", "
			}
			out += fmt.Sprintf("%.4g", v)
		}
		return out + "},\n"
	}
	return line("centre", m.centre[:]) + line("scale", m.scale[:]) + line("beta", beta) + "\t\tstiff: 3,\n"
}
