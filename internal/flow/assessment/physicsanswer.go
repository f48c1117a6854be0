package assessment

import (
	"time"

	"dewcase/internal/physics/airchange"
	"dewcase/internal/physics/condensate"
	"dewcase/internal/physics/corrosion"
	"dewcase/internal/physics/mould"
	"dewcase/internal/physics/timber"
)

// PhysicsAnswer is the physics as JSON: the figures that decide something, each
// with its unit in its name.
type PhysicsAnswer struct {
	Surfaces []SurfaceEffects     `json:"surfaces"`
	House    *HouseVapour         `json:"house" doc:"vapour in the house and the loft; null where outdoors was not logged"`
	LoftAir  AirChange            `json:"loft_air_change"`
	VoidAir  AirChange            `json:"void_air_change"`
	Steady   []SteadyCondensation `json:"steady_build_up" doc:"the case's layers by the steady calculation of ISO 13788, for the months measured"`
	BuildUp  BuildUp              `json:"build_up"`
	Openings []Opening            `json:"openings"`
	Rules    string               `json:"opening_rules" doc:"the rule set behind openings"`
	Licence  string               `json:"opening_licence"`
	Asks     []string             `json:"opening_asks" doc:"what is still to be measured or entered"`
	Cautions []Caution            `json:"cautions"`
	Notes    []string             `json:"notes"`
}

// Caution is a hazard of acting on the answer, with its remedy.
type Caution struct {
	Hazard     string `json:"hazard"`
	Text       string `json:"text"`
	Source     string `json:"source"`
	FromMemory bool   `json:"from_memory" doc:"the source was not read: confirm it"`
}

// SurfaceEffects holds the effects of dampness at one surface.
type SurfaceEffects struct {
	Surface    string          `json:"surface"`
	Condensate *Film           `json:"condensate"`
	Mould      *MouldIndex     `json:"mould"`
	Timber     *TimberMoisture `json:"timber" doc:"estimated from the surface's humidity, lagged by its thickness"`
	Wood       *TimberMoisture `json:"wood_measured"`
	Fixings    *Corrosion      `json:"fixings"`
	Spans      []EffectSpan    `json:"spans" doc:"before the latest repair and since; empty without one; of the water, the night of the repair is in neither"`
	Assumes    []string        `json:"assumes" doc:"what the figures assume and how far they are good"`
	Notes      []string        `json:"notes"`
}

// EffectSpan is what the dampness of a surface does over a part of the record.
type EffectSpan struct {
	From       time.Time       `json:"from"`
	Until      time.Time       `json:"until"`
	Condensate *Film           `json:"condensate"`
	Timber     *TimberMoisture `json:"timber"`
	Wood       *TimberMoisture `json:"wood_measured"`
	Fixings    *Corrosion      `json:"fixings"`
}

// melts are the thaws of each of the spans, or of the whole record.
func (s SurfaceEffects) melts() (out [][]Melt) {
	if s.Condensate == nil {
		return nil
	}
	if len(s.Spans) == 0 {
		return [][]Melt{s.Condensate.Melts}
	}
	for _, x := range s.Spans {
		out = append(out, x.Condensate.Melts)
	}
	return out
}

// Film is the dew and frost on a surface by mass balance.
type Film struct {
	_ struct{} `nullable:"true"` // null if unavailable

	PeakGM2       float64    `json:"peak_g_m2"`
	PeakAt        *time.Time `json:"peak_at"`
	CondensedGM2  float64    `json:"condensed_g_m2"`
	DrippedGM2    float64    `json:"dripped_g_m2"`
	WetHours      float64    `json:"wet_hours" doc:"hours with a film, also while it dries"`
	NightsWetted  int        `json:"nights_wetted" doc:"nights on which wetted_from_g_m2 or more formed"`
	NightsSeen    int        `json:"nights_with_readings" doc:"what nights_wetted is of"`
	WettedGM2     float64    `json:"wetted_from_g_m2"`
	MorningsDried int        `json:"mornings_dried"`
	MorningsWet   int        `json:"mornings_still_wet_at_noon"`
	MedianDryingH *float64   `json:"median_drying_h"`
	Melts         []Melt     `json:"melts"`
}

// Melt is a thaw of a frosted surface.
type Melt struct {
	At      time.Time `json:"at"`
	MassGM2 float64   `json:"mass_g_m2"`
}

// MouldIndex is the mould index.
type MouldIndex struct {
	_ struct{} `nullable:"true"` // null if unavailable

	Class     string  `json:"class"`
	ClassFrom string  `json:"class_from"`
	Peak      float64 `json:"peak_index"`
	End       float64 `json:"index_at_end"`
	Words     string  `json:"words"`
	ASHRAE160 string  `json:"ashrae_160"`
}

// TimberMoisture is the moisture content of wood, in % of dry mass.
type TimberMoisture struct {
	_ struct{} `nullable:"true"` // null if unavailable

	ThicknessMM float64 `json:"thickness_mm"`
	PeakPct     float64 `json:"peak_pct"`
	MeanPct     float64 `json:"mean_pct"`
	WeeksOver20 float64 `json:"weeks_over_20_pct"`
	WeeksLow    float64 `json:"weeks_over_20_pct_low"`
	WeeksHigh   float64 `json:"weeks_over_20_pct_high"`
}

