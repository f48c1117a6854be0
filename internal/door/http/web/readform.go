package web

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// readForm is one mapping, or those of one announcement, with what it makes of the
// messages that came.
type readForm struct {
	N               int // counts the forms of a page
	Name            string
	Text            string // the mappings as the configuration writes them
	Topics          []string
	Messages, Taken int
	Open            bool     // unfolded
	Becomes         []string // the last values of its first loggers
	Asks            int      // what only a person knows
	Came            []byte   // the last of its messages
	Fields          []fieldRow
	Zone            []option // of local times; none where there are none
	Dates           []option // how dates are written, where that is doubtful
	Loggers         []loggerRow
	Spots           []spot
	First           time.Time // of the readings
	Aside           []payload.Key
	Unread          []string // what looks like a time and is not read as one
	Faults          []string
	Rejected        string // why the first message is not read
}

// option is one answer of a select.
type option struct {
	Value, Words string
	Chosen       bool
}

// fieldRow is one value that a mapping reads.
type fieldRow struct {
	Index            int
	Name             string // under which its unit is asked
	Quantity         string
	At               string // pointer or segment
	Probe            string
	Key              payload.Key
	Units            []option
	Doubtful, Chosen bool
	Letter           bool // a single letter names it
}

// loggerRow is one logger that a mapping gives.
type loggerRow struct {
	Name     string
	Readings int
	Last     roof.Reading
	Place    string // chosen
	Fitted   string // where it hangs already
	CanGo    bool   // it can be left aside
}

// unitWords are the units as people write them.
var unitWords = map[payload.Unit]string{payload.Celsius: "°C", payload.Fahrenheit: "°F", payload.Kelvin: "K",
	payload.Percent: "per cent", payload.Fraction: "a fraction, 0 to 1", payload.Millimetre: "mm",
	payload.MetreSecond: "m/s", payload.KilometreHour: "km/h", payload.WattMetre2: "W/m²"}

// unitChoices are the units that a person can choose between for a quantity.
func unitChoices(q roof.Quantity) []payload.Unit {
	switch q {
	case roof.TempC:
		return []payload.Unit{payload.Celsius, payload.Fahrenheit, payload.Kelvin}
	case roof.RHPct, roof.BatteryPct, roof.WoodPct:
		return []payload.Unit{payload.Percent, payload.Fraction}
	case roof.WindMS:
		return []payload.Unit{payload.MetreSecond, payload.KilometreHour}
	}
	return nil
}

// fill lays mappings out as a form. Of what is doubtful by its key nothing is
// chosen beforehand.
func (f *readForm) fill(h *head, all []payload.Mapping, messages []payload.Message, keys []payload.Key) {
	f.Text, f.Spots = payload.WriteMappings(all), spots(h.Case)
	used := map[string]bool{}
	eachField(all, func(field *payload.Field, probe string) {
		row := fieldRow{Index: len(f.Fields), Quantity: field.Quantity.String(), At: cmp.Or(field.Pointer, field.Segment),
			Probe: probe}
		for _, k := range keys {
			if k.Pointer == payload.KeyOf(*field) {
				row.Key, row.Doubtful, used[k.Pointer] = k, k.Doubtful(), true
				row.Letter = slices.Contains(k.By, payload.ByLetter)
			}
		}
		scales := []float64{cmp.Or(field.Scale, 1)}
		if slices.Contains(row.Key.By, payload.ByScale) {
			scales = []float64{0.1, 0.01, 1}
		}
		if row.Doubtful && row.Key.Low == math.Trunc(row.Key.Low) && row.Key.High == math.Trunc(row.Key.High) &&
			field.Quantity == roof.TempC && row.Key.High > 35 && len(scales) == 1 { // whole numbers can be tenths
			scales = append(scales, 0.1)
		}
		for _, u := range unitChoices(field.Quantity) {
			for _, s := range scales {
				o := option{Value: unitValue(u, s), Words: unitWords[u], Chosen: !row.Doubtful && u == field.Unit}
				switch s {
				case 0.1:
					o.Words = "tenths of " + o.Words
				case 0.01:
					o.Words = "hundredths of " + o.Words
				}
				if row.Key.Numeric {
					low, high := u.Convert(row.Key.Low*s), u.Convert(row.Key.High*s)
					if !o.Chosen && !possible(field.Quantity, low, high) {
						continue
					}
					o.Words += words.WouldBe(field.Quantity.String(), low, high)
				}
				row.Units = append(row.Units, o)
			}
		}
		if len(row.Units) > 0 {
			row.Units = append(row.Units, option{Value: leftAside, Words: "none of these: leave it aside"})
		}
		row.Name = strconv.Itoa(row.Index)
		if row.Doubtful {
			row.ask(f.Fields)
		}
		row.Chosen = slices.ContainsFunc(row.Units, func(o option) bool { return o.Chosen })
		f.Fields = append(f.Fields, row)
	})
	var clock payload.Key
	for _, k := range keys {
		switch {
		case used[k.Pointer]:
		case k.Role == payload.TimeRole:
			clock = k
		default:
			f.Aside = append(f.Aside, k)
		}
	}
	f.clock(all, h, clock)
	f.preview(h, all, messages)
	f.count()
}

