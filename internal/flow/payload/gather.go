package payload

import (
	"math"
	"slices"
	"strings"

	"dewcase/internal/roof"
)

// gathered is what came at one key.
type gathered struct {
	Key
	named
	first, last value
	texts       map[string]int // values, the first few of them
	whole       bool           // every number was a whole one
	asText      bool
	comma       bool
	suffix      string
	suffixUnit  Unit
}

const maxTexts = 50

// gather sums up what stands at the keys of elements, in their order.
func gather(all [][]leaf) []*gathered {
	by := map[string]*gathered{}
	var out []*gathered
	for _, leaves := range all {
		for _, l := range leaves {
			if l.kind == nullKind {
				continue
			}
			g := by[l.pointer]
			if g == nil {
				g = &gathered{Key: Key{Pointer: l.pointer, Example: printable(l.text, 60), Numeric: true, Low: math.Inf(1),
					High: math.Inf(-1)}, named: nameOfPointer(l.pointer), first: l.value, texts: map[string]int{}, whole: true}
				by[l.pointer] = g
				out = append(out, g)
			}
			g.take(l.value)
		}
	}
	for _, g := range out {
		if g.Changes = len(g.texts) > 1; math.IsInf(g.Low, 0) {
			g.Low, g.High, g.Numeric = 0, 0, false
		}
		volts := g.ok && g.quantity == roof.BatteryPct && !g.whole && g.High > 1 && g.High <= 5
		if g.ok && !volts {
			g.Quantity, g.Like = g.quantity, g.Numeric && plausible(g.quantity, g.Low, g.High)
		}
	}
	return out
}

func (g *gathered) take(v value) {
	g.Seen++
	g.last = v
	if len(g.texts) < maxTexts {
		g.texts[v.text]++
	}
	if v.kind == boolKind {
		g.Numeric = false
		return
	}
	if absentWords[strings.ToLower(v.text)] {
		g.asText = true
		return
	}
	x, ok := numeric(v)
	if !ok {
		g.Numeric = false
		return
	}
	number, suffix, unit := splitUnit(v)
	g.asText = g.asText || v.kind == textKind
	g.comma = g.comma || strings.Contains(number, ",")
	if suffix != "" {
		g.suffix, g.suffixUnit = suffix, unit
	}
	g.Low, g.High = min(g.Low, x), max(g.High, x)
	g.whole = g.whole && x == math.Trunc(x)
}

// field is the field that reads the key, with its unit and why; beside names a
// unit that another key tells.
func (g *gathered) field(beside Unit) Field {
	f := Field{Quantity: g.Quantity, Pointer: g.Pointer, Text: g.asText, Suffix: g.suffix}
	if g.By = append(g.By, ByName); g.weak {
		g.By[0] = ByLetter
	}
	if g.comma {
		f.Decimal = ","
	}
	units := unitsOf(g.Quantity)
	for _, said := range []struct {
		unit Unit
		by   Reason
	}{{g.suffixUnit, ByUnitNamed}, {g.unit, ByUnitNamed}, {beside, ByUnitBeside}} {
		if slices.Contains(units, said.unit) {
			f.Unit = said.unit
			g.By = append(g.By, said.by)
			break
		}
	}
	if f.Unit == "" {
		var by Reason
		f.Unit, f.Scale, by = unitByRange(g.Quantity, g.Low, g.High, g.whole)
		g.By = append(g.By, by)
	}
	if g.Quantity == roof.TempC && f.Unit == Celsius && f.Scale == 0 {
		for _, sentinel := range []string{"-127", "85"} { // of a 1-wire probe that is not there, and of one just started
			if g.texts[sentinel]+g.texts[sentinel+".0"] > 0 && len(g.texts) > 1 {
				f.Invalid = append(f.Invalid, sentinel)
			}
		}
	}
	g.Role, g.Unit, g.Like = QuantityRole, f.Unit, false
	return f
}

// unitByRange says in what unit values can be. A roof's air is between -40 and 60
// C, which is 233 to 333 K; what could be C as well as F is a person's to say.
func unitByRange(q roof.Quantity, low, high float64, whole bool) (u Unit, scale float64, by Reason) {
	switch q {
	case roof.TempC:
		switch {
		case low >= 220 && high <= 335 && !whole:
			return Kelvin, 0, ByRange
		case low >= -60 && high <= 85:
			return Celsius, 0, ByGuess
		case low >= -60 && high <= 150:
			return Fahrenheit, 0, ByGuess
		case low >= -600 && high <= 850:
			return Celsius, 0.1, ByScale
		}
		return Celsius, 0.01, ByScale
	case roof.RHPct, roof.WoodPct, roof.BatteryPct:
		switch {
		case high <= 1 && !whole:
			return Fraction, 0, ByRange
		case high > 1050:
			return Percent, 0.01, ByScale
		case high > 200 || q == roof.RHPct && high > 105:
			return Percent, 0.1, ByScale
		case high <= 1.05:
			return Percent, 0, ByGuess
		}
		return Percent, 0, ByRange
	case roof.WindMS:
		return MetreSecond, 0, ByGuess
	case roof.RainMM:
		return Millimetre, 0, ByGuess
	}
	return WattMetre2, 0, ByRange
}
