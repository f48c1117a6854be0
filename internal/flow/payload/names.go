package payload

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"dewcase/internal/roof"
)

// quantityWords are words by which keys and topics name a quantity, in the
// languages that loggers' programs are written in; common practice.
var quantityWords = plainKeys(map[string]roof.Quantity{
	"temperatuur": roof.TempC, "teplota": roof.TempC, "температура": roof.TempC, "lufttemperatur": roof.TempC,
	"feuchtigkeit": roof.RHPct, "umidade": roof.RHPct, "humidade": roof.RHPct, "rf": roof.RHPct, "vochtigheid": roof.RHPct,
	"luchtvochtigheid": roof.RHPct, "fuktighet": roof.RHPct, "luftfuktighet": roof.RHPct, "fugtighed": roof.RHPct,
	"luftfugtighed": roof.RHPct, "kosteus": roof.RHPct, "ilmankosteus": roof.RHPct, "wilgotność": roof.RHPct,
	"vlhkost": roof.RHPct, "влажность": roof.RHPct, "niederschlag": roof.RainMM, "pluie": roof.RainMM,
	"lluvia": roof.RainMM, "pioggia": roof.RainMM, "neerslag": roof.RainMM, "nederbörd": roof.RainMM,
	"temperature": roof.TempC, "temp": roof.TempC, "temps": roof.TempC, "tmp": roof.TempC, "temperatur": roof.TempC,
	"temperatura": roof.TempC, "lampotila": roof.TempC, "tc": roof.TempC, "tf": roof.TempC,
	"tempc": roof.TempC, "tempf": roof.TempC, "celsius": roof.TempC,
	"t":        roof.TempC,
	"humidity": roof.RHPct, "hum": roof.RHPct, "humid": roof.RHPct, "rh": roof.RHPct, "relh": roof.RHPct,
	"luftfeuchte": roof.RHPct, "luftfeuchtigkeit": roof.RHPct, "feuchte": roof.RHPct, "humedad": roof.RHPct,
	"humidite": roof.RHPct, "umidita": roof.RHPct, "h": roof.RHPct,
	"battery": roof.BatteryPct, "batt": roof.BatteryPct, "bat": roof.BatteryPct, "batterie": roof.BatteryPct,
	"rain": roof.RainMM, "rainfall": roof.RainMM, "precipitation": roof.RainMM, "regen": roof.RainMM,
	"wood": roof.WoodPct, "wme": roof.WoodPct, "moisture": roof.WoodPct, "holzfeuchte": roof.WoodPct,
	"wind": roof.WindMS, "windspeed": roof.WindMS,
	"solar": roof.SunWM2, "irradiance": roof.SunWM2, "radiation": roof.SunWM2, "sun": roof.SunWM2, "ghi": roof.SunWM2,
})

// otherWords beside a quantity's word say that it is something else: derived, a
// setting, or of the device itself.
var otherWords = map[string]bool{"dew": true, "dewpoint": true, "frost": true, "heat": true, "heatindex": true,
	"feels": true, "apparent": true, "chill": true, "windchill": true, "cpu": true, "chip": true, "soc": true,
	"board": true, "core": true, "internal": true, "target": true, "setpoint": true, "set": true, "threshold": true,
	"min": true, "max": true, "minimum": true, "maximum": true, "limit": true, "alarm": true, "alert": true,
	"calibration": true, "offset": true, "comfort": true, "abs": true, "absolute": true, "gust": true, "dir": true,
	"direction": true, "deg": true, "low": true, "voltage": true, "volt": true, "volts": true, "mv": true, "v": true,
	"ok": true, "unit": true, "units": true, "type": true, "id": true, "status": true, "total": true, "rate": true,
	"soil": true, "trend": true, "count": true, "time": true, "lux": true, "taupunkt": true, "rosee": true, "rocio": true,
	"rugiada": true, "soll": true, "sollwert": true, "consigne": true, "consigna": true, "setpunkt": true}

