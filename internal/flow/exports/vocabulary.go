package exports

import (
	"regexp"
	"slices"
	"strings"
	"unicode"

	"dewcase/internal/roof"
)

// role is what a column holds. Its text is how a recipe and a form name it.
type role string

// The roles.
const (
	unused    role = "unused"
	timeRole  role = "time" // date, time of day or both: its cells say which
	nameRole  role = "logger"
	kindRole  role = "quantity" // of a long file: which quantity the row's value is
	valueRole role = "value"
	unitRole  role = "unit"
	tempRole  role = "temperature"
	rhRole    role = "humidity"
	rainRole  role = "rain"
	windRole  role = "wind"
	sunRole   role = "sun"
	woodRole  role = "wood"
)

// Roles lists what a column can be said to hold.
func Roles() []string {
	return []string{string(unused), string(timeRole), string(nameRole), string(tempRole), string(rhRole),
		string(rainRole), string(windRole), string(sunRole), string(woodRole), string(kindRole), string(valueRole),
		string(unitRole)}
}

// quantityOf is the quantity of a role; ok is false where it holds none.
func (r role) quantity() (q roof.Quantity, ok bool) {
	switch r {
	case tempRole:
		return roof.TempC, true
	case rhRole:
		return roof.RHPct, true
	case rainRole:
		return roof.RainMM, true
	case windRole:
		return roof.WindMS, true
	case sunRole:
		return roof.SunWM2, true
	case woodRole:
		return roof.WoodPct, true
	}
	return 0, false
}

func wordSet(list string) map[string]bool {
	out := map[string]bool{}
	for _, w := range strings.Fields(list) {
		out[w] = true
	}
	return out
}

// roleWords are the words for one role.
type roleWords struct {
	role  role
	words map[string]bool
}

// The usual words of loggers' programs for what a column holds, in English,
// German, French, Spanish, Italian, Portuguese, Dutch, Danish, Norwegian,
// Swedish, Finnish, Polish, Czech and Russian.
var vocabulary = []roleWords{
	{timeRole, wordSet(`time timestamp when datetime date zeit zeitpunkt zeitstempel uhrzeit datum heure horodatage fecha hora
		data ora orario tijd tijdstip tijdstempel tid tidpunkt tidspunkt tidsstempel klockslag klokkeslæt klokkeslett dato
		aika aikaleima kellonaika päivämäärä pvm czas godzina čas hodina время дата changed updated recorded dateutc ts`)},
	{tempRole, wordSet(`temp temperature temperatur température temperatura temperatuur lämpötila teplota температура tmp
		temps temperatures ta`)},
	{rhRole, wordSet(`humidity humid hum rh feuchte luftfeuchte luftfeuchtigkeit feuchtigkeit rf humidité hr humedad umidità
		ur umidade humidade vochtigheid luchtvochtigheid rv luftfuktighet fuktighet luftfugtighed fugtighed fuktig kosteus
		ilmankosteus ilmankosteus wilgotność vlhkost влажность`)},
	{rainRole, wordSet(`rain rainfall precipitation precip regen niederschlag regenmenge pluie précipitation précipitations
		lluvia precipitación pioggia precipitazione precipitazioni chuva precipitação neerslag nederbörd regn nedbør sade
		sademäärä opad opady srážky осадки`)},
	{windRole, wordSet(`wind windspeed windgeschwindigkeit vent viento vento windsnelheid vindhastighet vindhastighed vind
		tuuli wiatr vítr ветер`)},
	{sunRole, wordSet(`solar sun rad radiation irradiance globalstrahlung solarstrahlung sonnenstrahlung strahlung rayonnement
		radiación radiazione radiação straling zonnestraling strålning solstrålning stråling säteily`)},
	{woodRole, wordSet(`wood moisture holzfeuchte holz timber wme bois madera legno hout trä`)},
	{nameRole, wordSet(`logger sensor device entity gerät gerätename fühler messstelle station channel kanal location place
		standort ort appareil capteur sonde dispositivo sensore apparaat enhet laite urządzenie устройство датчик name
		sensorname node probe`)},
	{kindRole, wordSet(`quantity type measurement parameter metric variable field messgröße grösse größe grandeur magnitud
		grandezza attribute`)},
	{valueRole, wordSet(`value state reading wert messwert valeur valor valore waarde värde værdi arvo wartość hodnota
		значение`)},
	{unitRole, wordSet(`unit units einheit unité unidad unità eenheid enhed yksikkö jednostka`)},
}

