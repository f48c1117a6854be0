// Package casefile converts a case file, the YAML that describes one property
// under investigation, to a roof.Case and back. A faulty file is refused with
// all of its faults, each with its key and line.
package casefile

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // so that a zone's being known never depends on the machine

	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

// maxBytes is the largest case file that is read (contract, section 5).
const maxBytes = 1 << 20

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
	doc := strictyaml.Parse(name, data, maxBytes)
	c := &roof.Case{Property: roof.Property{Zone: time.UTC}} // also of a file with faults
	known := &met{zone: time.UTC, place: map[string]roof.Place{}}
	known.read(doc.Root(), func(s *section) { s.whole(c) })
	return c, doc.Faults()
}

// Format writes a case as a case file that Parse reads back to an equal case.
// Unknown values are left out. A case that no file can say (a bad id, an
// unknown zone) is an error.
func Format(c *roof.Case) ([]byte, error) {
	lines := (&met{}).write(func(s *section) { s.whole(c) })
	out := []byte(strings.Join(lines, "\n") + "\n")
	if _, faults := Parse(c.ID+".yaml", out); len(faults) > 0 {
		return nil, fmt.Errorf("writing the case file of %q: %w", c.ID, faults)
	}
	return out, nil
}

func (s *section) whole(c *roof.Case) {
	s.key("case", "give the case a name of a-z, 0-9 and -, such as larkfield-9", text(c.ID), func(n strictyaml.Node) {
		var ok bool
		if c.ID, ok = n.Text(); ok && !roof.ValidCaseID(c.ID) {
			n.Fault(quoted(c.ID)+" cannot name a case", "write 1 to 64 of a-z, 0-9 and -")
		}
	})
	s.block("property", "give at least timezone, such as Europe/London, under it",
		func(s *section) { s.property(&c.Property) })
	s.block("roof", "", func(s *section) { s.build(&c.Roof) })
	s.positions(c)
	s.loggers(c)
	list(s, "events", false, &c.Events, (*section).event)
	list(s, "excluded", false, &c.Excluded, (*section).excluded)
	list(s, "views", false, &c.Views, (*section).view)
	s.inline("planned", func(s *section) { s.planned(&c.Planned) })
	s.block("contacts", "", func(s *section) { s.contacts(&c.Contacts) })
	s.inline("consultant", func(s *section) { s.person(&c.Adviser) })
	s.block("alerts", "", func(s *section) { s.alerts(&c.Alerts) })
}

func (s *section) property(p *roof.Property) {
	s.label("label", &p.Label, 300)
	s.key("timezone", "write the property's IANA zone, such as Europe/London; nights run noon to noon there",
		text(p.Timezone), func(n strictyaml.Node) {
			name, ok := n.Text()
			if !ok {
				return
			}
			loc, err := roof.ZoneOf(name)
			if err != nil || name == "" || name == "Local" {
				n.Fault(quoted(name)+" is not a known time zone", "write an IANA name such as Europe/London or Europe/Berlin")
				return
			}
			p.Timezone, p.Zone, s.zone = name, loc, loc
		})
	s.number("altitude_m", &p.AltitudeM, -500, 9000)
	s.key("completed", "", date(p.Completed, p.Zone), func(n strictyaml.Node) {
		if at, ok := s.timeAt(n); ok {
			p.Completed = &at
		}
	})
}

