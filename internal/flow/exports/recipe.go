package exports

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

// Recipe is the answers kept for one kind of file.
type Recipe struct {
	Name    string
	Kind    []string // the names of its columns; see Plan.Kind
	Answers Answers
}

// MaxRecipeBytes is the largest recipe that is read.
const MaxRecipeBytes = 256 << 10

// ReadRecipe reads a recipe as a person or WriteRecipe wrote it.
func ReadRecipe(file string, data []byte) (Recipe, error) {
	d := strictyaml.Parse(file, data, MaxRecipeBytes)
	m := d.Root().Map("recipe", "header", "zone", "dates", "temperature_unit", "humidity_unit", "fold", "pair_s", "logger",
		"loggers", "columns", "station")
	var r Recipe
	name := m.Need("recipe", "write a name, such as recipe: usb-loggers")
	r.Name = id(name, "recipe")
	for _, n := range m.Get("header").List() {
		text, _ := n.Text()
		r.Kind = append(r.Kind, kindName(text))
	}
	a := &r.Answers
	if n := m.Get("zone"); n.Present() {
		a.Zone, _ = n.Text()
		if _, ok := Zone(a.Zone); !ok {
			n.Fault(fmt.Sprintf("%q is no time zone", strictyaml.Shorten(a.Zone)),
				"write a zone such as Europe/London, or an offset such as \"+01:00\"")
		}
	}
	dates, _ := m.Get("dates").Word(string(DMY), string(MDY), string(YMD))
	fold, _ := m.Get("fold").Word(string(First), string(Second))
	a.Dates, a.Fold = Order(dates), Fold(fold)
	a.TempUnit, _ = m.Get("temperature_unit").Word(string(celsius), string(fahrenheit), string(kelvin))
	a.RHUnit, _ = m.Get("humidity_unit").Word(string(percent), string(fraction))
	if s, ok := m.Get("pair_s").Number(0, MaxPair.Seconds()); ok {
		a.Pair = time.Duration(s * float64(time.Second))
	}
	if n := m.Get("logger"); n.Present() {
		a.Logger = id(n, "logger")
	}
	if n := m.Get("loggers"); n.Present() {
		a.Loggers = map[string]string{}
		all := n.Map()
		for _, key := range all.Keys() {
			a.Loggers[key] = id(all.Get(key), "logger")
		}
	}
	if n := m.Get("columns"); n.Present() {
		a.Columns = map[string]Column{}
		all := n.Map()
		for _, key := range all.Keys() {
			c := all.Get(key).Map("holds", "unit", "logger")
			var col Column
			col.Holds, _ = c.Get("holds").Word(Roles()...)
			col.Unit, _ = c.Get("unit").Word(Units()...)
			if l := c.Get("logger"); l.Present() {
				col.Logger = id(l, "logger")
			}
			a.Columns[key] = col
		}
	}
	if n := m.Get("station"); n.Present() {
		a.Station = casefile.ReadStation(n)
	}
	if faults := d.Faults(); len(faults) > 0 {
		return r, faults
	}
	return r, nil
}

// Units lists what a column can be said to be measured in.
func Units() []string {
	return []string{string(celsius), string(fahrenheit), string(kelvin), string(percent), string(fraction),
		string(millimetre), string(inch), string(metreSecond), string(kilometreHour), string(mileHour), string(knot),
		string(wattMetre2)}
}

func id(n strictyaml.Node, what string) string {
	text, ok := n.Text()
	if !n.Present() || ok && !roof.ValidID(text) {
		n.Fault(fmt.Sprintf("%q cannot name a %s", strictyaml.Shorten(text), what), "1 to 64 of A-Z, a-z, 0-9, . _ - can")
	}
	return text
}

// WriteRecipe writes a recipe as ReadRecipe reads it.
func WriteRecipe(r Recipe) []byte {
	var b strings.Builder
	line := func(key, value string) {
		if value != "" {
			fmt.Fprintf(&b, "%s: %s\n", key, strconv.Quote(value))
		}
	}
	a := r.Answers
	line("recipe", r.Name)
	if len(r.Kind) > 0 {
		b.WriteString("header:\n")
		for _, k := range r.Kind {
			fmt.Fprintf(&b, "  - %s\n", strconv.Quote(k))
		}
	}
	line("zone", a.Zone)
	line("dates", string(a.Dates))
	line("temperature_unit", a.TempUnit)
	line("humidity_unit", a.RHUnit)
	line("fold", string(a.Fold))
	if a.Pair > 0 {
		fmt.Fprintf(&b, "pair_s: %s\n", strconv.FormatFloat(a.Pair.Seconds(), 'f', -1, 64))
	}
	line("logger", a.Logger)
	if a.Station != nil {
		fmt.Fprintf(&b, "station: %s\n", casefile.WriteStation(*a.Station))
	}
	if len(a.Loggers) > 0 {
		b.WriteString("loggers:\n")
		for _, name := range slices.Sorted(maps.Keys(a.Loggers)) {
			fmt.Fprintf(&b, "  %s: %s\n", strconv.Quote(name), strconv.Quote(a.Loggers[name]))
		}
	}
	if len(a.Columns) > 0 {
		b.WriteString("columns:\n")
		for _, name := range slices.Sorted(maps.Keys(a.Columns)) {
			c := a.Columns[name]
			var parts []string
			for _, kv := range [][2]string{{"holds", c.Holds}, {"unit", c.Unit}, {"logger", c.Logger}} {
				if kv[1] != "" {
					parts = append(parts, kv[0]+": "+strconv.Quote(kv[1]))
				}
			}
			fmt.Fprintf(&b, "  %s: {%s}\n", strconv.Quote(name), strings.Join(parts, ", "))
		}
	}
	return []byte(b.String())
}
