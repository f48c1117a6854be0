package roofsim

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// makeCase is the case file that a consultant would have written for the kit.
func (kit Kit) makeCase(w *Winter, sensors []sensor, slope int) *roof.Case {
	id := kit.CaseID
	if id == "" {
		id = fmt.Sprintf("sim-%s-%d", strings.ReplaceAll(string(w.World.Cause), "_", "-"), w.World.Seed)
	}
	zone, err := time.LoadLocation(w.World.Climate.Zone)
	if err != nil {
		zone = time.UTC
	}
	altitude := float64(int(w.World.Climate.AltitudeM))
	c := &roof.Case{ID: id, Property: roof.Property{Label: "Simulated house", Timezone: zone.String(), Zone: zone,
		AltitudeM: &altitude, Completed: w.World.Completed},
		Roof: w.World.Survey}
	f := &kit.Faults
	for _, s := range sensors {
		p := roof.Position{ID: s.position, Place: s.place, Meets: s.meets}
		if strings.HasSuffix(s.position, "-2") {
			p.Untouched = slices.ContainsFunc(w.Repairs, func(r Repair) bool { return r.Slopes != Both })
		}
		if s.meets != "" && !fitted(sensors, s.meets) {
			p.Meets = ""
		}
		c.Positions = append(c.Positions, p)
		l := roof.Logger{ID: s.logger, Interval: kit.Interval,
			Fitted: []roof.Fitting{{Position: s.position, From: w.Start.Add(-24 * time.Hour).UTC()}}}
		t, rh := f.TempLimitC, f.RHLimitPct
		l.Accuracy = roof.Accuracy{TempC: &t, RHPct: &rh}
		if s.vapourPa == nil {
			l.Accuracy.RHPct = nil
		}
		loggers := []roof.Logger{l}
		for _, x := range kit.Swaps {
			if x.Position == s.position && x.Declared {
				last := &loggers[len(loggers)-1]
				last.Fitted[0].To = x.At.UTC()
				next := l
				next.ID = last.ID + "b"
				next.Fitted = []roof.Fitting{{Position: s.position, From: x.At.UTC()}}
				loggers = append(loggers, next)
			}
		}
		c.Loggers = append(c.Loggers, loggers...)
	}
	for _, r := range w.Repairs {
		c.Events = append(c.Events, r.event(sensors, slope))
	}
	return c
}

func fitted(sensors []sensor, position string) bool {
	return slices.ContainsFunc(sensors, func(s sensor) bool { return s.position == position })
}

// event is the repair as the case file tells it.
func (r Repair) event(sensors []sensor, slope int) roof.Event {
	e := roof.Event{At: r.At.UTC(), Kind: roof.Repair}
	var what []string
	treat := func(ids ...string) {
		for _, id := range ids {
			if fitted(sensors, id) && !slices.Contains(e.Treats, id) {
				e.Treats = append(e.Treats, id)
			}
		}
	}
	if r.VoidEavesMM != nil || r.VoidRidgeMM != nil {
		what = append(what, "batten void opened at eaves and ridge")
		e.Changes = append(e.Changes, roof.VoidVentilation)
		if r.Slopes == Both || int(r.Slopes)-1 == slope {
			treat("void", "slate")
		}
		if r.Slopes == Both || int(r.Slopes)-1 != slope {
			treat("void-2", "slate-2")
		}
	}
	if r.LoftEavesMM != nil || r.LoftRidgeMM != nil {
		what = append(what, "loft eaves cut through")
		e.Changes = append(e.Changes, roof.LoftVentilation)
		treat("loft", "underlay")
	}
	if r.CeilingLeakFactor != 0 {
		what = append(what, "ceiling sealed")
		e.Changes = append(e.Changes, roof.CeilingChange)
		treat("loft", "underlay")
	}
	if r.UnderlaySdM != nil {
		what = append(what, "underlay replaced")
		e.Changes = append(e.Changes, roof.UnderlayChange)
		treat("loft", "underlay", "void", "slate")
	}
	if r.LeakFactor != nil {
		what = append(what, "leak mended")
		e.Changes = append(e.Changes, roof.WaterEntry)
		treat("loft", "underlay")
	}
	e.What = strings.Join(what, ", ")
	if e.What == "" {
		e.What = "work said to have been done"
	}
	return e
}
