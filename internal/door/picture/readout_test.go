package picture

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheReadoutSaysWhatIsDrawnAtATime(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	const start = "Tue 1 Dec 2026 00:00"
	for name, c := range map[string]struct {
		change func(*MarginChart)
		at     int
		want   string
	}{
		"a step": {nil, 0, start + "–01:00: margin 2.0 K (2.0 to 2.0)"},
		"wet and risk": {func(m *MarginChart) {
			m.CondensingMin, m.AtRiskMin = figures(12), figures(45)
			m.MarginMin = figures(-0.5)
		}, 0, start + "–01:00: margin 2.0 K (−0.5 to 2.0) · wet 12 min, at risk 45 min of 60 min"},
		"not observed": {func(m *MarginChart) { m.Coverage = figures(0) }, 0, start + "–01:00: not observed"},
		"no figure":    {func(m *MarginChart) { m.MarginMean = figures(nil) }, 0, start + "–01:00: not observed"},
		"repaired and its air": {func(m *MarginChart) {
			m.UnrepairedK, m.SurfaceC, m.LimitC = figures(-1.24), figures(0.5), figures(-1.5)
		}, 0, start + "–01:00: margin 2.0 K (2.0 to 2.0), without the repair −1.2 K · surface 0.5 °C · " +
			"frost point of its air −1.5 °C"},
		"a day in summer time": {func(m *MarginChart) {
			m.Step, m.Zone, m.Time[0] = 24*time.Hour, london, time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
		}, 0, "Wed 1 Jul 2026 01:00 to Thu 2 Jul 2026 01:00: margin 2.0 K (2.0 to 2.0)"},
		"among readings the last temperature": {func(m *MarginChart) {
			m.Step, m.Time = 0, append(m.Time, m.Time[0].Add(5*time.Minute))
			m.MarginMean, m.Coverage = figures(2, 0.75), figures(1, 1)
			m.SurfaceC = figures(4, nil)
		}, 1, "Tue 1 Dec 2026 00:05: margin 0.8 K · surface 4.0 °C · near"},
		"a reading that is wet": {func(m *MarginChart) { m.Step, m.MarginMean = 0, figures(-0.04) }, 0,
			start + ": margin 0.0 K · wet"},
		"a strip": {func(m *MarginChart) {
			from := m.From.UnixMilli()
			m.Strips = []Quiet{{Words: "water on the surface, g/m²", Course: Course{AtMS: []int64{from}, Value: []float64{12.4},
				Joined: []bool{false}}}, {Words: "mould index", Course: Course{AtMS: []int64{from}, Value: []float64{1.26},
				Joined: []bool{false}}}}
		}, 0, start + "–01:00: margin 2.0 K (2.0 to 2.0) · water on the surface 12 g/m² · mould index 1.3"},
	} {
		m := chartOf(figures(2), figures(1))
		m.Zone = time.UTC
		if c.change != nil {
			c.change(&m)
		}
		got := m.Readouts()
		require.Len(t, got, len(m.Time), name)
		assert.Equal(t, c.want, got[c.at].Words, name)
		assert.Equal(t, m.Time[c.at], got[c.at].At)
	}
}
