package demo

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
)

// leftForLive is how much of the winter before now is kept back to be played at
// the speed-up: less than makes the pages call a logger silent.
const leftForLive = 90 * time.Minute

// daysAhead is how many days beyond now are invented, so that a demo left
// running goes on.
const daysAhead = 30

// house is one invented house with everything its loggers have to say.
type house struct {
	id      string
	file    []byte
	loggers [][]roof.Reading // by logger, in time order
}

// CaseFile is one invented case.
type CaseFile struct {
	ID   string
	YAML []byte
}

// Demo is the invented houses around one moment.
type Demo struct {
	now    time.Time
	houses []*house
}

// Invent makes the houses so that their winter reaches now. It takes about a
// second and is the same for the same day.
func Invent(now time.Time) (*Demo, error) {
	d := &Demo{now: now.UTC()}
	for _, p := range []plan{saltmarrow(), gannetHeugh()} {
		h, err := p.build(d.now)
		if err != nil {
			return nil, fmt.Errorf("inventing the house %s: %w", p.id, err)
		}
		d.houses = append(d.houses, h)
	}
	return d, nil
}

// CaseFiles are the houses' case files, to be stored before anything is
// published.
func (d *Demo) CaseFiles() []CaseFile {
	var out []CaseFile
	for _, h := range d.houses {
		out = append(out, CaseFile{h.id, slices.Clone(h.file)})
	}
	return out
}

func (p plan) build(now time.Time) (*house, error) {
	w := p.world
	var days int
	w.Climate, days = season(now)
	w.Start = now.Truncate(24*time.Hour).AddDate(0, 0, -days)
	p.interval = (p.interval * time.Duration(days) / shortest).Round(time.Minute)
	o := roofsim.Options{Days: days + daysAhead, Step: 5 * time.Minute}
	if p.repairs != nil {
		o.Repairs = p.repairs(w.Start)
	}
	winter := roofsim.Run(w, o)
	faults := roofsim.FieldFaults()
	faults.GapsPer100D, faults.GapH = 2.5, 4
	faults.TempLimitC, faults.RHLimitPct = 0.2, 1.8
	m := roofsim.Kit{Interval: p.interval, Faults: faults, CaseID: p.id}.Measure(winter, p.seed)
	c := m.Case
	c.Property.Label = p.label
	c.Adviser = roof.Person{Name: "Jo Ferrier (an invented consultant)", Telephone: "+44 1632 960123"}
	for i := range c.Events {
		e, w := &c.Events[i], p.work
		e.What, e.Opened, e.Battens, e.CounterBattenMM = w.What, w.Opened, w.Battens, w.CounterBattenMM
		e.KeptInPlace = w.KeptInPlace
	}
	h := &house{id: p.id}
	for _, l := range c.Loggers {
		readings := m.Of(l.ID)
		p.batteries(l.ID, readings, w.Start, days)
		if l.ID == "k6-outside" {
			p.rain(winter, readings)
		}
		h.loggers = append(h.loggers, p.dyingBattery(l.ID, readings, w.Start))
	}
	if p.rafter {
		c.Positions = append(c.Positions, roof.Position{ID: "rafter", Place: roof.Timber, Meets: "loft",
			Material: "softwood"})
		accuracy := 0.3
		c.Loggers = append(c.Loggers, roof.Logger{ID: "k7-rafter", Interval: time.Hour,
			Accuracy: roof.Accuracy{TempC: &accuracy},
			Fitted:   []roof.Fitting{{Position: "rafter", From: w.Start.Add(-24 * time.Hour)}}})
		readings := p.rafterReadings(winter)
		p.batteries("k7-rafter", readings, w.Start, days)
		h.loggers = append(h.loggers, readings)
	}
	c.Events = append(c.Events, journeys(winter, now)...)
	slices.SortStableFunc(c.Events, func(a, b roof.Event) int { return a.At.Compare(b.At) })
	for i, list := range h.loggers {
		h.loggers[i] = slices.DeleteFunc(list, func(r roof.Reading) bool { return r.At.Before(w.Start) })
	}
	file, err := casefile.Format(c)
	if err != nil {
		return nil, err
	}
	h.file = file
	return h, nil
}

// batteries writes each logger's battery: a slow fall from a level of its own.
func (p plan) batteries(logger string, readings []roof.Reading, start time.Time, historyDays int) {
	full := 78.0 + float64((int(logger[1])*37)%20)
	perDay := 0.04
	if logger == p.dying {
		full, perDay = 62, 54/float64(historyDays)
	}
	for i := range readings {
		days := readings[i].At.Sub(start).Hours() / 24
		readings[i].Values.Set(roof.BatteryPct, math.Max(1, math.Round(full-perDay*days)))
	}
}

// dyingBattery makes a failing logger fall silent more and more often.
func (p plan) dyingBattery(logger string, readings []roof.Reading, start time.Time) []roof.Reading {
	if logger != p.dying {
		return readings
	}
	return slices.DeleteFunc(readings, func(r roof.Reading) bool {
		b, _ := r.Values.Get(roof.BatteryPct)
		if b >= 12 {
			return false
		}
		// Half an hour lost of every six, then of every three hours.
		minutes := int(r.At.Sub(start).Minutes())
		if b >= 9 {
			return minutes%360 < 60
		}
		return minutes%180 < 60
	})
}

// rain gives the outdoor station's readings the rain since its last report.
func (p plan) rain(w *roofsim.Winter, readings []roof.Reading) {
	k := 0
	for i := range readings {
		mm := 0.0
		for ; k < w.N && !w.Start.Add(time.Duration(k)*w.Step).After(readings[i].At); k++ {
			mm += w.RainMM[k]
		}
		readings[i].Values.Set(roof.RainMM, math.Round(mm*100)/100)
		readings[i].Values.Set(roof.WindMS, math.Round(w.WindMS[max(0, min(k, w.N)-1)]*10)/10)
	}
}

// rafterReadings are a pin meter in a rafter: temperature and moisture content
// once an hour.
func (p plan) rafterReadings(w *roofsim.Winter) []roof.Reading {
	per := int(time.Hour / w.Step)
	var out []roof.Reading
	for k := 7 % per; k < w.N; k += per {
		at := w.Start.Add(time.Duration(k) * w.Step)
		var v roof.Values
		v.Set(roof.TempC, math.Round(10*(0.7*w.LoftC[k]+0.3*w.Slope[0].UnderlayC[k]))/10)
		v.Set(roof.WoodPct, math.Round(10*w.WoodMeanPct[k])/10)
		out = append(out, roof.Reading{Logger: "k7-rafter", At: at.UTC(), Values: v})
	}
	return out
}

// journeys are notes of when the household was away, as a consultant would have
// asked; only those already over.
func journeys(w *roofsim.Winter, now time.Time) []roof.Event {
	var out []roof.Event
	per := int(24 * time.Hour / w.Step)
	for k := 0; k < w.N; {
		if !w.Away[k] {
			k++
			continue
		}
		from := k
		for k < w.N && w.Away[k] {
			k++
		}
		days := max(1, (k-from+per/2)/per)
		at := w.Start.Add(time.Duration(from) * w.Step).UTC()
		if until := w.Start.Add(time.Duration(k) * w.Step); until.Before(now) {
			out = append(out, roof.Event{At: at, Kind: roof.Note, What: fmt.Sprintf("household away, %d days", days)})
		}
	}
	return out
}
