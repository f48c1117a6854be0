package assessment

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"dewcase/internal/physics/airchange"
	"dewcase/internal/physics/condensate"
	"dewcase/internal/physics/corrosion"
	"dewcase/internal/physics/glaser"
	"dewcase/internal/physics/mould"
	"dewcase/internal/physics/psychro"
	"dewcase/internal/physics/spell"
	"dewcase/internal/physics/timber"
	"dewcase/internal/physics/vapour"
	"dewcase/internal/reason/buildup"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/openings"
	"dewcase/internal/reason/risk"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Physics is what the dampness does, and what the survey and the rules of the
// trade say, with everything behind the figures.
type Physics struct {
	Surfaces []SurfacePhysics
	Vapour   *vapour.Picture
	LoftAir  airchange.Estimate
	VoidAir  airchange.Estimate
	Steady   []SteadyMonth   // the build-up by ISO 13788, for the months measured
	BuildUp  buildup.Report  // of the roof at the end of the record
	Surveyed *buildup.Report // of the roof before the first work; nil without one
	Openings *openings.Answer
	Notes    []string
}

// SurfacePhysics is one surface; a nil part is explained in Notes.
type SurfacePhysics struct {
	Surface    string
	Condensate *condensate.Result
	Film       []condensate.Point // thinned for drawing
	Mould      *mould.Result
	MouldClass string // where the class comes from, in words
	Timber     *timber.Result
	Wood       *timber.Result // measured by a logger
	Fixings    *corrosion.Result
	Parts      []PartPhysics // before the latest repair and since; none without one
	Notes      []string
}

// PartPhysics is one surface over a part of the record.
type PartPhysics struct {
	FromMS, UntilMS int64
	Condensate      *condensate.Result
	Timber, Wood    *timber.Result
	Fixings         *corrosion.Result
}

// SteadyMonth is one measured month through the case's layers.
type SteadyMonth struct {
	Month        string // 2026-11
	IndoorC      float64
	OutdoorC     float64
	IndoorPa     float64
	OutdoorPa    float64
	CondensedGM2 float64
	Planes       []string
}

// filmPoints is how many points of a film's course are kept for drawing.
const filmPoints = 2000

func physics(set *series.Set, f cause.Finding) Physics {
	var p Physics
	for _, s := range set.Case.Surfaces() {
		p.Surfaces = append(p.Surfaces, surfacePhysics(set, s))
	}
	g := hourly(set)
	p.vapour(set, g)
	p.air(g.before(set.Case.Repairs()))
	p.steady(set)
	from := time.Time{}
	if set.UntilMS > 0 {
		from = time.UnixMilli(set.FromMS).UTC()
	}
	now := time.UnixMilli(set.UntilMS)
	p.BuildUp = buildup.Check(set.Case, from, now)
	if len(set.Case.Works(now)) > 0 {
		before := buildup.Check(set.Case, from, time.Time{})
		p.Surveyed = &before
	}
	finding := openings.Since(set.Case, string(f.Finding), now)
	if a, err := openings.Advise(set.Case.RoofAt(now), finding, "", 0); err != nil {
		p.Notes = append(p.Notes, "what to open: "+err.Error())
	} else {
		p.Openings = &a
	}
	return p
}

func pressurePa(c *roof.Case) float64 {
	if c.Property.AltitudeM != nil {
		if pa, err := psychro.PressureAtAltitudePa(*c.Property.AltitudeM); err == nil {
			return pa
		}
	}
	return psychro.StandardPressurePa
}