// What marks a column as something else, whatever else its name says.
var otherWords = wordSet(`dew dewpoint dewpt dewp dwpt dp tdew tdp frostpoint taupunkt rosée rocío rugiada dauwpunt daggpunkt daggpunkten dugpunkt duggpunkt
	kastepiste rosy orvalho росы vpd battery batterie bat batt akku batería batteria bateria accu batteri paristo
	батарея rssi signal lqi linkquality snr absolute absolut absolue abs wet wetbulb bulb heat index windchill chill feels
	apparent gefühlt gefühlte ressentie pressure druck luftdruck pression presión pressione co2 lux uv gust gusts böe
	böen rafale rafales ráfaga raffica vindstöd puuska direction richtung windrichtung dir run rate daily hourly weekly
	monthly yearly event total cumulative today day week month year min max minimum maximum low high std soil boden
	start stop end alarm status flag flags setpoint target soll sollwert solltemperatur consigne consigna threshold
	limit forecast vorhersage`)

// measuredWords name the time of a row where no other word says what it holds.
var measuredWords = wordSet(`measured logged sampled gemessen erfasst aufgezeichnet mesuré medido misurato gemeten mätt
	målt`)

// laterWords say of a time that it is of something that happened to the row after it
// was measured.
var laterWords = wordSet(`upload uploaded sync synced synchronised synchronized server received receive export exported
	download downloaded created inserted imported import transmitted sent gateway arrival arrived updated modified
	hochgeladen empfangen empfang übertragen gesendet aktualisiert reçu recibido ricevuto ontvangen`)

// Words that say nothing about which logger it is.
var filler = wordSet(`relative rel relativ relativer relativa air luft average avg mean mittel mittelwert of the de la le
	du der die das and speed geschwindigkeit vitesse velocidad velocità snelheid hastighet hastighed nopeus celsius
	fahrenheit kelvin degc degf deg percent pct measured last id level content ist istwert actual current aktuell`)

// outdoorWords name the place of a weather station's sensors.
var outdoorWords = wordSet(`outdoor outside out aussen außen extérieur extérieure exterior esterno esterna exterieur buiten
	ute ulko utomhus udendørs zewnątrz venku outdoors`)

// tokens cuts a name into words and numbers, in lower case.
func tokens(name string) []string {
	return strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r)
	})
}

// unitMarks are how units are written, the longest first; what stands in bare
// letters must stand alone.
var unitMarks = []struct {
	mark string
	unit unit
}{
	{"°c", celsius}, {"º c", celsius}, {"ºc", celsius}, {"° c", celsius}, {"℃", celsius}, {"°f", fahrenheit},
	{"ºf", fahrenheit}, {"° f", fahrenheit}, {"℉", fahrenheit}, {"%", percent}, {"w/m²", wattMetre2},
	{"w/m2", wattMetre2}, {"w/m^2", wattMetre2}, {"wm-2", wattMetre2}, {"km/h", kilometreHour}, {"m/s", metreSecond},
}

var unitWords = map[string]unit{"c": celsius, "celsius": celsius, "degc": celsius, "f": fahrenheit,
	"fahrenheit": fahrenheit, "degf": fahrenheit, "k": kelvin, "kelvin": kelvin, "percent": percent, "pct": percent,
	"prozent": percent, "fraction": fraction, "mm": millimetre, "in": inch, "inch": inch, "inches": inch,
	"mph": mileHour, "kmh": kilometreHour, "kph": kilometreHour, "kn": knot, "kt": knot, "knots": knot, "knot": knot,
	"ms": metreSecond}

// unitIn finds a unit written in a name.
func unitIn(name string) unit {
	s := strings.ToLower(name)
	if strings.Contains(s, "g/m") {
		return ""
	}
	for _, m := range unitMarks {
		if strings.Contains(s, m.mark) {
			return m.unit
		}
	}
	if strings.Contains(s, "0-1") || strings.Contains(s, "0..1") || strings.Contains(s, "0…1") {
		return fraction
	}
	list := parts(name)
	for i := len(list) - 1; i >= 0; i-- { // the unit stands last
		if u, ok := unitWords[list[i]]; ok && (i > 0 || len(list) == 1) {
			return u
		}
	}
	return ""
}

// meaning is what the name of a column says.
type meaning struct {
	role  role // "" where nothing is known
	unit  unit
	label string // what is left: which logger
	zone  string // an offset or zone named in it
	later bool   // a time of what happened to the row after it was measured
	other bool   // a word says that it is something else
}

