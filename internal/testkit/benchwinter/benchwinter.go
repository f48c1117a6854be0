// Package benchwinter is the record that size and speed are measured on: six
// loggers of one roof over 180 days at one reading a minute, 1,555,200 readings
// of temperature and humidity in hundredths, each stamped a little beside its
// minute. EntropyBytes says what no coding without loss can go below.
package benchwinter

import (
	"io"
	"iter"
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"dewcase/internal/roof"
)

// The shape of the record.
const (
	Loggers   = 6
	Days      = 180
	PerLogger = Days * 24 * 60
	Count     = Loggers * PerLogger

	jitterMS    = 200  // a stamp lies within so much of its minute, evenly
	tempNoiseC  = 0.01 // standard deviation of what a probe adds at each reading
	rhNoisePct  = 0.03
	resolution  = 0.01
	perResolved = 1 / resolution
)

// Begin is the first minute.
var Begin = time.Date(2025, 10, 1, 0, 0, 0, 0, time.UTC)

// Name is the name of logger i of Loggers.
func Name(i int) string { return "k" + strconv.Itoa(i+1) }

// Readings yields one logger's first days in time order, without arrival.
func Readings(logger, days int) iter.Seq[roof.Reading] {
	return func(yield func(roof.Reading) bool) {
		rng := rand.New(rand.NewPCG(14, uint64(logger)))
		name, phase := Name(logger), float64(logger)
		weather := [2][2]float64{} // fronts pass in half days: what was, what comes
		for i := range days * 24 * 60 {
			t := float64(i) / (24 * 60)
			if i%(12*60) == 0 {
				weather[0] = weather[1]
				weather[1] = [2]float64{rng.NormFloat64() * 2, rng.NormFloat64() * 6}
			}
			come := 0.5 - 0.5*math.Cos(2*math.Pi*(t-math.Floor(2*t)/2))
			front := weather[0][0]*(1-come) + weather[1][0]*come
			vapour := weather[0][1]*(1-come) + weather[1][1]*come
			sun := math.Sin(2*math.Pi*(t-0.4) + 0.1*phase)
			temp := 6 - 7*math.Sin(math.Pi*t/Days) + (3-0.3*phase)*sun + front
			rh := 78 - 6*sun + vapour - 0.6*front
			r := roof.Reading{Logger: name,
				At: Begin.Add(time.Duration(i)*time.Minute + time.Duration(rng.IntN(2*jitterMS+1)-jitterMS)*time.Millisecond)}
			r.Values.Set(roof.TempC, resolved(temp+rng.NormFloat64()*tempNoiseC))
			r.Values.Set(roof.RHPct, resolved(min(max(rh+rng.NormFloat64()*rhNoisePct, 5), 99.9)))
			if !yield(r) {
				return
			}
		}
	}
}

func resolved(x float64) float64 { return math.Round(x*perResolved) / perResolved }

// EntropyBytes is what the noise and the stamps of one reading carry, in bytes:
// the bits of an even choice among the stamps, and of the noise as it is seen
// at the resolution. What the roof itself does comes on top.
func EntropyBytes() float64 {
	return (math.Log2(2*jitterMS+1) + ofNoise(tempNoiseC) + ofNoise(rhNoisePct)) / 8
}

// ofNoise is the entropy in bits of a normal error rounded to the resolution,
// summed over the steps.
func ofNoise(sd float64) (bits float64) {
	at := func(x float64) float64 { return 0.5 * math.Erfc(-x/(sd*math.Sqrt2)) }
	for k := -1000; k <= 1000; k++ {
		x := float64(k) * resolution
		if p := at(x+resolution/2) - at(x-resolution/2); p > 0 {
			bits -= p * math.Log2(p)
		}
	}
	return bits
}

// WriteCSV writes the readings file of the first days, minute by minute with all
// loggers in turn, as programs of gateways export them.
func WriteCSV(w io.Writer, days int) error {
	if _, err := io.WriteString(w, "time,logger,temp_c,rh_pct\n"); err != nil {
		return err
	}
	line := make([]byte, 0, 80)
	for r := range Interleaved(days) {
		line = r.At.AppendFormat(line[:0], "2006-01-02T15:04:05.000Z")
		line = append(append(line, ','), r.Logger...)
		for _, q := range []roof.Quantity{roof.TempC, roof.RHPct} {
			x, _ := r.Values.Get(q)
			line = strconv.AppendFloat(append(line, ','), x, 'f', -1, 64)
		}
		if _, err := w.Write(append(line, '\n')); err != nil {
			return err
		}
	}
	return nil
}

// Interleaved yields all loggers' first days, minute by minute.
func Interleaved(days int) iter.Seq[roof.Reading] {
	return func(yield func(roof.Reading) bool) {
		var next [Loggers]func() (roof.Reading, bool)
		for i := range next {
			var stop func()
			next[i], stop = iter.Pull(Readings(i, days))
			defer stop()
		}
		for {
			for _, of := range next {
				if r, ok := of(); !ok || !yield(r) {
					return
				}
			}
		}
	}
}

// CaseFile is the house that the loggers are fitted in.
const CaseFile = `case: bench-house
property: {label: "1 Measured Row", timezone: Europe/London}
positions:
  - {id: landing, place: indoor_air}
  - {id: loft, place: loft_air}
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
  - {id: outside, place: outdoor_air}
  - {id: void-e, place: batten_void_air, untouched: true}
loggers:
  - {id: k1, interval_s: 60, fitted: [{position: landing, from: 2025-09-01T00:00:00Z}]}
  - {id: k2, interval_s: 60, fitted: [{position: loft, from: 2025-09-01T00:00:00Z}]}
  - {id: k3, interval_s: 60, fitted: [{position: void, from: 2025-09-01T00:00:00Z}]}
  - {id: k4, interval_s: 60, fitted: [{position: slate, from: 2025-09-01T00:00:00Z}]}
  - {id: k5, interval_s: 60, fitted: [{position: outside, from: 2025-09-01T00:00:00Z}]}
  - {id: k6, interval_s: 60, fitted: [{position: void-e, from: 2025-09-01T00:00:00Z}]}
events:
  - {at: 2025-12-20T12:00:00Z, kind: repair, what: "eaves vents cut through", treats: [loft, slate],
     changes: [loft_ventilation]}
`