// unitWords are words beside a quantity's that name its unit.
var unitWords = map[string]Unit{"c": Celsius, "tc": Celsius, "tempc": Celsius,
	"tempf": Fahrenheit, "celsius": Celsius, "°c": Celsius, "degc": Celsius,
	"cel": Celsius, "f": Fahrenheit, "tf": Fahrenheit, "fahrenheit": Fahrenheit, "°f": Fahrenheit, "degf": Fahrenheit,
	"k": Kelvin, "kelvin": Kelvin, "pct": Percent, "percent": Percent, "%": Percent, "%rh": Percent, "ratio": Fraction,
	"fraction": Fraction, "mm": Millimetre, "ms": MetreSecond, "m/s": MetreSecond, "kmh": KilometreHour,
	"km/h": KilometreHour, "wm2": WattMetre2, "w/m2": WattMetre2, "w/m²": WattMetre2}

// named is what a pointer or a topic's level says by its words.
type named struct {
	quantity roof.Quantity
	ok       bool
	unit     Unit   // "" where no word says it
	weak     bool   // by a single letter
	rest     string // what is left without the words of quantity and unit: the probe
}

// nameOfPointer reads the words of a JSON Pointer. The last step that has a
// quantity's word says which; words of another kind beside it say that it is none.
func nameOfPointer(pointer string) (n named) {
	steps := strings.Split(strings.TrimPrefix(pointer, "/"), "/")
	if slices.ContainsFunc(steps, counted) {
		return named{}
	}
	left := slices.Clone(steps)
	unitAt := map[int]Unit{}
	for i := len(steps) - 1; i >= 0; i-- {
		step := strings.ReplaceAll(strings.ReplaceAll(steps[i], "~1", "/"), "~0", "~")
		one := nameOfWords(words(step))
		if one.other && (i == len(steps)-1 || one.ok) {
			return named{}
		}
		if one.ok && !n.ok {
			n.quantity, n.ok = one.quantity, true
			n.weak = one.weak && !slices.Contains(unitsOf(one.quantity), one.unit)
		}
		if one.ok || one.unit != "" && one.rest == "" {
			left[i] = one.rest
			if one.unit != "" {
				unitAt[i] = one.unit
			}
		}
	}
	if !n.ok {
		return named{}
	}
	for _, u := range unitAt {
		if slices.Contains(unitsOf(n.quantity), u) {
			n.unit = u
		}
	}
	n.rest = strings.Join(slices.DeleteFunc(left, func(s string) bool { return s == "" }), "/")
	return n
}

// counted reports a step that is a count, such as a time: no other message has it.
func counted(step string) bool {
	return len(step) >= 9 && strings.IndexFunc(step, func(r rune) bool { return r < '0' || r > '9' }) < 0
}

type wordsName struct {
	named
	other bool
}

func nameOfWords(all []string) (n wordsName) {
	var rest []string
	for _, w := range all {
		q, ok := quantityWords[w]
		u, unit := unitWords[w]
		switch {
		case otherWords[w]:
			n.other = true
		case w == "relative" || w == "rel":
		case ok && (!n.ok || n.weak && len(w) > 1):
			n.quantity, n.ok, n.weak = q, true, len(w) == 1
			if unit {
				n.unit = u
			}
		case unit && n.unit == "":
			n.unit = u
		case ok && q == n.quantity: // said twice, as temp_c of temperature
		default:
			before, q, inside := compound(w)
			switch {
			case inside && otherWords[before]:
				n.other = true
			case inside && (!n.ok || n.weak):
				n.quantity, n.ok, n.weak = q, true, false
				rest = append(rest, before)
			default:
				rest = append(rest, w)
			}
		}
	}
	n.rest = strings.Join(rest, "-")
	return n
}

// compound takes apart a word that ends with that of a quantity, as Innentemperatur.
func compound(w string) (before string, q roof.Quantity, ok bool) {
	for i := 2; i+6 < len(w); i++ {
		if q, ok := quantityWords[w[i:]]; ok {
			return w[:i], q, true
		}
	}
	return "", 0, false
}

// plainKeys writes keys as words does.
func plainKeys[V any](m map[string]V) map[string]V {
	out := map[string]V{}
	for w, v := range m {
		out[plain(w)] = v
	}
	return out
}