// count says how much only a person knows, and what the first loggers measured last.
func (f *readForm) count() {
	f.Asks = 0
	for _, row := range f.Fields {
		if row.Doubtful && len(row.Units) > 0 {
			f.Asks++
		}
	}
	for _, asked := range [][]option{f.Zone, f.Dates} {
		if len(asked) > 0 {
			f.Asks++
		}
	}
	const shown = 3
	for _, l := range f.Loggers {
		if l.Readings > 0 && len(f.Becomes) < shown {
			f.Becomes = append(f.Becomes, valuesWords(l.Last))
		}
	}
}

// leftAside is the answer that a value is none of ours.
const leftAside = "aside"

// possible reports whether values converted by a unit can be of a roof, its weather or
// its house; what is beyond is another unit.
func possible(q roof.Quantity, low, high float64) bool {
	switch q {
	case roof.TempC:
		return low >= -60 && high <= 90
	case roof.RHPct, roof.BatteryPct:
		return low >= 0 && high <= 105
	}
	return true
}

// ask has a person say the unit, once for all fields of the quantity.
func (row *fieldRow) ask(before []fieldRow) {
	row.Name, row.Doubtful, row.Chosen = row.Quantity, true, false
	for u := range row.Units {
		row.Units[u].Chosen = false
	}
	if slices.ContainsFunc(before, func(other fieldRow) bool { return other.Name == row.Name }) {
		row.Units = nil
	}
}

// clock asks what only a person can know of a local time.
func (f *readForm) clock(all []payload.Mapping, h *head, k payload.Key) {
	for _, m := range all {
		if m.Time == nil || m.Time.Form != "layout" || strings.HasSuffix(m.Time.Layout, "Z") {
			continue
		}
		said, own := !k.Doubtful() || slices.Contains(k.By, payload.ZoneFits), h.Case.Property.Timezone
		f.Zone = []option{{own, "the house’s own, " + own, said && m.Time.Zone == own},
			{"UTC", "UTC, the same all year", said && m.Time.Zone == "UTC"}}
		swap := strings.NewReplacer("DD", "MM", "MM", "DD").Replace(m.Time.Layout)
		if strings.Contains(m.Time.Layout, "/") && !strings.HasPrefix(m.Time.Layout, "Y") {
			said = said || !slices.Contains(k.By, payload.DatesUnclear)
			f.Dates = []option{{m.Time.Layout, m.Time.Layout, said}, {swap, swap, false}}
		}
	}
}

// preview says what mappings make of the messages that came.
func (f *readForm) preview(h *head, all []payload.Mapping, messages []payload.Message) {
	became, err := payload.Become(all, messages)
	if err != nil {
		f.Faults = append(f.Faults, strings.Split(err.Error(), "\n")...)
		return
	}
	at := map[string]int{}
	row := func(name string) *loggerRow {
		i, ok := at[name]
		if !ok {
			i = len(f.Loggers)
			at[name] = i
			f.Loggers = append(f.Loggers, loggerRow{Name: name})
			if l, ok := h.Case.Logger(name); ok {
				for _, fit := range l.Fitted {
					if fit.To.IsZero() {
						f.Loggers[i].Fitted = fit.Position
					}
				}
			}
		}
		return &f.Loggers[i]
	}
	for _, m := range all {
		if m.Logger != "" {
			row(m.Logger)
		}
	}
	for _, b := range became {
		if b.Mapping < 0 {
			continue
		}
		f.Messages, f.Came = f.Messages+1, b.Message.Payload
		if len(b.Readings) > 0 {
			f.Taken++
		} else if len(b.Rejects) > 0 && f.Rejected == "" {
			f.Rejected = b.Rejects[0].Detail
		}
		for _, x := range b.Readings {
			l := row(x.Logger)
			if l.Readings++; !x.At.Before(l.Last.At) {
				l.Last = x
			}
			if f.First.IsZero() || x.At.Before(f.First) {
				f.First = x.At
			}
		}
	}
	slices.SortStableFunc(f.Loggers, func(a, b loggerRow) int { return cmp.Compare(a.Name, b.Name) })
	if len(all) == 1 && len(f.Loggers) > 1 && len(all[0].Probes) == 0 && all[0].Logger == "" &&
		all[0].EachName != payload.NameSuffix {
		for i := range f.Loggers {
			f.Loggers[i].CanGo = true
		}
	}
}

// eachField calls do for every field of mappings, with the probe that it is of.
func eachField(all []payload.Mapping, do func(f *payload.Field, probe string)) {
	for m := range all {
		for i := range all[m].Fields {
			do(&all[m].Fields[i], "")
		}
		for p := range all[m].Probes {
			for i := range all[m].Probes[p].Fields {
				do(&all[m].Probes[p].Fields[i], cmp.Or(all[m].Probes[p].Logger, all[m].Probes[p].Suffix))
			}
		}
	}
}

func unitValue(u payload.Unit, scale float64) string {
	return string(u) + " " + strconv.FormatFloat(scale, 'g', -1, 64)
}

// valuesWords lists what a reading holds: 4.3 °C, 89 %RH, battery 83.
func valuesWords(r roof.Reading) string {
	var out []string
	for _, q := range []struct{ key, unit string }{{"temp_c", " °C"}, {"rh_pct", " %RH"}} {
		of, _ := roof.ParseQuantity(q.key)
		if x, ok := r.Values.Get(of); ok { // to two decimals: no sensor of a roof has more
			out = append(out, strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64)+q.unit)
		}
	}
	if more := furtherCell(r); more != "" {
		out = append(out, more)
	}
	return strings.Join(out, ", ")
}
