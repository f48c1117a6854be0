package words

// curves name the quantities that a chart can show, by their keys in its address.
var curves = map[string]string{
	"temp":              "temperature",
	"rh":                "relative humidity",
	"dew_point":         "dew point",
	"frost_point":       "frost point",
	"vapour_pressure":   "vapour pressure",
	"absolute_humidity": "absolute humidity",
	"margin":            "margin",
	"vapour_excess":     "vapour pressure over outdoors",
	"wood":              "wood moisture",
	"rain":              "rain",
	"wind":              "wind",
	"sun":               "sun",
}

// Curve names a quantity of a chart by its key.
func Curve(key string) string { return curves[key] }