func surfacePhysics(set *series.Set, pos roof.Position) SurfacePhysics {
	s := SurfacePhysics{Surface: pos.ID}
	c, err := risk.Margin(set, pos.ID)
	if err != nil {
		s.Notes = append(s.Notes, err.Error())
		return s
	}
	note := func(what string, err error) bool {
		if err != nil {
			s.Notes = append(s.Notes, what+": "+err.Error())
		}
		return err == nil
	}
	course := condensate.Course{AtMS: c.AtMS, SurfaceC: c.SurfaceC, VapourPa: c.AirPa, Joined: c.Joined}
	film, err := condensate.Run(course, condensate.Settings{PressurePa: pressurePa(set.Case)},
		evidence.Bounds(set.Case.Property.Zone))
	if note("condensate", err) {
		s.Film = film.Thin(course, filmPoints)
		film.MassGM2 = nil // one value a node; the thinned course is enough
		s.Condensate = film
	}
	spells, err := spell.Hourly(c.AtMS, c.SurfaceC, c.AirPa, c.Joined)
	if !note("mould, timber and fixings", err) {
		return s
	}
	class, why := mouldClass(pos)
	s.MouldClass = why
	if s.Mould, err = mould.Run(spells, class); err != nil {
		note("mould", err)
	}
	if pos.Place == roof.Timber || pos.Place == roof.CoveringUnderside {
		thickness := 0.0
		if set.Case.Roof.BattenDepthMM != nil {
			thickness = *set.Case.Roof.BattenDepthMM
		}
		s.Timber, err = timber.Lag(spells, thickness)
		note("timber", err)
	}
	if w := set.Course(pos.ID).WoodPct; w.Len() > 0 {
		s.Wood, err = timber.Measured(w.AtMS, w.Value, w.Joined)
		note("measured wood moisture", err)
	}
	s.Fixings, err = corrosion.Assess(spells, true, set.Case.Roof.Fixings)
	note("fixings", err)
	if at := latestRepair(set); at > 0 {
		wood := set.Course(pos.ID).WoodPct
		s.Parts = []PartPhysics{s.part(spells, wood, set.Case.Roof.Fixings, math.MinInt64, at),
			s.part(spells, wood, set.Case.Roof.Fixings, at, math.MaxInt64)}
		s.Parts[0].FromMS, s.Parts[1].UntilMS = set.FromMS, set.UntilMS
	}
	return s
}

// part is what the whole record's figures are in a part of it. What an error
// stopped for the whole is missing here too.
func (s *SurfacePhysics) part(spells []spell.Spell, wood series.Track, fixings string, fromMS,
	untilMS int64) PartPhysics {
	p := PartPhysics{FromMS: fromMS, UntilMS: untilMS}
	if s.Condensate != nil {
		p.Condensate = s.Condensate.Within(fromMS, untilMS)
	}
	if s.Timber != nil {
		p.Timber = s.Timber.Within(spells, fromMS, untilMS)
	}
	begins := func(list []int64, ms int64) int {
		return sort.Search(len(list), func(i int) bool { return list[i] >= ms })
	}
	if s.Wood != nil {
		i, k := begins(wood.AtMS, fromMS), begins(wood.AtMS, untilMS)
		p.Wood, _ = timber.Measured(wood.AtMS[i:k], wood.Value[i:k], wood.Joined[i:k])
	}
	if s.Fixings != nil {
		of := slices.DeleteFunc(slices.Clone(spells), func(x spell.Spell) bool {
			return x.FromMS < fromMS ||
				x.FromMS >= untilMS
		})
		p.Fixings, _ = corrosion.Assess(of, true, fixings)
	}
	return p
}

// mouldClass is the surface's sensitivity: as the case file says, else by its
// place, which is said.
func mouldClass(p roof.Position) (mould.Class, string) {
	if p.MouldClass != "" {
		return mould.Class(p.MouldClass), "class " + p.MouldClass + " by the case file"
	}
	class := mould.MediumResistant
	if p.Place == roof.Timber {
		class = mould.Sensitive
	}
	return class, "class " + words.Key(string(class)) + " assumed for the place; the case file can name another"
}

// grid is the record in hourly means.
type grid struct {
	startMS int64
	n       int
	set     *series.Set
}

const hourMS = evidence.HourMS

func hourly(set *series.Set) grid {
	start := set.FromMS / hourMS * hourMS
	return grid{start, int((set.UntilMS - start + hourMS - 1) / hourMS), set}
}

