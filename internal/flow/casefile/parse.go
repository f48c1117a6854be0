// Package casefile converts a case file, the YAML that describes one property
// under investigation, to a roof.Case and back. A faulty file is refused with
// all of its faults, each with its key and line.
package casefile

import (
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // so that a zone's being known never depends on the machine

	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

// MaxBytes is the largest case file that is read (contract, section 5).
const MaxBytes = 1 << 20

// Parse reads a case file; name stands before each fault. The case is nil when
// there is any fault.
//
// Fittings come back in time order, and one without an end that another
// follows gets that one's start as its end: a logger is in one place at a time.
func Parse(name string, data []byte) (*roof.Case, roof.Faults) {
	c, faults := parse(name, data)
	if len(faults) > 0 {
		return nil, faults
	}
	return c, nil
}

// ParseKept reads a case file that is in force already: what an earlier version
// of the program took stays in force, since leaving its house out would reject
// that house's readings. The next change of the file is read by Parse.
func ParseKept(name string, data []byte) (*roof.Case, roof.Faults) {
	c, faults := parse(name, data)
	faults = slices.DeleteFunc(faults, func(f roof.Fault) bool { return f.Key == "contacts.language" })
	if len(faults) > 0 {
		return nil, faults
	}
	return c, nil
}

func parse(name string, data []byte) (*roof.Case, roof.Faults) {
	doc := strictyaml.Parse(name, data, MaxBytes)
	r := &reader{zone: time.UTC, place: map[string]roof.Place{}}
	return r.readCase(doc.Root()), doc.Faults()
}

// reader carries what later keys are checked against.
type reader struct {
	zone  *time.Location
	place map[string]roof.Place // of each position, known by id; "" when its place is faulty
}

func (r *reader) readCase(n strictyaml.Node) *roof.Case {
	m := n.Map("case", "property", "roof", "positions", "loggers", "events", "contacts", "alerts")
	if !m.Present() {
		return nil
	}
	c := &roof.Case{}
	c.ID = caseID(m.Need("case", "give the case a name of a-z, 0-9 and -, such as larkfield-9"))
	c.Property = r.property(m.Need("property", "give at least timezone, such as Europe/London, under it"))
	c.Roof = build(m.Get("roof"))
	c.Positions = r.positions(m.Get("positions"))
	c.Loggers = r.loggers(m.Get("loggers"))
	c.Events = r.events(m.Get("events"))
	c.Contacts = contacts(m.Get("contacts"))
	c.Alerts = alerts(m.Get("alerts"))
	return c
}

func caseID(n strictyaml.Node) string {
	id, ok := n.Text()
	if ok && !roof.ValidCaseID(id) {
		n.Fault(quoted(id)+" cannot name a case", "write 1 to 64 of a-z, 0-9 and -")
	}
	return id
}

func (r *reader) property(n strictyaml.Node) (p roof.Property) {
	p.Zone = time.UTC // also of a file with faults: a property always has a zone
	m := n.Map("label", "timezone", "altitude_m", "completed")
	p.Label = label(m.Get("label"), 300)
	zone := m.Need("timezone", "write the property's IANA zone, such as Europe/London; nights run noon to noon there")
	if name, ok := zone.Text(); ok {
		loc, err := time.LoadLocation(name)
		switch {
		case err != nil || name == "" || name == "Local":
			zone.Fault(quoted(name)+" is not a known time zone", "write an IANA name such as Europe/London or Europe/Berlin")
		default:
			p.Timezone, p.Zone, r.zone = name, loc, loc
		}
	}
	p.AltitudeM = number(m.Get("altitude_m"), -500, 9000)
	if at, ok := r.instant(m.Get("completed")); ok {
		p.Completed = &at
	}
	return p
}

func build(n strictyaml.Node) (b roof.Build) {
	m := n.Map("pitch_deg", "span_m", "length_m", "shape", "covering", "underlay", "battens", "counter_batten_mm",
		"batten_depth_mm", "openings_mm", "ceiling", "insulation", "eaves_clear", "fixings", "rule_set", "layers")
	b.PitchDeg = number(m.Get("pitch_deg"), 0, 90)
	b.SpanM = number(m.Get("span_m"), 0.1, 500)
	b.LengthM = number(m.Get("length_m"), 0.1, 2000)
	b.Shape = word(m.Get("shape"), "duopitch", "monopitch")
	b.Battens = word(m.Get("battens"), "single", "counter")
	b.CounterBattenMM = number(m.Get("counter_batten_mm"), 0, 1000)
	b.BattenDepthMM = number(m.Get("batten_depth_mm"), 0, 1000)
	b.Insulation = word(m.Get("insulation"), "ceiling", "rafter", "none")
	b.EavesClear = answer(m.Get("eaves_clear"))
	b.Fixings = word(m.Get("fixings"), "galvanised", "stainless", "copper", "aluminium")
	b.RuleSet = ident(m.Get("rule_set"), "a rule set")

	covering := m.Get("covering").Map("material", "air")
	b.Covering.Material = label(covering.Get("material"), 300)
	b.Covering.Air = word(covering.Get("air"), "open", "closed")

	underlay := m.Get("underlay").Map("class", "air_permeable", "sd_m", "drape_mm", "laps", "over_ridge")
	b.Underlay.Class = word(underlay.Get("class"), "HR", "LR", "none")
	b.Underlay.AirPermeable = answer(underlay.Get("air_permeable"))
	b.Underlay.SdM = number(underlay.Get("sd_m"), 0, 1e6)
	b.Underlay.DrapeMM = number(underlay.Get("drape_mm"), 0, 1000)
	b.Underlay.Laps = word(underlay.Get("laps"), "taped", "lapped")
	b.Underlay.OverRidge = answer(underlay.Get("over_ridge"))

	b.Openings = openings(m.Get("openings_mm"))

	ceiling := m.Get("ceiling").Map("sealed", "downlights", "vapour_control_layer")
	b.Ceiling.Sealed = answer(ceiling.Get("sealed"))
	if n := ceiling.Get("downlights"); !isUnknown(n) {
		if lights, ok := n.Whole(0, 10_000); ok {
			b.Ceiling.Downlights = &lights
		}
	}
	b.Ceiling.VapourControlLayer = answer(ceiling.Get("vapour_control_layer"))
	b.Layers = layers(m.Get("layers"))
	return b
}

// openings reads slots of the roof, mm of continuous slot.
func openings(n strictyaml.Node) (o roof.Openings) {
	m := n.Map("loft_eaves", "loft_ridge", "void_eaves", "void_ridge")
	o.LoftEavesMM = number(m.Get("loft_eaves"), 0, 10_000)
	o.LoftRidgeMM = number(m.Get("loft_ridge"), 0, 10_000)
	o.VoidEavesMM = number(m.Get("void_eaves"), 0, 10_000)
	o.VoidRidgeMM = number(m.Get("void_ridge"), 0, 10_000)
	return o
}

func layers(n strictyaml.Node) (out []roof.Layer) {
	for _, entry := range n.List() {
		m := entry.Map("name", "thickness_mm", "conductivity_w_mk", "resistance_m2kw", "mu", "sd_m")
		l := roof.Layer{Name: label(m.Need("name", "say what the layer is, such as mineral wool"), 300)}
		for _, part := range []struct {
			key  string
			to   *float64
			high float64
		}{
			{"thickness_mm", &l.ThicknessMM, 5000}, {"conductivity_w_mk", &l.ConductivityWMK, 1000},
			{"resistance_m2kw", &l.ResistanceM2KW, 1000}, {"mu", &l.Mu, 1e7}, {"sd_m", &l.SdM, 1e6},
		} {
			if x, ok := m.Get(part.key).Number(0, part.high); ok {
				*part.to = x
			}
		}
		out = append(out, l)
	}
	return out
}

func (r *reader) positions(n strictyaml.Node) (out []roof.Position) {
	var meets []strictyaml.Node
	lines := map[string]int{}
	for _, entry := range n.List() {
		m := entry.Map("id", "place", "meets", "untouched", "material", "mould_class")
		p := roof.Position{ID: ident(m.Need("id", "name the position with 1 to 64 of A-Z, a-z, 0-9, . _ -"), "a position")}
		place, _ := m.Need("place", "write one of "+strings.Join(places, ", ")).Word(places...)
		p.Place = roof.Place(place)
		p.Meets, _ = m.Get("meets").Text()
		if yes, ok := m.Get("untouched").YesNo(); ok {
			p.Untouched = yes
		}
		p.Material = label(m.Get("material"), 300)
		p.MouldClass = word(m.Get("mould_class"), "very_sensitive", "sensitive", "medium_resistant", "resistant")
		if unique(m.Get("id"), p.ID, lines) {
			r.place[p.ID] = p.Place
		}
		out = append(out, p)
		meets = append(meets, m.Get("meets"))
	}
	for i, p := range out {
		r.checkMeets(meets[i], p)
	}
	return out
}

var places = []string{"indoor_air", "loft_air", "batten_void_air", "covering_underside", "underlay_underside", "timber",
	"outdoor_air", "other"}

func (r *reader) checkMeets(n strictyaml.Node, p roof.Position) {
	if p.Meets == "" {
		return
	}
	met, known := r.place[p.Meets]
	switch {
	case p.Place.IsAir():
		n.Fault("stands at a position of air", "only a surface meets air; leave meets out here")
	case !known:
		n.Fault(quoted(p.Meets)+" is not a position of this case",
			"name a position listed under positions whose place is air")
	case met != "" && !met.IsAir():
		n.Fault(quoted(p.Meets)+" is not air but "+string(met), "name the air position whose moisture meets this surface")
	}
}

func (r *reader) events(n strictyaml.Node) (out []roof.Event) {
	for _, entry := range n.List() {
		m := entry.Map("at", "kind", "what", "treats", "changes", "uncertain_h", "opened_mm", "battens", "counter_batten_mm",
			"sealed")
		var e roof.Event
		e.At, _ = r.instant(m.Need("at", "write when it happened, such as 2026-12-20T12:00:00Z"))
		kind, _ := m.Need("kind", "write one of repair, note, inspection, weather").Word("repair", "note", "inspection",
			"weather")
		e.Kind = roof.EventKind(kind)
		e.What = label(m.Get("what"), 10_000)
		for _, t := range m.Get("treats").List() {
			if id, ok := t.Text(); ok {
				r.known(t, id)
				e.Treats = append(e.Treats, id)
			}
		}
		for _, ch := range m.Get("changes").List() {
			if w, ok := ch.Word("loft_ventilation", "void_ventilation", "ceiling", "underlay", "water_entry", "household"); ok {
				e.Changes = append(e.Changes, roof.Change(w))
			}
		}
		if h, ok := m.Get("uncertain_h").Number(0, 8784); ok {
			e.Uncertain = hours(h)
		}
		e.Opened = openings(m.Get("opened_mm"))
		e.Battens = word(m.Get("battens"), "single", "counter")
		e.CounterBattenMM = number(m.Get("counter_batten_mm"), 0, 1000)
		e.Sealed = answer(m.Get("sealed"))
		for _, key := range []string{"opened_mm", "battens", "counter_batten_mm", "sealed"} {
			if n := m.Get(key); n.Present() && e.Kind != roof.Repair {
				n.Fault("stands at an event that is no repair",
					"only a repair changes the roof; write kind: repair or leave it out")
			}
		}
		out = append(out, e)
	}
	return out
}

// known notes a position that the case does not have.
func (r *reader) known(n strictyaml.Node, id string) {
	if _, ok := r.place[id]; !ok {
		n.Fault(quoted(id)+" is not a position of this case", "name a position listed under positions")
	}
}
