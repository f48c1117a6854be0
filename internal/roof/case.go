// Package roof defines the nouns of one investigated house: its case file, its
// positions and loggers, the readings they send with their flags, and the
// contract that every reading store keeps.
package roof

import (
	"slices"
	"time"
)

// Answer is an answer of the survey. The zero value is unknown, which is reported
// and never assumed.
type Answer string

// The three answers.
const (
	Unknown Answer = ""
	Yes     Answer = "yes"
	No      Answer = "no"
)

// Place is where in the roof a position lies.
type Place string

// The places a position can have.
const (
	IndoorAir         Place = "indoor_air"
	LoftAir           Place = "loft_air"
	BattenVoidAir     Place = "batten_void_air"
	CoveringUnderside Place = "covering_underside"
	UnderlayUnderside Place = "underlay_underside"
	Timber            Place = "timber"
	OutdoorAir        Place = "outdoor_air"
	Other             Place = "other"
)

// IsSurface reports whether water can form on the place. Surfaces are judged by
// their margin to the air that meets them.
func (p Place) IsSurface() bool {
	return p == CoveringUnderside || p == UnderlayUnderside || p == Timber
}

// Words returns the place's name in plain words.
func (p Place) Words() string {
	switch p {
	case IndoorAir:
		return "indoors"
	case LoftAir:
		return "loft"
	case BattenVoidAir:
		return "batten void"
	case CoveringUnderside:
		return "under the covering"
	case UnderlayUnderside:
		return "under the underlay"
	case Timber:
		return "on the timber"
	case OutdoorAir:
		return "outdoors"
	}
	return "elsewhere"
}

// IsAir reports whether the place is a body of air.
func (p Place) IsAir() bool {
	return p == IndoorAir || p == LoftAir || p == BattenVoidAir || p == OutdoorAir
}

// Case is one property under investigation, as described by its case file.
type Case struct {
	ID        string
	Property  Property
	Roof      Build
	Positions []Position
	Loggers   []Logger
	Events    []Event
	Contacts  Contacts
	Adviser   Person // the consultant, as the household is told
	Alerts    AlertSettings
	Planned   Planned
	Excluded  []Excluded
	Views     []View
}

// View is a chart's view that was kept under a name; the report shows it.
type View struct {
	Name  string
	Query string // of the chart's address
}

// Planned is work that is planned and not done: what it is to open and to spare. It
// changes no answer on the roof, only what is predicted of works. The zero value
// is none.
type Planned struct {
	Work         string   // a candidate of package predict; "" for none in particular
	Opened       Openings // mm; nil: as usual
	HouseLeftPct *float64 // of the rooms' vapour over outdoors; nil: as usual
}

// Bounds of what can be planned: beyond them nothing was tried.
const (
	MostPlannedMM     = 200.0 // of a slot
	LeastHouseLeftPct = 40.0
)

// Property is the house.
type Property struct {
	Label     string
	Timezone  string         // IANA name as written
	Zone      *time.Location // loaded from Timezone by casefile.Parse, never nil
	AltitudeM *float64       // nil: unknown, sea level is assumed and reported
	Completed *time.Time     // roof handed over; nil: unknown
}

// Build is the roof as surveyed. A nil number or an Unknown answer is unknown.
type Build struct {
	PitchDeg        *float64
	SpanM           *float64
	LengthM         *float64 // eaves length of one slope
	Shape           string   // "duopitch", "monopitch", "" unknown
	Covering        Covering
	Underlay        Underlay
	Battens         string // "single", "counter", "" unknown
	CounterBattenMM *float64
	BattenDepthMM   *float64
	Openings        Openings
	Ceiling         Ceiling
	Insulation      string // "ceiling", "rafter", "none", "" unknown
	EavesClear      Answer // insulation kept clear of the eaves openings
	Fixings         string // "galvanised", "stainless", "copper", "aluminium", "" unknown
	RuleSet         string // ventilation rules to compare with; "" takes the default
	Layers          []Layer
}

// Covering is the outer, rain-shedding layer of the roof.
type Covering struct {
	Material string
	Air      string // "open", "closed", "" unknown
}

// Underlay is the layer below the battens.
type Underlay struct {
	Class        string // "HR", "LR", "none", "" unknown
	AirPermeable Answer
	SdM          *float64 // vapour-diffusion-equivalent air layer, m
	DrapeMM      *float64
	Laps         string // "taped", "lapped", "" unknown
	OverRidge    Answer // carried over the ridge, closing it
}

// Openings are continuous-equivalent slots in mm; 0 is none, nil is unknown.
type Openings struct {
	LoftEavesMM, LoftRidgeMM, VoidEavesMM, VoidRidgeMM *float64
}

// Ceiling is the ceiling between house and loft.
type Ceiling struct {
	Sealed             Answer
	Downlights         *int
	VapourControlLayer Answer
}

// Layer is one layer of the build-up from indoors to outdoors.
type Layer struct {
	Name            string
	ThicknessMM     float64
	ConductivityWMK float64 // W/(m K); 0 when ResistanceM2KW is given
	ResistanceM2KW  float64 // m2 K/W
	Mu              float64 // vapour resistance factor; 0 when SdM is given
	SdM             float64 // m
}

