package web

import (
	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/roof"
	"dewcase/internal/words"
	"time"
)

var sectionPlaces = map[roof.Place]picture.Place{
	roof.IndoorAir: picture.AtIndoors, roof.LoftAir: picture.AtLoft, roof.UnderlayUnderside: picture.AtUnderlay,
	roof.BattenVoidAir: picture.AtVoid, roof.CoveringUnderside: picture.AtCovering, roof.Timber: picture.AtTimber,
	roof.OutdoorAir: picture.AtOutdoors,
}

// section cuts the roof of a time open, with the loggers' last values.
func section(c *roof.Case, at time.Time, latest []Latest) *picture.Scene {
	s := drawing.Section(c.RoofAt(at))
	s.ID = "section"
	for _, l := range latest {
		pos, ok := c.Position(l.Position)
		place, drawn := sectionPlaces[pos.Place]
		if !ok || !drawn || l.TempC == nil {
			continue
		}
		label := pos.ID + " " + words.Signed(*l.TempC) + " °C"
		if l.RHPct != nil {
			label += ", " + words.Percent(*l.RHPct/100) + " %"
		}
		s.Tags = append(s.Tags, picture.Tag{Place: place, Words: label})
	}
	return s.Scene()
}
