package web

import (
	"dewcase/internal/picture"
	"dewcase/internal/roof"
)

var sectionPlaces = map[roof.Place]picture.Place{
	roof.IndoorAir: picture.AtIndoors, roof.LoftAir: picture.AtLoft, roof.UnderlayUnderside: picture.AtUnderlay,
	roof.BattenVoidAir: picture.AtVoid, roof.CoveringUnderside: picture.AtCovering, roof.Timber: picture.AtTimber, roof.OutdoorAir: picture.AtOutdoors,
}

// section cuts the surveyed roof open, with the loggers' last values.
func section(c *roof.Case, latest []Latest) *picture.Scene {
	slot := func(mm *float64) picture.Slot {
		if mm == nil {
			return picture.Slot{}
		}
		return picture.Slot{MM: *mm, Known: true}
	}
	b := c.Roof
	s := picture.Section{ID: "section", PitchDeg: b.PitchDeg, Underlay: b.Underlay.Class, Battens: b.Battens, Insulation: b.Insulation,
		LoftEaves: slot(b.Openings.LoftEavesMM), LoftRidge: slot(b.Openings.LoftRidgeMM), VoidEaves: slot(b.Openings.VoidEavesMM), VoidRidge: slot(b.Openings.VoidRidgeMM),
		Covering: b.Covering.Material}
	for _, l := range latest {
		pos, ok := c.Position(l.Position)
		place, drawn := sectionPlaces[pos.Place]
		if !ok || !drawn || l.TempC == nil {
			continue
		}
		words := pos.ID + " " + signed(*l.TempC) + " °C"
		if l.RHPct != nil {
			words += ", " + percent(*l.RHPct/100) + " %"
		}
		s.Tags = append(s.Tags, picture.Tag{Place: place, Words: words})
	}
	return s.Scene()
}