// Position is a place in the roof where loggers are fitted.
type Position struct {
	ID         string
	Place      Place
	Meets      string // a surface's air position
	Untouched  bool   // left alone by the repair
	Material   string // of a surface, free text
	MouldClass string // sensitivity class: "very_sensitive", "sensitive", "medium_resistant", "resistant"; "" by place
}

// Logger is one instrument.
type Logger struct {
	ID       string
	Interval time.Duration // nominal; 0 unknown
	Accuracy Accuracy
	Fitted   []Fitting
	Offsets  []Offset
	Station  *Station // a weather station whose imported series stands in for outdoor air; nil is a logger of the house
}

// Station is where a weather station stands. A nil number is unknown.
type Station struct {
	Source            string // whose series it is, in words; "" not noted
	DistanceKM        *float64
	HeightDifferenceM *float64 // of the station above the house
}

// Accuracy is the accuracy stated by the maker. With K 0 the values are limits of a
// rectangular distribution, otherwise K standard uncertainties of a normal one. Nil
// is unknown.
type Accuracy struct {
	TempC, RHPct *float64
	K            float64
}

// Fitting is the position of a logger between two times. A zero To is open.
type Fitting struct {
	Position string
	From, To time.Time
}

// Offset is added to what a logger reports from From until the next offset.
type Offset struct {
	From               time.Time
	TempC, RHPct       float64
	Check              string   // what it was checked against
	TempUncC, RHUncPct *float64 // uncertainty of the check, same distribution as Accuracy
}

// EventKind is the kind of an event.
type EventKind string

// The kinds of event.
const (
	Repair     EventKind = "repair"
	Note       EventKind = "note"
	Inspection EventKind = "inspection"
	Weather    EventKind = "weather"
)

// Change is a property of the roof that a repair can change.
type Change string

// The changes a repair can declare.
const (
	LoftVentilation Change = "loft_ventilation"
	VoidVentilation Change = "void_ventilation"
	CeilingChange   Change = "ceiling"
	UnderlayChange  Change = "underlay"
	WaterEntry      Change = "water_entry"
	Household       Change = "household"
)

// Event is a dated remark of the case.
type Event struct {
	At        time.Time
	Kind      EventKind
	What      string
	Treats    []string      // positions a repair treats; empty: every surface
	Changes   []Change      // empty: inferred from Treats
	Uncertain time.Duration // +/- doubt about At; 0 none
	Opened    Openings      // what a repair opened: the slots since then; nil as before, or not said
	Battens   string        // since a repair: "single", "counter"; "" as before, or not said
	// CounterBattenMM is their depth since then; nil as before, or not said.
	CounterBattenMM *float64
	Sealed          Answer // the ceiling since a repair
	// KeptInPlace are positions whose loggers sit exactly where they sat before a
	// repair that lifted the covering or for which they were taken out.
	KeptInPlace    []string
	Leak           Leak   // what a repair of water entry mended; "" not said
	AfterRain, Wet Answer // of an inspection: heavy rain had fallen; the spot was wet
}

// Leak is where water came in from.
type Leak string

// The leaks that a repair can have mended.
const (
	RainLeak     Leak = "rain"
	PlumbingLeak Leak = "plumbing"
)

// Contacts holds the people who receive alerts.
type Contacts struct {
	Householder, Consultant []string // mail addresses
}

// Person is somebody whom people can call.
type Person struct{ Name, Telephone string }

// AlertSettings holds the thresholds of one case. Zero values mean the defaults.
type AlertSettings struct {
	WetHours           float64
	WetNights          int
	TimberPct          float64
	MouldIndex         float64
	SilentH            float64
	BatteryPct         float64
	QuietFrom, QuietTo string // "22:00", "07:00" in the property's zone
	EscalateH          float64
}

// Position returns the position with the id.
func (c *Case) Position(id string) (Position, bool) {
	for _, p := range c.Positions {
		if p.ID == id {
			return p, true
		}
	}
	return Position{}, false
}

// Logger returns the logger with the id.
func (c *Case) Logger(id string) (Logger, bool) {
	for _, l := range c.Loggers {
		if l.ID == id {
			return l, true
		}
	}
	return Logger{}, false
}

// Surfaces lists the positions where water can form, in the file's order.
func (c *Case) Surfaces() []Position {
	var out []Position
	for _, p := range c.Positions {
		if p.Place.IsSurface() {
			out = append(out, p)
		}
	}
	return out
}

// IsUntouched reports whether a repair left a position, or the air that meets it,
// as it was, so that the others can be compared with it.
func (c *Case) IsUntouched(p Position) bool {
	air, _ := c.Position(p.Meets)
	return p.Untouched || air.Untouched
}

// RepresentativeSurfaces returns the surfaces that stand for the house: the
// untouched ones only if there is no other.
func (c *Case) RepresentativeSurfaces() []Position {
	all := c.Surfaces()
	own := slices.DeleteFunc(slices.Clone(all), c.IsUntouched)
	if len(own) == 0 {
		return all
	}
	return own
}

// At lists the positions of one place, in the file's order.
func (c *Case) At(place Place) []Position {
	var out []Position
	for _, p := range c.Positions {
		if p.Place == place {
			out = append(out, p)
		}
	}
	return out
}

// Repairs lists the repair events in time order, whatever the order of the file.
func (c *Case) Repairs() []Event {
	var out []Event
	for _, e := range c.Events {
		if e.Kind == Repair {
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, func(a, b Event) int { return a.At.Compare(b.At) })
	return out
}
