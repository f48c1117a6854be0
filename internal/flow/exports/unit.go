package exports

import (
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

// unit is what a column of numbers is measured in.
type unit string

// The units that occur in exports.
const (
	celsius       = unit(payload.Celsius)
	fahrenheit    = unit(payload.Fahrenheit)
	kelvin        = unit(payload.Kelvin)
	percent       = unit(payload.Percent)
	fraction      = unit(payload.Fraction)
	millimetre    = unit(payload.Millimetre)
	metreSecond   = unit(payload.MetreSecond)
	kilometreHour = unit(payload.KilometreHour)
	wattMetre2    = unit(payload.WattMetre2)
	inch          = unit("in")
	mileHour      = unit("mph")
	knot          = unit("kn")
)

// of reports whether the quantity can be measured in the unit.
func (u unit) of(q roof.Quantity) bool {
	switch q {
	case roof.TempC:
		return u == celsius || u == fahrenheit || u == kelvin
	case roof.RHPct, roof.WoodPct:
		return u == percent || u == fraction
	case roof.RainMM:
		return u == millimetre || u == inch
	case roof.WindMS:
		return u == metreSecond || u == kilometreHour || u == mileHour || u == knot
	case roof.SunWM2:
		return u == wattMetre2
	}
	return false
}

// convert gives a number in the unit of our quantity: 1 in = 25.4 mm, 1 mile =
// 1609.344 m, 1 nautical mile = 1852 m, all exact (NIST SP 811, appendix B.8).
func (u unit) convert(x float64) float64 {
	switch u {
	case inch:
		return payload.Tidy(x * 25.4)
	case mileHour:
		return payload.Tidy(x * 0.44704)
	case knot:
		return payload.Tidy(x * 1852 / 3600)
	}
	return payload.Unit(u).Convert(x)
}