// Corrosion is the time of wetness of fixings.
type Corrosion struct {
	_ struct{} `nullable:"true"` // null if unavailable

	WetHoursPerYear float64 `json:"wet_hours_per_year" doc:"if the whole year were like the record"`
	LowPerYear      float64 `json:"wet_hours_per_year_low"`
	HighPerYear     float64 `json:"wet_hours_per_year_high"`
	Category        string  `json:"category" doc:"of ISO 9223, of wet_hours_per_year"`
	CategoryLow     string  `json:"category_low"`
	CategoryHigh    string  `json:"category_high"`
	Remark          string  `json:"remark"`
}

// HouseVapour is the vapour-pressure picture of the house.
type HouseVapour struct {
	_ struct{} `nullable:"true"` // null if unavailable

	HumidityClass *int           `json:"humidity_class" doc:"ISO 13788 Annex A, 1 to 5; null where too little was seen"`
	Borderline    bool           `json:"borderline"`
	ClassUse      string         `json:"class_use"`
	Excesses      []VapourExcess `json:"excesses"`
	LoftShare     *float64       `json:"loft_share_of_house_air" doc:"0..1"`
	LoftShareLow  *float64       `json:"loft_share_low"`
	LoftShareHigh *float64       `json:"loft_share_high"`
}

// VapourExcess is the mean vapour pressure of a place above outdoors, Pa.
type VapourExcess struct {
	Place     string  `json:"place"`
	MeanPa    float64 `json:"mean_pa"`
	UncPa     float64 `json:"standard_uncertainty_pa" doc:"0 where the loggers' accuracy is unknown"`
	SupplyGM3 float64 `json:"moisture_supply_g_m3"`
}

// AirChange is an air change rate per hour, or the reason why there is none.
type AirChange struct {
	PerHour *float64 `json:"per_hour"`
	Low     *float64 `json:"low"`
	High    *float64 `json:"high"`
	Why     string   `json:"why"`
}

// SteadyCondensation is one month of the steady calculation.
type SteadyCondensation struct {
	Month        string   `json:"month"`
	CondensedGM2 float64  `json:"condensed_g_m2"`
	Planes       []string `json:"planes"`
}

// BuildUp is the result of the trade's rules on the survey.
type BuildUp struct {
	Overall  string           `json:"overall"`
	Sentence string           `json:"sentence"`
	Findings []BuildUpFinding `json:"findings"`
	Decides  string           `json:"decides"`
}

// BuildUpFinding is one rule's finding.
type BuildUpFinding struct {
	Element string `json:"element"`
	Verdict string `json:"verdict"`
	What    string `json:"what"`
	Why     string `json:"why"`
	Cure    string `json:"cure"`
	Source  string `json:"source"`
}

// Opening is one opening that the rule set requires.
type Opening struct {
	Where    string   `json:"where"`
	NeededMM float64  `json:"needed_mm"`
	HaveMM   *float64 `json:"have_mm"`
	ShortMM  *float64 `json:"short_mm"`
	ShortMM2 *float64 `json:"short_mm2"`
	Source   string   `json:"source"`
	Standing string   `json:"source_standing" doc:"confirmed, secondary or from memory"`
}

