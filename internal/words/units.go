package words

import "fmt"

// UnitDoubt says that a logger's figures cannot be in their unit, and, as a
// clause, what to do; value is its greatest humidity in %RH, or its mean
// temperature in C.
func UnitDoubt(kind, logger string, value float64) (finding, step string) {
	switch kind {
	case "humidity_as_fraction":
		finding = fmt.Sprintf("Logger %s reported no humidity over %s %%RH: the air of a house is never so dry.", logger,
			Fixed(value, 2))
		step = "send the humidity of logger " + logger + " in per cent; " +
			"if these are fractions (0 to 1), say so in the mapping"
	case "temperature_in_fahrenheit":
		finding = fmt.Sprintf("Logger %s reported a mean of %s °C over weeks: no air about a house is so warm.", logger,
			Fixed(value, 1))
		step = "send the temperature of logger " + logger + " in Celsius; if this is Fahrenheit, say so in the mapping"
	default:
		finding = fmt.Sprintf("Logger %s reported indoor air under %s %%RH for days: rooms that people live in are not so "+
			"dry.", logger, Whole(value))
		step = "check the unit and the probe of logger " + logger
	}
	return finding + " Nothing is concluded from this logger.", step
}

// Untold says that nights and hours at a surface cannot be told, since the
// figures of a logger behind them cannot be right.
func Untold(where string) string {
	return "Whether water formed " + where + " cannot be told: the figures of a logger cannot be right."
}