func (s *section) build(b *roof.Build) {
	s.number("pitch_deg", &b.PitchDeg, 0, 90)
	s.number("span_m", &b.SpanM, 0.1, 500)
	s.number("length_m", &b.LengthM, 0.1, 2000)
	s.word("shape", &b.Shape, "duopitch", "monopitch")
	s.inline("covering", func(s *section) {
		s.label("material", &b.Covering.Material, 300)
		s.word("air", &b.Covering.Air, "open", "closed")
	})
	s.inline("underlay", func(s *section) {
		s.word("class", &b.Underlay.Class, "HR", "LR", "none")
		s.answer("air_permeable", &b.Underlay.AirPermeable)
		s.number("sd_m", &b.Underlay.SdM, 0, 1e6)
		s.number("drape_mm", &b.Underlay.DrapeMM, 0, 1000)
		s.word("laps", &b.Underlay.Laps, "taped", "lapped")
		s.answer("over_ridge", &b.Underlay.OverRidge)
	})
	s.word("battens", &b.Battens, "single", "counter")
	s.number("counter_batten_mm", &b.CounterBattenMM, 0, 1000)
	s.number("batten_depth_mm", &b.BattenDepthMM, 0, 1000)
	s.openings("openings_mm", &b.Openings)
	s.inline("ceiling", func(s *section) {
		s.answer("sealed", &b.Ceiling.Sealed)
		lights := ""
		if b.Ceiling.Downlights != nil {
			lights = strconv.Itoa(*b.Ceiling.Downlights)
		}
		s.key("downlights", "", lights, func(n strictyaml.Node) {
			if n.Is("unknown") {
				return
			}
			if lights, ok := n.Whole(0, 10_000); ok {
				b.Ceiling.Downlights = &lights
			}
		})
		s.answer("vapour_control_layer", &b.Ceiling.VapourControlLayer)
	})
	s.word("insulation", &b.Insulation, "ceiling", "rafter", "none")
	s.answer("eaves_clear", &b.EavesClear)
	s.word("fixings", &b.Fixings, "galvanised", "stainless", "copper", "aluminium")
	s.key("rule_set", "", text(b.RuleSet), func(n strictyaml.Node) { b.RuleSet = ident(n, "a rule set") })
	list(s, "layers", false, &b.Layers, func(s *section, l *roof.Layer) {
		name := text(l.Name)
		if name == "" {
			name = `""` // the key must be there
		}
		s.key("name", "say what the layer is, such as mineral wool", name, func(n strictyaml.Node) { l.Name = label(n, 300) })
		s.given("thickness_mm", &l.ThicknessMM, 0, 5000)
		s.given("conductivity_w_mk", &l.ConductivityWMK, 0, 1000)
		s.given("resistance_m2kw", &l.ResistanceM2KW, 0, 1000)
		s.given("mu", &l.Mu, 0, 1e7)
		s.given("sd_m", &l.SdM, 0, 1e6)
	})
}

// openings are slots of the roof, mm of continuous slot.
func (s *section) openings(key string, o *roof.Openings) {
	s.inline(key, func(s *section) {
		s.number("loft_eaves", &o.LoftEavesMM, 0, 10_000)
		s.number("loft_ridge", &o.LoftRidgeMM, 0, 10_000)
		s.number("void_eaves", &o.VoidEavesMM, 0, 10_000)
		s.number("void_ridge", &o.VoidRidgeMM, 0, 10_000)
	})
}

func (s *section) planned(p *roof.Planned) {
	s.word("work", &p.Work, roof.PlannedWorks()...)
	for _, x := range []struct {
		key string
		to  **float64
	}{{"void_eaves", &p.Opened.VoidEavesMM}, {"void_ridge", &p.Opened.VoidRidgeMM},
		{"loft_eaves", &p.Opened.LoftEavesMM}, {"loft_ridge", &p.Opened.LoftRidgeMM}} {
		s.number(x.key, x.to, 0, roof.MostPlannedMM)
	}
	s.number("house_left_pct", &p.HouseLeftPct, roof.LeastHouseLeftPct, 100)
}

var places = []string{"indoor_air", "loft_air", "batten_void_air", "covering_underside", "underlay_underside", "timber",
	"outdoor_air", "other"}

func (s *section) positions(c *roof.Case) {
	var meets []strictyaml.Node
	lines := map[string]int{}
	list(s, "positions", false, &c.Positions, func(s *section, p *roof.Position) {
		s.id(&p.ID, "name the position with 1 to 64 of A-Z, a-z, 0-9, . _ -", "a position")
		one(s, "place", "write one of "+strings.Join(places, ", "), &p.Place, places...)
		s.key("meets", "", text(p.Meets), func(n strictyaml.Node) {
			p.Meets, _ = n.Text()
			meets = append(meets, n)
		})
		untouched := ""
		if p.Untouched {
			untouched = "true"
		}
		s.key("untouched", "", untouched, func(n strictyaml.Node) { p.Untouched, _ = n.YesNo() })
		s.label("material", &p.Material, 300)
		s.word("mould_class", &p.MouldClass, "very_sensitive", "sensitive", "medium_resistant", "resistant")
		if s.task == reading && unique(s.m.Get("id"), p.ID, lines) {
			s.place[p.ID] = p.Place
		}
	})
	for i, n := range meets {
		s.checkMeets(n, c.Positions[i])
	}
}

