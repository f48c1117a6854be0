package words

import "fmt"

// UnitDoubt says that a logger's figures cannot be in their unit, and asks; value
// is its greatest humidity in %RH, or its mean temperature in C.
func UnitDoubt(kind, logger string, value float64) string {
	switch kind {
	case "humidity_as_fraction":
		return fmt.Sprintf("Logger %s: every humidity is %.2f %%RH or less, which no air in a house is. Are these "+
			"fractions (0 to 1)? Send them in per cent, or give the unit in the mapping. Nothing is concluded from this logger.",
			logger, value)
	case "temperature_in_fahrenheit":
		return fmt.Sprintf("Logger %s: its mean of %.1f °C over weeks cannot be. Is it in Fahrenheit? Send it in Celsius, "+
			"or give the unit in the mapping. Nothing is concluded from this logger.", logger, value)
	}
	return fmt.Sprintf("Logger %s: indoor air stayed under %.0f %%RH for days, which rooms that people live in do not. "+
		"Check its unit and its probe. Nothing is concluded from this logger.", logger, value)
}

// Untold says that nights and hours at a surface cannot be told, since the
// figures of a logger behind them cannot be.
func Untold(where string) string {
	return "Whether water formed " + where + " cannot be told: the figures of a logger cannot be."
}
