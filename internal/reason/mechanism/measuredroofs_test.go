package mechanism

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/measuredroofs"
)

// measured lays a sensor's hourly readings on a record's hours as they are.
func measured(m *measuredroofs.Roof, r *record, sensor string) *column {
	seen := make([]float64, r.hours())
	for k := range seen {
		seen[k] = math.NaN()
	}
	for i, at := range m.At {
		k := int((at.UnixMilli()-r.atMS)/time.Hour.Milliseconds()) - r.first*24
		if x, ok := m.Values(i, sensor).Get(roof.TempC); ok && k >= 0 && k < len(seen) {
			seen[k] = x
		}
	}
	return bridged(seen)
}

// pretended is a repair that nobody made, with 50 days before and 30 nights after.
func pretended() record {
	at := time.Date(2011, 12, 21, 9, 0, 0, 0, time.UTC)
	return newRecord(at.UnixMilli(), at.AddDate(0, 0, -50).UnixMilli(), at.AddDate(0, 0, 30).UnixMilli(), 0)
}

// Values of the method, computed once on open data (TRH-database, CC BY 4.0) by
// another program. The hour before the record, which this one leaves out, moves
// the fourth figure.
func TestSharesOfMeasuredRoofsAreThoseOfTheMethod(t *testing.T) {
	const middle, top = "roofmiddle_airmiddle", "roofmiddle_airtop"
	void := func(air, cover, loft string, night bool) func(*record, func(string) *column) *balance {
		return func(r *record, c func(string) *column) *balance {
			return r.void(c("station"), c(air), c(cover), c(loft), night)
		}
	}
	loft := func(part int) func(*record, func(string) *column) *balance {
		return func(r *record, c func(string) *column) *balance {
			b := r.loftBalance(c("station"), c(middle), c(top), c("indoor1")).lookingAt(part)
			b.c, b.s0 = voidFloor, voidSpread
			return b
		}
	}
	for _, x := range []struct {
		name, roof    string
		balance       func(*record, func(string) *column) *balance
		before, after estimate
		stretches     []float64
		z             float64
	}{
		{"void, every hour", "R2", void(middle, top, "roofmiddle_insulationtop", false),
			estimate{0.0396, 0.0041, 1153, true}, estimate{0.0518, 0.0106, 665, true},
			[]float64{0.038, 0.040, 0.032, 0.043}, 0.634},
		{"void, nights", "R2", void(middle, top, "roofmiddle_insulationtop", true),
			estimate{0.0441, 0.0040, 1066, true}, estimate{0.0415, 0.0084, 590, true},
			[]float64{0.046, 0.038, 0.039, 0.054}, -0.146},
		{"void of the other roof", "R3", void("roofleft_insulationtop", top, middle, false),
			estimate{0.0332, 0.0914, 1119, true}, estimate{0.1682, 0.0526, 637, true},
			[]float64{-0.212, 0.174, 0.049, -0.001}, 0.480},
		{"loft", "R2", loft(fromOutdoors), estimate{0.0137, 0.0065, 1066, true}, estimate{0.0188, 0.0104, 590, true},
			[]float64{0.030, 0.013, 0.008, 0.027}, 0.240},
		{"ceiling", "R2", loft(fromHouse), estimate{0.0037, 0.0014, 1066, true}, estimate{0.0066, 0.0010, 590, true},
			[]float64{0.001, 0.003, 0.003, 0.006}, math.NaN()},
		{"loft of the other roof", "R3", loft(fromOutdoors), estimate{0.0988, 0.0414, 1016, true},
			estimate{0.1888, 0.0249, 488, true}, []float64{0.149, 0.064, 0.132, 0.245}, 0.767},
	} {
		t.Run(x.name+" of "+x.roof, func(t *testing.T) {
			m, r := measuredroofs.Load(t, x.roof), pretended()
			b := x.balance(&r, func(s string) *column { return measured(m, &r, s) })
			base := b.baseline(voidUnknown)
			c := b.after(&base, 30)
			for _, e := range [][2]estimate{{x.before, c.before}, {x.after, c.after}} {
				assert.InDelta(t, e[0].x, e[1].x, 0.0006)
				assert.InDelta(t, e[0].se, e[1].se, 0.0006)
				assert.InDelta(t, e[0].hours, e[1].hours, 2)
				assert.True(t, e[1].ok)
			}
			assert.InDeltaSlice(t, x.stretches, c.stretches, 0.008)
			if !math.IsNaN(x.z) {
				assert.InDelta(t, x.z, c.z, 0.006)
			}
		})
	}
}

func TestOutdoorTemperaturesOfTheMethod(t *testing.T) {
	m, r := measuredroofs.Load(t, "R2"), pretended()
	out := measured(m, &r, "station")
	assert.InDelta(t, 3.64, r.mean(out, -50, 0), 0.01)
	assert.InDelta(t, -1.25, r.mean(out, 1, 30), 0.01)
}
