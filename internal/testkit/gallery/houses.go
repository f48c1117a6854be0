// Package gallery shows every page in every state that a house can be in, in a
// real browser: with a verdict of each kind, without a reading, without an
// outdoor logger, with a silent one, with a leak, with nothing that a cause
// could be named by, and one among two hundred.
//
// # Pictures to look at
//
// DEWCASE_PICTURES=DIR keeps a picture of each page at both widths in a folder,
// one light and one dark. DEWCASE_STAY=HOST:PORT serves the houses there, and
// leaves the browser alone, until the test is interrupted:
//
//	DEWCASE_STAY=127.0.0.1:8490 go test ./internal/testkit/gallery -run Browser -timeout 1h
package gallery

import (
	"fmt"
	"math"
	"slices"
	"time"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// now is when the gallery opens: a winter's evening, the end of every record.
var now = time.Date(2027, 2, 10, 20, 40, 0, 0, time.UTC)

// house is a house in one state.
type house struct {
	c        *roof.Case
	readings []roof.Reading
}

// lived is a house of a drawn world, whose winter of so many days runs on to now.
func lived(id, label string, w roofsim.World, days int, kit roofworlds.Kit,
	repairs func(start time.Time) []roofsim.Repair) (house, *roofsim.Winter) {
	w.Start = now.Truncate(24*time.Hour).AddDate(0, 0, 1-days)
	o := roofsim.Options{Days: days}
	if repairs != nil {
		o.Repairs = repairs(w.Start)
	}
	winter := roofsim.Run(w, o)
	kit.CaseID = id
	if kit.Interval == 0 {
		kit.Interval = 15 * time.Minute
	}
	m := kit.Measure(winter, 1)
	m.Case.Property.Label = label
	m.Case.Adviser = roof.Person{Name: "Jo Ferrier", Telephone: "+44 1632 960123"}
	readings := slices.DeleteFunc(m.Readings, func(r roof.Reading) bool { return r.At.After(now) })
	return house{m.Case, readings}, winter
}

// on is a repair so many days into a record.
func on(day int, r roofsim.Repair) func(time.Time) []roofsim.Repair {
	return func(start time.Time) []roofsim.Repair {
		r.At = start.AddDate(0, 0, day).Add(10 * time.Hour)
		return []roofsim.Repair{r}
	}
}

func mm(x float64) *float64 { return &x }

// good are loggers that were checked against each other.
var good = roofsim.Faults{TempLimitC: 0.1, RHLimitPct: 1, NoiseC: 0.03, NoiseRHPct: 0.2, ResolutionC: 0.01,
	ResRHPct: 0.1}

// houses are those whose pages are shown; the demo's two stand beside them.
func houses() []house {
	field := roofworlds.Kit{Faults: roofsim.FieldFaults()}
	without := func(places ...roof.Place) roofworlds.Kit {
		return roofworlds.Kit{Faults: roofsim.FieldFaults(), Without: places}
	}
	var out []house
	add := func(id, label string, seed uint64, cause roofsim.Cause, days int, kit roofworlds.Kit,
		repairs func(time.Time) []roofsim.Repair) *house {
		h, _ := lived(id, label, roofworlds.Draw(seed, cause), days, kit, repairs)
		out = append(out, h)
		return &out[len(out)-1]
	}
	heardUntil := func(h *house, until time.Time, loggers ...string) {
		h.readings = slices.DeleteFunc(h.readings, func(r roof.Reading) bool {
			return r.At.After(until) && (len(loggers) == 0 || slices.Contains(loggers, r.Logger))
		})
	}
	out = append(out, worse(), leaking())
	add("no-outdoor-9", "9 Fen Bank, no logger outdoors", 104, roofsim.UnventedBattenVoid, 100, without(roof.OutdoorAir),
		on(50, roofsim.Repair{VoidEavesMM: mm(25), VoidRidgeMM: mm(8)}))
	silent := add("silent-4", "4 Tarn Row, two loggers silent", 7, roofsim.CeilingLeakage, 60, field, nil)
	heardUntil(silent, now.Add(-75*time.Hour), "k2-loft")
	heardUntil(silent, now.Add(-26*time.Hour), "k5-slate")
	open := without(roof.IndoorAir)
	open.Faults, open.Blur = roofworlds.RoughFaults(), roofworlds.Blur{UnknownShare: 1}
	add("open-question-3", "3 Ash Garth, the cause undetermined", 12, roofsim.MixedRainBlocked, 16, open, nil)
	add("early-5", "5 Mill Lade, repaired a week ago", 3, roofsim.BlockedVentilation, 50, field,
		on(43, roofsim.Repair{LoftEavesMM: mm(12)}))
	twin := field
	twin.SecondSlope = true
	add("no-change-6", "6 Carr Side, one slope opened, no change shown", 104, roofsim.CeilingLeakage, 100, twin,
		on(45, roofsim.Repair{Slopes: roofsim.OnlyA, VoidEavesMM: mm(4)}))
	add("drying-8", "8 Kiln Close, construction moisture", 40, roofsim.ConstructionMoisture, 80, field, nil)
	add("loft-alone-2", "The Old Schoolhouse and Master’s Lodging, Upper Netherthwaite-under-Wold, two loggers", 21,
		roofsim.CeilingLeakage, 30, without(roof.IndoorAir, roof.BattenVoidAir, roof.CoveringUnderside), nil)
	heardUntil(add("ended-1", "1 Beacon Rise, its record ended", 9, roofsim.NightSkyCooling, 110, field, nil),
		now.AddDate(0, 0, -60))
	made := add("just-made-7", "7 Quarry Steps, just made", 5, roofsim.UnventedBattenVoid, 2, field, nil)
	made.readings = nil
	return out
}

// worse is a house into whose tight ceiling somebody cut a dozen times the holes.
func worse() house {
	w := roofworlds.Draw(101, roofsim.UnventedBattenVoid)
	r := &w.Roof
	r.VoidEavesMM, r.VoidRidgeMM = [2]float64{25, 25}, [2]float64{8, 8}
	r.CeilingLeakMM2M2, r.LoftEavesMM, r.LoftLeakMM2M2, r.UnderlaySdM = 40, 3, 160, 20
	w.House.ShelterFactor, r.CoveringAirMM2M2 = 0.6, 5
	h, _ := lived("worse-11", "11 Weir Street, got worse", w, 150, roofworlds.Kit{SecondSlope: true, Faults: good},
		on(60, roofsim.Repair{CeilingLeakFactor: 12}))
	h.c.Events[0].What = "twelve downlights let into the ceiling"
	return h
}

// leaking is a house whose flashing let rain in until it was renewed; pins in a
// rafter and two looks tell of it.
func leaking() house {
	none := 0.0
	h, winter := lived("leak-12", "12 Ropewalk, a leak mended", roofworlds.Draw(44, roofsim.WaterIngress), 110,
		roofworlds.Kit{Faults: roofsim.FieldFaults()}, on(60, roofsim.Repair{LeakFactor: &none}))
	at := h.c.Events[0].At
	h.c.Events[0].What, h.c.Events[0].Leak = "flashing renewed at the chimney", roof.RainLeak
	for _, look := range []struct {
		day int
		wet roof.Answer
	}{{-4, roof.Yes}, {14, roof.No}, {30, roof.No}} {
		h.c.Events = append(h.c.Events, roof.Event{At: at.AddDate(0, 0, look.day), Kind: roof.Inspection,
			What: "a look at the chimney after rain", AfterRain: roof.Yes, Wet: look.wet})
	}
	slices.SortStableFunc(h.c.Events, func(a, b roof.Event) int { return a.At.Compare(b.At) })
	accuracy := 0.3
	h.c.Positions = append(h.c.Positions, roof.Position{ID: "rafter", Place: roof.Timber, Meets: "loft",
		Material: "softwood"})
	h.c.Loggers = append(h.c.Loggers, roof.Logger{ID: "k7-rafter", Interval: time.Hour,
		Accuracy: roof.Accuracy{TempC: &accuracy},
		Fitted:   []roof.Fitting{{Position: "rafter", From: winter.Start.Add(-24 * time.Hour)}}})
	step := func(t time.Time) int { return min(int(t.Sub(winter.Start)/winter.Step), winter.N-1) }
	// The rafter's mean is the loft's; at the leak it is 9 % wetter until the work,
	// and dries by a 1/e in nine days after it.
	for t := winter.Start; t.Before(now); t = t.Add(time.Hour) {
		wetter := 9 * math.Exp(-max(t.Sub(at).Hours(), 0)/24/9)
		var v roof.Values
		v.Set(roof.TempC, math.Round(10*winter.LoftC[step(t)])/10)
		v.Set(roof.WoodPct, math.Round(10*(winter.WoodMeanPct[step(t)]+wetter))/10)
		h.readings = append(h.readings, roof.Reading{Logger: "k7-rafter", At: t.UTC(), Values: v})
	}
	from := 0
	for i := range h.readings {
		if r := &h.readings[i]; r.Logger == "k6-outside" {
			fallen := 0.0
			for to := step(r.At); from < to; from++ {
				fallen += winter.RainMM[from]
			}
			r.Values.Set(roof.RainMM, math.Round(100*fallen)/100)
		}
	}
	return h
}

// street are houses that fill a list: two loggers, two days each.
func street(n int) []house {
	var out []house
	h, _ := lived("street", "", roofworlds.Draw(60, roofsim.CeilingLeakage), 4, roofworlds.Kit{Interval: time.Hour}, nil)
	for i := range n {
		c := *h.c
		c.ID = fmt.Sprintf("street-%d", i+1)
		c.Property.Label = fmt.Sprintf("%d Long Street", i+1)
		out = append(out, house{&c, h.readings})
	}
	return out
}