func physicsAnswer(p Physics) PhysicsAnswer {
	t := PhysicsAnswer{Surfaces: []SurfaceEffects{}, Asks: []string{}, Cautions: []Caution{}, Openings: []Opening{},
		Steady: []SteadyCondensation{}, LoftAir: airChangeOf(p.LoftAir), VoidAir: airChangeOf(p.VoidAir),
		Notes: append([]string{}, p.Notes...)}
	for _, s := range p.Surfaces {
		x := SurfaceEffects{Surface: s.Surface, Condensate: filmOf(s.Condensate), Timber: timberOf(s.Timber),
			Wood: timberOf(s.Wood), Fixings: corrosionOf(s.Fixings), Assumes: assumes(s), Spans: []EffectSpan{},
			Notes: append([]string{}, s.Notes...)}
		for _, part := range s.Parts {
			x.Spans = append(x.Spans, EffectSpan{From: time.UnixMilli(part.FromMS).UTC(),
				Until:      time.UnixMilli(part.UntilMS).UTC(),
				Condensate: filmOf(part.Condensate), Timber: timberOf(part.Timber), Wood: timberOf(part.Wood),
				Fixings: corrosionOf(part.Fixings)})
		}
		if m := s.Mould; m != nil {
			x.Mould = &MouldIndex{Class: string(m.Class), ClassFrom: s.MouldClass, Peak: round(m.Peak, 3), End: round(m.End, 3),
				Words: mould.Words(m.Peak), ASHRAE160: string(m.ASHRAE160)}
		}
		t.Surfaces = append(t.Surfaces, x)
	}
	if v := p.Vapour; v != nil {
		h := &HouseVapour{Borderline: v.Class.Borderline, ClassUse: v.Class.Use, Excesses: []VapourExcess{}}
		if v.Class.Known {
			h.HumidityClass = &v.Class.Class
		}
		for _, e := range v.Excesses {
			if e.Hours > 0 {
				h.Excesses = append(h.Excesses, VapourExcess{e.ID, round(e.MeanPa, 1), round(e.UncPa, 1), round(e.SupplyGM3, 2)})
			}
		}
		if v.Loft.Known {
			h.LoftShare, h.LoftShareLow, h.LoftShareHigh = share(v.Loft.Mean), share(v.Loft.Low), share(v.Loft.High)
		}
		t.House = h
	}
	for _, m := range p.Steady {
		t.Steady = append(t.Steady, SteadyCondensation{m.Month, round(m.CondensedGM2, 1), append([]string{}, m.Planes...)})
	}
	t.BuildUp = BuildUp{Overall: string(p.BuildUp.Overall), Sentence: p.BuildUp.Sentence, Findings: []BuildUpFinding{},
		Decides: p.BuildUp.Decides}
	for _, f := range p.BuildUp.Findings {
		t.BuildUp.Findings = append(t.BuildUp.Findings,
			BuildUpFinding{f.Element, string(f.Verdict), f.What, f.Why, f.Cure, f.Source})
	}
	if p.Openings != nil {
		for _, l := range p.Openings.Lines {
			t.Openings = append(t.Openings, Opening{string(l.Where), l.NeededMM, l.HaveMM, l.ShortMM, whole(l.ShortMM2),
				l.Rule.Source, string(l.Rule.Standing)})
		}
		t.Rules, t.Licence = p.Openings.Set.Region+": "+p.Openings.Set.Title, p.Openings.Licence
		t.Asks = append(t.Asks, p.Openings.Asks...)
	}
	return t
}

func filmOf(r *condensate.Result) *Film {
	if r == nil {
		return nil
	}
	f := &Film{PeakGM2: round(r.PeakGM2, 2), CondensedGM2: round(r.CondensedGM2, 1),
		DrippedGM2: round(r.DrippedGM2, 1), WetHours: round(r.WetH, 2),
		NightsWetted: r.NightsWetted, NightsSeen: r.NightsSeen, WettedGM2: r.Settings.WettedGM2,
		MorningsDried: r.MorningsDried, MorningsWet: r.MorningsWet, Melts: []Melt{}}
	if r.PeakGM2 > 0 {
		at := time.UnixMilli(r.PeakMS).UTC()
		f.PeakAt = &at
	}
	if r.DryingKnown {
		f.MedianDryingH = rounded(r.MedianDryingH)
	}
	for _, m := range r.Melts {
		f.Melts = append(f.Melts, Melt{time.UnixMilli(m.AtMS).UTC(), round(m.MassGM2, 1)})
	}
	return f
}

func timberOf(r *timber.Result) *TimberMoisture {
	if r == nil || r.ObservedH == 0 {
		return nil
	}
	return &TimberMoisture{ThicknessMM: r.ThicknessMM, PeakPct: round(r.PeakPct, 2), MeanPct: round(r.MeanPct, 2),
		WeeksOver20: round(r.WeeksAbove, 2), WeeksLow: round(r.WeeksAboveLow, 2), WeeksHigh: round(r.WeeksAboveHigh, 2)}
}

func corrosionOf(r *corrosion.Result) *Corrosion {
	if r == nil || r.ObservedH == 0 {
		return nil
	}
	return &Corrosion{WetHoursPerYear: round(r.PerYearH, 0), LowPerYear: round(r.LowPerYearH, 0),
		HighPerYear: round(r.HighPerYearH, 0),
		Category:    r.Category.String(), CategoryLow: r.Low.String(), CategoryHigh: r.High.String(), Remark: r.Remark}
}

// assumes gathers what the figures of a surface assume, each with what it is
// about.
func assumes(s SurfacePhysics) []string {
	out := []string{}
	say := func(what string, notes []string) {
		for _, n := range notes {
			out = append(out, what+": "+n)
		}
	}
	if s.Condensate != nil {
		say("condensate", s.Condensate.Notes)
	}
	if s.Mould != nil {
		say("mould", s.Mould.Notes)
	}
	if s.Timber != nil {
		say("timber", s.Timber.Notes)
	}
	if s.Fixings != nil && s.Fixings.ObservedH > 0 {
		say("fixings", s.Fixings.Notes)
	}
	return out
}

// share keeps the bounds of a part of a whole where a part can be.
func share(x float64) *float64 { return rounded(min(max(x, 0), 1)) }

func airChangeOf(e airchange.Estimate) AirChange {
	if !e.Known {
		return AirChange{Why: e.Why}
	}
	return AirChange{PerHour: rounded(e.PerHour), Low: rounded(e.Low), High: rounded(e.High), Why: e.Method}
}

func whole(x *float64) *float64 {
	if x == nil {
		return nil
	}
	y := round(*x, 0)
	return &y
}