// before is the grid up to the first repair inside the record: what a repair
// opens or shuts changes the air change, and the two must not be mixed.
func (g grid) before(repairs []roof.Event) grid {
	for _, e := range repairs {
		if n := int((e.At.UnixMilli() - g.startMS) / hourMS); n > 0 && n < g.n {
			g.n = n
		}
	}
	return g
}

// mean is the air of a place's loggers together hour by hour, where at least two
// thirds of the hour was observed; ok is false where the place has no humidity.
func (g grid) mean(place roof.Place) (tempC, pa []float64, seen []bool, uncPa float64, ok bool) {
	var temps, vapours [][]float64
	for _, c := range g.set.At(place) {
		if c.VapourPa.Len() == 0 {
			continue
		}
		temps = append(temps, evidence.Sampled(c.TempC, g.startMS, hourMS, g.n, 2.0/3))
		vapours = append(vapours, evidence.Sampled(c.VapourPa, g.startMS, hourMS, g.n, 2.0/3))
		uncPa = max(uncPa, standardUncPa(c))
	}
	tempC, pa, seen = evidence.Join(temps, 1), evidence.Join(vapours, 1), make([]bool, g.n)
	for i, x := range pa {
		if seen[i] = !math.IsNaN(x + tempC[i]); !seen[i] {
			tempC[i], pa[i] = 0, 0
		}
	}
	return tempC, pa, seen, uncPa, len(temps) > 0
}

// standardUncPa is the standard uncertainty of a mean vapour pressure from the
// errors of a position's loggers, at its mean state; 0 where they are unknown.
func standardUncPa(c *series.Course) float64 {
	uTempC, ok1 := evidence.Standard(c.Stints, roof.TempC)
	uRHPct, ok2 := evidence.Standard(c.Stints, roof.RHPct)
	if !ok1 || !ok2 {
		return 0
	}
	return evidence.VapourUncPa(meanOf(c.VapourPa), meanOf(c.TempC), uTempC, uRHPct)
}

func meanOf(t series.Track) float64 {
	b := t.Bins(t.AtMS[0], max(t.AtMS[t.Len()-1]-t.AtMS[0], 1), 1)
	if b[0].ObservedMS == 0 {
		return t.Value[0]
	}
	return b[0].Mean
}

func (p *Physics) vapour(set *series.Set, g grid) {
	in := vapour.Input{PressurePa: pressurePa(set.Case)}
	air := func(place roof.Place) *vapour.Air {
		t, pa, seen, unc, ok := g.mean(place)
		if !ok {
			return nil
		}
		return &vapour.Air{TempC: t, VapourPa: pa, Seen: seen, UncPa: unc}
	}
	in.Outdoor, in.House, in.Loft = air(roof.OutdoorAir), air(roof.IndoorAir), air(roof.LoftAir)
	if void := air(roof.BattenVoidAir); void != nil {
		in.Others = append(in.Others, vapour.Named{ID: "batten void", Air: void})
	}
	picture, err := vapour.Draw(in)
	if err != nil {
		p.Notes = append(p.Notes, "vapour pressures: "+err.Error())
		return
	}
	p.Vapour = picture
}

func (p *Physics) air(g grid) {
	air := func(place roof.Place) *airchange.Air {
		t, pa, seen, _, ok := g.mean(place)
		if !ok {
			return nil
		}
		return &airchange.Air{TempC: t, VapourPa: pa, Seen: seen}
	}
	outdoor, house, loft, void := air(roof.OutdoorAir), air(roof.IndoorAir), air(roof.LoftAir), air(roof.BattenVoidAir)
	p.LoftAir, p.VoidAir = unknownAir("the loft", outdoor, loft), unknownAir("the batten void", outdoor, void)
	if len(g.set.Case.Repairs()) > 0 {
		p.Notes = append(p.Notes, "air changes are those before the first repair in the record")
	}
	if outdoor != nil && loft != nil {
		if e, err := airchange.Loft(g.startMS, *outdoor, house, *loft); err != nil {
			p.LoftAir = airchange.Estimate{Why: err.Error()}
		} else {
			p.LoftAir = e
		}
	}
	if outdoor != nil && void != nil {
		if e, err := airchange.Void(g.startMS, *outdoor, loft, *void, 0); err != nil {
			p.VoidAir = airchange.Estimate{Why: err.Error()}
		} else {
			p.VoidAir = e
		}
	}
}

