package predict

import "dewcase/internal/roof"

// Plan is what the candidates would open and spare: slots in mm, at each eaves
// and in all at the ridge, and the share left of the house's vapour over
// outdoors.
type Plan struct {
	VoidEavesMM, VoidRidgeMM float64
	LoftEavesMM, LoftRidgeMM float64
	HouseLeft                float64
}

// DefaultPlan is what was tried: the void 25 and 10 mm, the loft 10 and 5 mm, a
// quarter less vapour in the house.
func DefaultPlan() Plan { return Plan{25, 10, 10, 5, 0.75} }

// PlanOf is what the case file plans, the rest as usual.
func PlanOf(c *roof.Case) Plan {
	p := DefaultPlan()
	take := func(to, from *float64) {
		if from != nil {
			*to = *from
		}
	}
	o := c.Planned.Opened
	take(&p.VoidEavesMM, o.VoidEavesMM)
	take(&p.VoidRidgeMM, o.VoidRidgeMM)
	take(&p.LoftEavesMM, o.LoftEavesMM)
	take(&p.LoftRidgeMM, o.LoftRidgeMM)
	if left := c.Planned.HouseLeftPct; left != nil {
		p.HouseLeft = *left / 100
	}
	return p
}
