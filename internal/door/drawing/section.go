package drawing

import (
	"dewcase/internal/door/picture"
	"dewcase/internal/roof"
)

// Section is the roof cut open as surveyed, without values.
func Section(b roof.Build) picture.Section {
	slot := func(mm *float64) picture.Slot {
		if mm == nil {
			return picture.Slot{}
		}
		return picture.Slot{MM: *mm, Known: true}
	}
	return picture.Section{ID: "report-section", PitchDeg: b.PitchDeg, Underlay: b.Underlay.Class, Battens: b.Battens,
		Insulation: b.Insulation,
		LoftEaves:  slot(b.Openings.LoftEavesMM), LoftRidge: slot(b.Openings.LoftRidgeMM),
		VoidEaves: slot(b.Openings.VoidEavesMM), VoidRidge: slot(b.Openings.VoidRidgeMM),
		Covering: b.Covering.Material}
}