func (s *section) checkMeets(n strictyaml.Node, p roof.Position) {
	if p.Meets == "" {
		return
	}
	met, known := s.place[p.Meets]
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

func (s *section) event(e *roof.Event) {
	s.instant("at", "write when it happened, such as 2026-12-20T12:00:00Z", &e.At)
	one(s, "kind", "write one of repair, note, inspection, weather", &e.Kind, "repair", "note", "inspection", "weather")
	s.label("what", &e.What, 10_000)
	words(s, "treats", &e.Treats, s.position)
	words(s, "changes", &e.Changes, func(n strictyaml.Node) (string, bool) {
		return n.Word("loft_ventilation", "void_ventilation", "ceiling", "underlay", "water_entry", "household")
	})
	s.key("uncertain_h", "", given(e.Uncertain.Hours()), func(n strictyaml.Node) {
		h, _ := n.Number(0, 8784)
		e.Uncertain = toMillisecond(h * 3600)
	})
	changes := len(s.keys)
	s.openings("opened_mm", &e.Opened)
	s.word("battens", &e.Battens, "single", "counter")
	s.number("counter_batten_mm", &e.CounterBattenMM, 0, 1000)
	s.answer("sealed", &e.Sealed)
	words(s, "kept_in_place", &e.KeptInPlace, s.position)
	leak := string(e.Leak)
	s.word("leak", &leak, string(roof.RainLeak), string(roof.PlumbingLeak))
	e.Leak = roof.Leak(leak)
	seen := len(s.keys)
	s.answer("after_rain", &e.AfterRain)
	s.answer("wet", &e.Wet)
	if s.task != reading {
		return
	}
	if e.Kind != roof.Repair {
		s.refuse(s.keys[changes:seen], "stands at an event that is no repair",
			"only a repair changes the roof; write kind: repair or leave it out")
	}
	if e.Kind != roof.Inspection {
		s.refuse(s.keys[seen:], "stands at an event that is no inspection",
			"only an inspection says what was seen; write kind: inspection or leave it out")
	}
}

// excluded is a stretch left out of all evidence; without a reason it is refused.
func (s *section) excluded(x *roof.Excluded) {
	s.instant("from", "write when the stretch begins, such as 2026-12-20T12:00:00Z", &x.From)
	s.instant("to", "write when the stretch ends, such as 2026-12-21T09:00:00Z", &x.To)
	s.key("position", "", text(x.Position), func(n strictyaml.Node) { x.Position, _ = s.position(n) })
	s.key("reason", "write why the readings are left out", text(x.Reason),
		func(n strictyaml.Node) { x.Reason = label(n, 1000) })
	if s.task == reading && !x.From.IsZero() && !x.To.IsZero() && !x.To.After(x.From) {
		s.m.Get("to").Fault("is not after its from", "write when the stretch ends")
	}
}

// view is a chart's view under a name.
func (s *section) view(v *roof.View) {
	s.key("name", "write the name under which the view is kept", text(v.Name),
		func(n strictyaml.Node) { v.Name = label(n, 200) })
	s.key("chart", "write the part of the chart's address behind the question mark", text(v.Query),
		func(n strictyaml.Node) { v.Query = label(n, 4000) })
}

// refuse faults each of the keys that is there.
func (s *section) refuse(keys []string, what, remedy string) {
	for _, key := range keys {
		if n := s.m.Get(key); n.Present() {
			n.Fault(what, remedy)
		}
	}
}

// position reads the name of one that the case has.
func (s *section) position(n strictyaml.Node) (string, bool) {
	id, ok := n.Text()
	if _, known := s.place[id]; ok && !known {
		n.Fault(quoted(id)+" is not a position of this case", "name a position listed under positions")
	}
	return id, ok
}
