package repair

import (
	"fmt"
	"time"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// site is one roof as the loggers show it around one repair and one surface,
// on the half-hour grid.
type site struct {
	grid
	set     *series.Set
	event   roof.Event
	surface *series.Course
	air     *series.Course
	onLoft  bool // the surface meets the loft's air, not the void's

	out, in, loft, void     climate
	cover, lay              channel
	hasIn, hasLoft, hasVoid bool
	hasCover, hasLay        bool
	wind                    channel       // of a station; any false without one
	station                 *roof.Station // that stands in for outdoor air; nil where a logger of the house tells it
	voidCourse, loftCourse  *series.Course
	coverCourse, outCourse  *series.Course
	nights                  []night
	nightOf                 []int32 // of each bin, -1 outside
	repairBin               int     // first bin after the repair
	notes                   []string
	work                    *workspace
}

// night is one night of the property on the grid.
type night struct {
	evidence.Night
	from, until  int     // bins, clipped to the grid
	coverage     float64 // of margin and outdoor air, the lesser
	holeMin      float64 // longest between dusk and dawn, min
	outC, clearK float64 // mean outdoor temperature; outdoor less covering
	why          string  // "" where the night counts
}

// Bounds of one assessment, in nights: what is older or later says little about
// the repair and costs time.
const (
	maxNightsBefore = 430
	maxNightsAfter  = 430
)

// duskHour and dawnHour bound the part of a night in which a long hole spoils
// it; the case file has no latitude to compute them from, so they are those of
// a winter night in temperate Europe.
const (
	duskHour = 18
	dawnHour = 7
)

// ignored is why a surface cannot be judged at all, in words.
type ignored struct{ needs string }

func (i ignored) Error() string { return i.needs }

// errNoOutdoor is that nothing told of outdoor air.
var errNoOutdoor = ignored{words.OutdoorMissing}

// newSite gathers what one verdict rests on. The error is of type ignored and
// speaks to the reader.
func newSite(set *series.Set, e roof.Event, surfaceID string, fromMS, untilMS int64, cache *layCache) (*site, error) {
	s := &site{set: set, event: e}
	s.surface = set.Course(surfaceID)
	if s.surface == nil {
		return nil, ignored{"the case has no position " + surfaceID}
	}
	if s.surface.Position.Meets == "" {
		return nil, ignored{fmt.Sprintf("which air meets %s: the case file does not say (key meets)", surfaceID)}
	}
	s.air = set.Course(s.surface.Position.Meets)
	if s.air == nil {
		return nil, ignored{fmt.Sprintf("the air position %s that meets %s is not in the case", s.surface.Position.Meets,
			surfaceID)}
	}
	switch s.air.Position.Place {
	case roof.LoftAir:
		s.onLoft = true
	case roof.BattenVoidAir:
	default:
		return nil, ignored{fmt.Sprintf("%s meets %s, which is neither loft nor batten void: the method has a model of "+
			"those only; measured hours are shown", surfaceID, s.air.Position.ID)}
	}
	if s.surface.TempC.Len() < 2 {
		return nil, ignored{"a temperature logger at " + surfaceID}
	}
	if !measuredAir(s.air) && s.air.Flagged[roof.FlagFlatLine] > 0 {
		return nil, ignored{fmt.Sprintf("readings at %s and %s that are not stuck or broken", surfaceID, s.air.Position.ID)}
	}
	if !measuredAir(s.air) {
		return nil, ignored{fmt.Sprintf("a temperature and humidity logger in the air that meets %s (%s)", surfaceID,
			s.air.Position.ID)}
	}
	s.outCourse = outdoors(set, fromMS, untilMS)
	if s.outCourse == nil {
		return nil, errNoOutdoor
	}
	if untilMS-fromMS < 2*24*3600*1000 {
		return nil, ignored{"a longer record: it spans less than two days"}
	}
	s.fromMS = fromMS / evidence.HourMS * evidence.HourMS
	s.n = int((untilMS - s.fromMS) / evidence.HourMS * 2)
	s.collect(cache)
	if !s.out.pa.any || !s.out.tempC.any {
		return nil, ignored{"readings of outdoor air that are not stuck or broken"}
	}
	if air := s.airClimate(); !air.pa.any || !s.surfaceTemp().any {
		return nil, ignored{fmt.Sprintf("readings at %s and %s that are not stuck or broken", surfaceID, s.air.Position.ID)}
	}
	s.repairBin = s.inside(e.At.UnixMilli())
	s.layNights()
	return s, nil
}

// outdoors is the position of outdoor air with most observed time; a weather
// station counts half, so that a logger of the house goes before it.
func outdoors(set *series.Set, fromMS, untilMS int64) (best *series.Course) {
	most := int64(-1)
	for _, c := range set.At(roof.OutdoorAir) {
		if !measuredAir(c) {
			continue
		}
		n := 2 * c.VapourPa.ObservedMS(fromMS, untilMS)
		if c.Stints[0].Station != nil {
			n /= 2
		}
		if n > most {
			best, most = c, n
		}
	}
	return best
}

// layCache keeps what is laid on one grid, since several surfaces share it.
type layCache struct {
	airs     map[layKey]climate
	surfaces map[layKey]channel
}

type layKey struct {
	id     string
	fromMS int64
	n      int
}

func newLayCache() *layCache {
	return &layCache{map[layKey]climate{}, map[layKey]channel{}}
}

func (s *site) layAir(c *series.Course, cache *layCache) climate {
	k := layKey{c.Position.ID, s.fromMS, s.n}
	if _, ok := cache.airs[k]; !ok {
		cache.airs[k] = s.grid.air(c)
	}
	return cache.airs[k]
}

func (s *site) laySurface(c *series.Course, cache *layCache) channel {
	k := layKey{c.Position.ID, s.fromMS, s.n}
	if _, ok := cache.surfaces[k]; !ok {
		cache.surfaces[k] = s.grid.surface(c)
	}
	return cache.surfaces[k]
}

func (s *site) collect(cache *layCache) {
	s.out = s.layAir(s.outCourse, cache)
	if s.outCourse.WindMS.Len() > 1 {
		s.wind = s.halfHours(s.outCourse.WindMS)
	}
	if treated(s.event, s.outCourse.Position.ID) {
		s.notes = append(s.notes, "the repair is said to treat the outdoor logger "+s.outCourse.Position.ID+
			"; outdoor air is used all the same")
	}
	for _, st := range s.outCourse.Stints {
		if s.station == nil && st.Station != nil {
			s.station = st.Station
			s.notes = append(s.notes, words.StationStandsIn(st.Station.Source, st.Station.DistanceKM,
				st.Station.HeightDifferenceM))
		}
	}
	var rooms []climate
	for _, c := range s.set.At(roof.IndoorAir) {
		if treated(s.event, c.Position.ID) || !measuredAir(c) {
			continue
		}
		if cl := s.layAir(c, cache); cl.pa.any && cl.tempC.any {
			rooms = append(rooms, cl)
		}
	}
	if len(rooms) > 0 {
		s.in, s.hasIn = mean(rooms), true
	}
	if s.onLoft {
		s.loftCourse = s.air
	} else {
		s.loftCourse = s.bestAir(roof.LoftAir)
		s.voidCourse = s.air
	}
	if s.loftCourse != nil {
		s.loft = s.layAir(s.loftCourse, cache)
		s.hasLoft = s.loft.pa.any && s.loft.tempC.any
	}
	s.coverCourse = s.pickCover()
	if s.onLoft && s.coverCourse != nil {
		if v := s.set.Course(s.coverCourse.Position.Meets); v != nil && v.Position.Place == roof.BattenVoidAir &&
			measuredAir(v) {
			s.voidCourse = v
		}
	}
	if s.onLoft && s.voidCourse == nil {
		s.voidCourse = s.bestAir(roof.BattenVoidAir)
	}
	if s.voidCourse != nil {
		s.void = s.layAir(s.voidCourse, cache)
		s.hasVoid = s.void.pa.any && s.void.tempC.any
	}
	if s.coverCourse != nil {
		s.cover = s.laySurface(s.coverCourse, cache)
		s.hasCover = s.cover.any
	}
	if lay := s.pickLay(); lay != nil {
		s.lay = s.laySurface(lay, cache)
		s.hasLay = s.lay.any
	}
	s.substitute()
}

// bestAir is the position of a place with most observed time, one that the
// repair treats before others.
func (s *site) bestAir(place roof.Place) *series.Course {
	return s.best(place, func(c *series.Course) (int64, bool) {
		return c.VapourPa.ObservedMS(s.fromMS, s.untilMS()), measuredAir(c)
	})
}

// best is the position of a place with most time observed, one that the repair
// treats before others; observed says of each how long, and whether it will do.
func (s *site) best(place roof.Place, observed func(*series.Course) (int64, bool)) *series.Course {
	var best *series.Course
	score := int64(-1)
	for _, c := range s.set.At(place) {
		n, ok := observed(c)
		if treated(s.event, c.Position.ID) {
			n *= 4
		}
		if ok && n > score {
			best, score = c, n
		}
	}
	return best
}

// pickCover is the covering whose temperature drives the void and shows sun and
// sky: the judged surface itself, or the best observed one.
func (s *site) pickCover() *series.Course {
	if !s.onLoft {
		return s.surface
	}
	return s.best(roof.CoveringUnderside, func(c *series.Course) (int64, bool) {
		return c.TempC.ObservedMS(s.fromMS, s.untilMS()), c.TempC.Len() >= 2
	})
}

// pickLay is the surface that meets the loft's air: the judged one, or an
// underlay's underside.
func (s *site) pickLay() *series.Course {
	if s.onLoft {
		return s.surface
	}
	for _, c := range s.set.At(roof.UnderlayUnderside) {
		if c.TempC.Len() > 1 {
			return c
		}
	}
	return nil
}

func (s *site) airClimate() climate {
	if s.onLoft {
		return s.loft
	}
	return s.void
}

func (s *site) surfaceTemp() channel {
	if s.onLoft {
		return s.lay
	}
	return s.cover
}

// layNights divides the grid into the property's nights, noon to noon.
func (s *site) layNights() {
	s.nightOf = make([]int32, s.n)
	for k := range s.nightOf {
		s.nightOf[k] = -1
	}
	zone := s.set.Case.Property.Zone
	for _, e := range evidence.Nights(zone, s.fromMS, s.untilMS()) {
		n := night{Night: e, from: s.inside(e.FromMS), until: s.inside(e.UntilMS)}
		for k := n.from; k < n.until; k++ {
			s.nightOf[k] = int32(len(s.nights))
		}
		s.qualify(&n, time.UnixMilli(e.FromMS).In(zone), zone)
		s.nights = append(s.nights, n)
	}
}

// qualify measures how well a night was observed.
func (s *site) qualify(n *night, noon time.Time, zone *time.Location) {
	dusk := time.Date(noon.Year(), noon.Month(), noon.Day(), duskHour, 0, 0, 0, zone).UnixMilli()
	dawn := time.Date(noon.Year(), noon.Month(), noon.Day()+1, dawnHour, 0, 0, 0, zone).UnixMilli()
	air, sfc := s.airClimate(), s.surfaceTemp()
	bins := int((n.UntilMS - n.FromMS) / stepMS)
	pair, outdoor, hole, longest := 0, 0, 0, 0
	for k := n.from; k < n.until; k++ {
		ok := air.pa.seen[k] && sfc.seen[k]
		if ok {
			pair++
		}
		if s.out.pa.seen[k] && s.out.tempC.seen[k] {
			outdoor++
		}
		n.outC += s.out.tempC.v[k]
		n.clearK += s.out.tempC.v[k] - s.cover.v[k]
		if ms := s.at(k); ok || ms < dusk || ms >= dawn {
			hole = 0
		} else if hole++; hole > longest {
			longest = hole
		}
	}
	if m := float64(n.until - n.from); m > 0 {
		n.outC, n.clearK = n.outC/m, n.clearK/m
	}
	n.coverage = float64(min(pair, outdoor)) / float64(max(bins, 1))
	n.holeMin = float64(longest) * stepMS / 60e3
	allowed := 90.0
	for _, c := range []*series.Course{s.surface, s.air} {
		for _, st := range c.Stints {
			if two := 2 * float64(st.UsualMS) / 60e3; st.UntilMS > n.FromMS && st.FromMS < n.UntilMS && two > allowed {
				allowed = two
			}
		}
	}
	switch {
	case n.coverage < 0.8 && pair <= outdoor:
		n.why = fmt.Sprintf("%s and %s were observed together for %.0f %% of the night only", s.surface.Position.ID,
			s.air.Position.ID, 100*float64(pair)/float64(max(bins, 1)))
	case n.coverage < 0.8:
		n.why = fmt.Sprintf("outdoor air was observed for %.0f %% of the night only", 100*n.coverage)
	case n.holeMin > allowed:
		n.why = fmt.Sprintf("a hole of %.0f min between dusk and dawn", n.holeMin)
	}
}