// plain takes the accents off a word.
func plain(w string) string {
	for i := range len(w) {
		if w[i] >= utf8.RuneSelf {
			return strings.Map(func(r rune) rune {
				if unicode.Is(unicode.Mn, r) {
					return -1
				}
				return r
			}, norm.NFD.String(strings.NewReplacer("ß", "ss", "ø", "o", "ł", "l", "æ", "ae").Replace(w)))
		}
	}
	return w
}

// words takes a name apart where it changes from lower to upper case, from letters
// to digits, and at signs; in lower case.
func words(name string) (out []string) {
	var b strings.Builder
	flush := func() {
		if b.Len() > 0 {
			out = append(out, plain(strings.ToLower(b.String())))
			b.Reset()
		}
	}
	var last rune
	for _, r := range name {
		switch {
		case !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '%' && r != '°':
			flush()
			last = 0
			continue
		case last == 0:
		case unicode.IsUpper(r) && unicode.IsLower(last), unicode.IsDigit(r) != unicode.IsDigit(last):
			flush()
		}
		b.WriteRune(r)
		last = r
	}
	flush()
	return join(out)
}

// join puts together what belongs together: w m2, km h, m s, wind speed.
func join(in []string) (out []string) {
	for i := 0; i < len(in); i++ {
		switch {
		case i+2 < len(in) && in[i] == "w" && in[i+1] == "m" && in[i+2] == "2":
			out = append(out, "wm2")
			i += 2
		case i+1 < len(in) && (in[i] == "km" && in[i+1] == "h" || in[i] == "m" && in[i+1] == "s"):
			out = append(out, in[i]+in[i+1])
			i++
		case i+1 < len(in) && in[i] == "r" && (in[i+1] == "h" || in[i+1] == "f"):
			out = append(out, "rh")
			i++
		case i+1 < len(in) && in[i] == "wind" && (in[i+1] == "speed" || in[i+1] == "avg"):
			out = append(out, "wind")
			i++
		default:
			out = append(out, in[i])
		}
	}
	return out
}

// plausible bounds what a quantity by that name can be, in any of its units and in
// tenths or hundredths; what is beyond is something else of the same name.
func plausible(q roof.Quantity, low, high float64) bool {
	switch q {
	case roof.TempC:
		return low >= -9000 && high <= 10000
	case roof.RHPct:
		return low >= 0 && high <= 10500
	case roof.BatteryPct:
		return low >= 0 && high <= 100
	case roof.WoodPct:
		return low >= 0 && high <= 200
	case roof.RainMM:
		return low >= 0 && high <= 500
	case roof.WindMS:
		return low >= 0 && high <= 270
	}
	return low >= -20 && high <= 1600
}

// quantityLike reports whether a value that came looks like one of ours.
func quantityLike(l leaf) (roof.Quantity, bool) {
	n := nameOfPointer(l.pointer)
	if !n.ok || n.quantity == roof.BatteryPct {
		return 0, false
	}
	x, ok := numeric(l.value)
	return n.quantity, ok && plausible(n.quantity, x, x)
}

// numeric reads a number, or a text that is one, perhaps with a unit behind it.
func numeric(v value) (float64, bool) {
	text, _, _ := splitUnit(v)
	plain, ok := plainDecimal(text, ".")
	if !ok {
		if plain, ok = plainDecimal(text, ","); !ok {
			return 0, false
		}
	}
	x, err := strconv.ParseFloat(plain, 64)
	return x, err == nil
}

// splitUnit takes the unit off a text such as "4,3 °C".
func splitUnit(v value) (number, suffix string, unit Unit) {
	if v.kind != textKind && v.kind != numberKind {
		return "", "", ""
	}
	number = strings.TrimSpace(v.text)
	end := strings.LastIndexAny(number, "0123456789") + 1
	if rest := strings.TrimSpace(number[end:]); end > 0 && rest != "" {
		if u, ok := unitWords[strings.ToLower(rest)]; ok {
			return strings.TrimSpace(number[:end]), rest, u
		}
	}
	return number, "", ""
}