// understand reads the name of a column.
func understand(name string) meaning {
	m := meaning{unit: unitIn(name)}
	list := parts(name)
	hits, other, left := sortWords(list)
	m.other = other
	if inside := bracketed.ReplaceAllString(name, " "); inside != name {
		_, _, left = sortWords(parts(inside)) // what stands in brackets is a unit or a serial number
	}
	if n := len(left); n > 0 && unitWords[left[n-1]] != "" && unitWords[left[n-1]] == m.unit {
		left = left[:n-1]
	}
	switch {
	case hits[timeRole] && !hits[tempRole] && !hits[rhRole]:
		m.role = timeRole
		if other {
			m.role = unused // start and stop of a window
		}
		m.zone, m.later = zoneIn(name), slices.ContainsFunc(list, func(w string) bool { return laterWords[w] })
		return m
	case other:
		m.role = unused
		return m
	case hits[unitRole] && (hits[tempRole] || hits[rhRole]):
		m.role = unitRole
	case hits[woodRole] && !hits[rhRole]:
		m.role = woodRole
	case hits[tempRole] && hits[rhRole]:
		m.role = kindRole
		if m.unit != "" {
			m.role = tempRole
		}
	case hits[tempRole]:
		m.role = tempRole
	case hits[rhRole]:
		m.role = rhRole
	case hits[rainRole]:
		m.role = rainRole
	case hits[windRole]:
		m.role = windRole
	case hits[sunRole]:
		m.role = sunRole
	case hits[kindRole]:
		m.role = kindRole
	case hits[unitRole]:
		m.role = unitRole
	case hits[valueRole]:
		m.role = valueRole
	case m.unit.of(roof.TempC) && (len(list) > 1 || strings.ContainsAny(name, "°º℃℉")):
		m.role = tempRole
	case m.unit == percent:
		m.role = rhRole
	case slices.ContainsFunc(list, func(w string) bool { return measuredWords[w] || laterWords[w] }):
		m.role, m.zone = timeRole, zoneIn(name)
		m.later = slices.ContainsFunc(list, func(w string) bool { return laterWords[w] })
		return m
	case hits[nameRole]:
		m.role = nameRole
		return m
	}
	if m.role == tempRole || m.role == rhRole {
		if m.unit != "" && (m.role == tempRole) != m.unit.of(roof.TempC) {
			m.unit = ""
		}
	}
	if n := len(left); n == 1 && (m.role == tempRole && left[0] == "t" || m.role == rhRole && left[0] == "h") {
		left = nil // T (°C), H (%): a letter that says the same
	}
	m.label = labelOf(name, left)
	return m
}

var bracketed = regexp.MustCompile(`[(\[][^)\]]*[)\]]`)

// sortWords sorts the words of a name: what they say it holds, whether one says that
// it is something else, and what is left for the logger's name.
func sortWords(list []string) (hits map[role]bool, other bool, left []string) {
	hits = map[role]bool{}
	for i := 0; i < len(list); i++ {
		w := list[i]
		if (w == "r" || w == "rel") && i+1 < len(list) && (list[i+1] == "h" || list[i+1] == "f") { // r.H., r. F.
			hits[rhRole] = true
			i++
			continue
		}
		if otherWords[w] {
			other = true
			continue
		}
		known := false
		for _, v := range vocabulary {
			if v.words[w] {
				hits[v.role] = true
				known = known || v.role != nameRole
			}
		}
		if !known && !filler[w] {
			left = append(left, w)
		}
	}
	return hits, other, left
}

// labelOf is which logger a column's name means: a serial number, or the words
// that are left.
func labelOf(name string, left []string) string {
	s := strings.ToLower(name)
	for _, mark := range []string{"lgr s/n:", "s/n:", "serial:", "serial no:", "s/n"} {
		if _, after, found := strings.Cut(s, mark); found {
			if list := tokens(after); len(list) > 0 {
				return list[0]
			}
		}
	}
	at := func(w string) int { return strings.Index(s, w) }
	var out []string
	for _, w := range left { // as written
		if i := at(w); i >= 0 && len(s) == len(name) {
			w = name[i : i+len(w)]
		}
		out = append(out, w)
	}
	return strings.Join(out, "-")
}

// zoneIn finds an offset or a zone in a name or a line above the table.
func zoneIn(text string) string {
	for _, w := range strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(" ,;()[]=\t", r) }) {
		w = strings.Trim(w, ":\"'")
		if strings.Contains(w, "/") && unicode.IsUpper(rune(w[0])) {
			if _, ok := Zone(w); ok {
				return w
			}
		}
		up := strings.ToUpper(w)
		if strings.HasPrefix(up, "UTC") || strings.HasPrefix(up, "GMT") {
			if _, ok := offsetOf(up); ok {
				return up
			}
		}
	}
	if list := tokens(text); len(list) == 1 && strings.HasSuffix(list[0], "utc") {
		return "UTC" // dateutc
	}
	return ""
}

// KnownWords counts the words of a text that name what a column holds, by which
// a door tells in which code page the text is written.
func KnownWords(text string) int {
	n := 0
	for _, w := range tokens(text[:min(len(text), 16<<10)]) {
		for _, v := range vocabulary {
			if v.words[w] {
				n++
				break
			}
		}
	}
	return n
}
