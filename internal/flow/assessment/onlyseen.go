package assessment

import (
	"math"
	"slices"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/risk"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// OnlySeen is what was measured at a surface on whole nights before a repair and
// since, where nothing outdoors was logged: it stands in for no verdict.
type OnlySeen struct {
	Before SeenPart `json:"before"`
	Since  SeenPart `json:"since"`
	Text   []string `json:"text" doc:"the same in sentences, with what they cannot say"`
}

// SeenPart is one side of the repair.
type SeenPart struct {
	WetNights      int      `json:"wet_nights"`
	NightsObserved int      `json:"nights_observed"`
	MarginLowK     float64  `json:"margin_k_10_pct" doc:"a tenth of the hours observed had less"`
	MarginMidK     float64  `json:"margin_k_median"`
	MarginHighK    float64  `json:"margin_k_90_pct"`
	SurfaceC       float64  `json:"surface_mean_c"`
	LoftPa         *float64 `json:"loft_vapour_pa" doc:"mean over the hours in which loft and house were both observed"`
	IndoorPa       *float64 `json:"indoor_vapour_pa"`
}

// unlikeWeatherK is a difference of a surface's mean temperature, K, from which two
// periods are plainly not alike.
const unlikeWeatherK = 2.0

// takeSeen puts what was measured beside a verdict that cannot be had: its nights
// are those of the repair.
func (r *Repair) takeSeen(s *OnlySeen) {
	if r.OnlySeen = s; s != nil {
		r.NightsBefore, r.NightsAfter = s.Before.NightsObserved, s.Since.NightsObserved
	}
}

// onlySeen fills in what was measured around a repair that cannot be judged for
// want of outdoor air; nil where one side has no night.
func onlySeen(set *series.Set, r repair.Result) *OnlySeen {
	k := slices.IndexFunc(set.Case.Repairs(), func(e roof.Event) bool { return e.At.Equal(r.At) && e.What == r.What })
	c, err := risk.Margin(set, r.Surface)
	if k < 0 || err != nil {
		return nil
	}
	surface, _ := set.Case.Position(r.Surface)
	e := set.Case.Repairs()[k]
	fromMS, untilMS := repair.Window(set, e, surface)
	at, doubt := e.At.UnixMilli(), e.Uncertain.Milliseconds()
	said := words.OnlySeen{At: r.At, Zone: set.Case.Property.Zone, Where: words.SurfaceOf(set.Case, r.Surface)}
	said.Before = seenPart(set, &c, fromMS, at-doubt)
	said.Since = seenPart(set, &c, at+doubt, untilMS)
	said.OtherWeather = math.Abs(said.Before.SurfaceC-said.Since.SurfaceC) >= unlikeWeatherK
	out := &OnlySeen{Before: partOf(said.Before), Since: partOf(said.Since), Text: said.Lines()}
	if len(out.Text) == 0 {
		return nil
	}
	return out
}

// seenPart sums up the whole nights within a stretch.
func seenPart(set *series.Set, c *risk.Course, fromMS, untilMS int64) (p words.SeenPart) {
	zone := set.Case.Property.Zone
	var margins []float64
	surface, observed := 0.0, 0.0
	var nights []evidence.Night
	for _, n := range evidence.Nights(zone, fromMS, untilMS) {
		if n.FromMS < fromMS || n.UntilMS > untilMS {
			continue
		}
		s := c.Sum(n.FromMS, n.UntilMS)
		state := evidence.State(s.CondensingMS/3.6e6, s.ObservedMS/3.6e6, n.Hours())
		p.Nights.Add(state, evidence.FrostNight(s.CondensingMS, s.FrostMS))
		if state == words.NotSeen {
			continue
		}
		nights = append(nights, n)
		for _, h := range c.BinsUntil(n.FromMS, n.UntilMS, evidence.HourMS) {
			if h.ObservedMS > 0 {
				margins = append(margins, h.MarginMean)
			}
		}
		c.Pieces(n.FromMS, n.UntilMS, func(x risk.Piece) {
			ms := float64(x.UntilMS - x.FromMS)
			surface, observed = surface+ms*(x.SurfaceA+x.SurfaceB)/2, observed+ms
		})
	}
	if len(margins) == 0 {
		return p
	}
	slices.Sort(margins)
	p.MarginLowK, p.MarginMidK, p.MarginHighK = round(evidence.Quantile(margins, 0.1), 1),
		round(evidence.Quantile(margins, 0.5), 1), round(evidence.Quantile(margins, 0.9), 1)
	p.SurfaceC = round(surface/observed, 1)
	p.LoftPa, p.IndoorPa, p.LoftPct = loftOfHouse(set, nights)
	return p
}

// loftOfHouse is the mean vapour pressure of the loft's air and of the house's,
// over the hours of some nights in which both were observed, and the first in per
// cent of the second; nil where there were none.
func loftOfHouse(set *series.Set, nights []evidence.Night) (loftPa, indoorPa, pct *float64) {
	from := nights[0].FromMS
	hours := int((nights[len(nights)-1].UntilMS - from) / evidence.HourMS)
	hourly := func(place roof.Place) []float64 {
		var parts [][]float64
		for _, c := range set.At(place) {
			parts = append(parts, evidence.Sampled(c.VapourPa, from, evidence.HourMS, hours, 0.5))
		}
		return evidence.Join(parts, 1)
	}
	lofts, rooms := hourly(roof.LoftAir), hourly(roof.IndoorAir)
	if lofts == nil || rooms == nil {
		return nil, nil, nil
	}
	loft, indoor, n := 0.0, 0.0, 0.0
	for _, night := range nights {
		for k := (night.FromMS - from) / evidence.HourMS; k < (night.UntilMS-from)/evidence.HourMS; k++ {
			if !math.IsNaN(lofts[k] + rooms[k]) {
				loft, indoor, n = loft+lofts[k], indoor+rooms[k], n+1
			}
		}
	}
	if n == 0 {
		return nil, nil, nil
	}
	l, i, share := round(loft/n, 0), round(indoor/n, 0), round(100*loft/indoor, 0)
	return &l, &i, &share
}

func partOf(p words.SeenPart) SeenPart {
	return SeenPart{p.Nights.Wet, p.Nights.Observed, p.MarginLowK, p.MarginMidK, p.MarginHighK, p.SurfaceC, p.LoftPa,
		p.IndoorPa}
}
