package roof

import (
	"slices"
	"time"
)

// Works lists the repairs that were begun by a time, oldest first. The survey
// of a case is from before all of them.
func (c *Case) Works(by time.Time) []Event {
	return slices.DeleteFunc(c.Repairs(), func(e Event) bool { return e.At.After(by) })
}

// Alters lists what a repair can have changed: what it declares, else what the
// places that it treats let infer. Covering and void stand for the void's
// ventilation, loft and underlay for the loft's and the ceiling.
func (c *Case) Alters(e Event) []Change {
	if len(e.Changes) > 0 {
		return e.Changes
	}
	void, loft := false, false
	for _, id := range e.Treats {
		p, ok := c.Position(id)
		if !ok {
			continue
		}
		place := p.Place
		if air, ok := c.Position(p.Meets); ok && air.Place == LoftAir {
			place = LoftAir // a covering without a void below it
		}
		switch place {
		case CoveringUnderside, BattenVoidAir:
			void = true
		case LoftAir, UnderlayUnderside, Timber:
			loft = true
		}
	}
	var out []Change
	if loft || !void {
		out = append(out, LoftVentilation, CeilingChange)
	}
	if void || !loft {
		out = append(out, VoidVentilation)
	}
	return out
}

// PlannedWorks are the works that can be planned, by the names of the contract's
// predictions.
func PlannedWorks() []string {
	return []string{"void_vented", "loft_vented", "ceiling_sealed", "vents_and_ceiling", "drier_house"}
}

// Opens reports whether a repair at a time was said to open the void or the loft
// to outdoor air: declared among its changes, and not with slots that are all
// shut.
func (c *Case) Opens(at time.Time, ch Change) bool {
	for _, e := range c.Repairs() {
		if !e.At.Equal(at) || !slices.Contains(e.Changes, ch) {
			continue
		}
		slots := []*float64{e.Opened.VoidEavesMM, e.Opened.VoidRidgeMM}
		switch ch {
		case LoftVentilation:
			slots = []*float64{e.Opened.LoftEavesMM, e.Opened.LoftRidgeMM}
		case VoidVentilation:
		default:
			return false
		}
		said, open := false, false
		for _, mm := range slots {
			said, open = said || mm != nil, open || mm != nil && *mm > 0
		}
		if open || !said {
			return true
		}
	}
	return false
}

// RoofAt is the roof as it stood at a time: the survey, with what the works by
// then say of it. What a work changed without saying to what is not known.
func (c *Case) RoofAt(at time.Time) Build {
	b := c.Roof
	for _, e := range c.Works(at) {
		o := e.Opened
		loft, void := o.LoftEavesMM != nil || o.LoftRidgeMM != nil, o.VoidEavesMM != nil || o.VoidRidgeMM != nil
		for _, ch := range c.Alters(e) {
			switch {
			case ch == LoftVentilation && !loft:
				b.Openings.LoftEavesMM, b.Openings.LoftRidgeMM, b.EavesClear = nil, nil, Unknown
			case ch == VoidVentilation && !void:
				b.Openings.VoidEavesMM, b.Openings.VoidRidgeMM = nil, nil
				if e.Battens == "" {
					b.Battens, b.CounterBattenMM = "", nil
				}
			case ch == CeilingChange:
				b.Ceiling.Sealed = Unknown
			case ch == UnderlayChange:
				b.Underlay = Underlay{}
			}
		}
		for _, slot := range []struct{ to, from **float64 }{{&b.Openings.LoftEavesMM, &o.LoftEavesMM},
			{&b.Openings.LoftRidgeMM, &o.LoftRidgeMM}, {&b.Openings.VoidEavesMM, &o.VoidEavesMM},
			{&b.Openings.VoidRidgeMM, &o.VoidRidgeMM}} {
			if *slot.from != nil {
				*slot.to = *slot.from
			}
		}
		if e.Battens != "" && e.Battens != b.Battens {
			b.Battens, b.CounterBattenMM = e.Battens, nil
		}
		if e.CounterBattenMM != nil {
			b.CounterBattenMM = e.CounterBattenMM
		}
		if e.Sealed != Unknown {
			b.Ceiling.Sealed = e.Sealed
		}
	}
	return b
}