func unknownAir(where string, outdoor, space *airchange.Air) airchange.Estimate {
	switch {
	case outdoor == nil:
		return airchange.Estimate{Why: "not identifiable here: no outdoor humidity was logged"}
	case space == nil:
		return airchange.Estimate{Why: "not identifiable here: no humidity was logged in " + where}
	}
	return airchange.Estimate{}
}

// atMostSaturated brings a mean vapour pressure down to saturation at the mean
// temperature, which the steady calculation cannot go beyond; cut says that it
// had to. Saturation bends upwards, so that the mean of changing damp air can
// lie above it, in the cold most of all.
func atMostSaturated(pa, tempC float64) (most float64, cut bool) {
	sat, err := psychro.ISO13788SatPa(tempC)
	if err != nil || pa <= sat {
		return pa, false // what cannot be is refused by the calculation itself
	}
	return sat, true
}

// steady runs the case's layers through each calendar month that was measured
// indoors and outdoors for at least half its hours.
func (p *Physics) steady(set *series.Set) {
	if len(set.Case.Roof.Layers) == 0 {
		p.Notes = append(p.Notes, "the case file names no layers of the build-up: no steady calculation")
		return
	}
	layers, err := glaser.FromRoof(set.Case.Roof.Layers)
	if err != nil {
		p.Notes = append(p.Notes, "steady calculation: "+err.Error())
		return
	}
	in, out := set.At(roof.IndoorAir), set.At(roof.OutdoorAir)
	if len(in) == 0 || len(out) == 0 || set.UntilMS == 0 {
		p.Notes = append(p.Notes, "the steady calculation needs loggers indoors and outdoors")
		return
	}
	zone := set.Case.Property.Zone
	first := time.UnixMilli(set.FromMS).In(zone)
	for m := time.Date(first.Year(), first.Month(), 1, 0, 0, 0, 0, zone); m.UnixMilli() < set.UntilMS; m = m.AddDate(0,
		1, 0) {
		from, until := m.UnixMilli(), m.AddDate(0, 1, 0).UnixMilli()
		month := SteadyMonth{Month: m.Format("2006-01")}
		whole := func(t series.Track) (float64, bool) {
			b := t.Bins(from, until-from, 1)[0]
			return b.Mean, 2*b.ObservedMS >= until-from
		}
		var ok [4]bool
		month.IndoorC, ok[0] = whole(in[0].TempC)
		month.IndoorPa, ok[1] = whole(in[0].VapourPa)
		month.OutdoorC, ok[2] = whole(out[0].TempC)
		month.OutdoorPa, ok[3] = whole(out[0].VapourPa)
		if ok != [4]bool{true, true, true, true} {
			continue
		}
		var cut [2]bool
		month.IndoorPa, cut[0] = atMostSaturated(month.IndoorPa, month.IndoorC)
		month.OutdoorPa, cut[1] = atMostSaturated(month.OutdoorPa, month.OutdoorC)
		if cut[0] || cut[1] {
			p.Notes = append(p.Notes, "steady calculation for "+month.Month+": the month's mean vapour pressure lies above "+
				"saturation at its mean temperature (changing weather, and fog over ice, do that); saturation is taken")
		}
		s, err := glaser.SteadyState(glaser.BuildUp{Layers: layers},
			glaser.Climate{IndoorC: month.IndoorC, OutdoorC: month.OutdoorC, IndoorPa: month.IndoorPa,
				OutdoorPa: month.OutdoorPa})
		if err != nil {
			p.Notes = append(p.Notes, fmt.Sprintf("steady calculation for %s: %v", month.Month, err))
			continue
		}
		for _, plane := range s.Planes {
			month.Planes = append(month.Planes, plane.Where)
			month.CondensedGM2 += plane.RateKgM2 * float64(until-from)
		}
		p.Steady = append(p.Steady, month)
	}
	p.Notes = append(p.Notes, glaser.Caveat)
}
