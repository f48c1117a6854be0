package curves

import (
	"slices"
	"strings"

	"dewcase/internal/roof"
)

// Quantity is something that a chart can show of a position.
type Quantity uint8

// The quantities.
const (
	TempC Quantity = iota
	RHPct
	DewPointC   // over water at every temperature
	FrostPointC // over ice
	VapourPa
	AbsoluteGM3 // mass of vapour in a cubic metre of air
	MarginK     // of a surface to the air that meets it
	UnrepairedK // margin as it would have been without the last repair
	ExcessPa    // vapour pressure over that of outdoor air
	WoodPct     // moisture content
	RainMM      // an amount: summed, never averaged
	WindMS
	SunWM2
	quantities
)

// about is what is known of each quantity: its key in an address; the axis that
// it shares with others; its unit; and the decimals that it is handed over with,
// finer than any logger's resolution, and read out with.
var about = [quantities]struct {
	key, axis, unit string
	decimals, shown int
}{
	TempC:       {"temp", "c", "°C", 3, 1},
	RHPct:       {"rh", "rh", "%RH", 3, 1},
	DewPointC:   {"dew_point", "c", "°C", 3, 1},
	FrostPointC: {"frost_point", "c", "°C", 3, 1},
	VapourPa:    {"vapour_pressure", "pa", "Pa", 2, 0},
	AbsoluteGM3: {"absolute_humidity", "gm3", "g/m³", 4, 2},
	MarginK:     {"margin", "k", "K", 3, 1},
	UnrepairedK: {"margin_unrepaired", "k", "K", 3, 1},
	ExcessPa:    {"vapour_excess", "over", "Pa", 2, 0},
	WoodPct:     {"wood", "wood", "% moisture", 2, 1},
	RainMM:      {"rain", "rain", "mm", 3, 1},
	WindMS:      {"wind", "wind", "m/s", 2, 1},
	SunWM2:      {"sun", "sun", "W/m²", 1, 0},
}

// Key is the quantity's name in an address.
func (q Quantity) Key() string { return about[q].key }

// Axis names the axis that the quantity is drawn on; quantities of one axis can
// be compared by eye.
func (q Quantity) Axis() string { return about[q].axis }

// Unit is the quantity's unit.
func (q Quantity) Unit() string { return about[q].unit }

// Decimals is how many decimals its figures are handed over with.
func (q Quantity) Decimals() int { return about[q].decimals }

// Shown is how many decimals of it a reader is shown.
func (q Quantity) Shown() int { return about[q].shown }

// Key is one quantity of one position.
type Key struct {
	Position string
	Quantity Quantity
}

// String is the key as an address holds it: loft.rh.
func (k Key) String() string { return k.Position + "." + k.Quantity.Key() }

// Offered lists what a position of a case can have, by its place. Weather is
// offered outdoors, where stations and their imported series are fitted, and a
// margin without the repair where there was one.
func Offered(c *roof.Case, p roof.Position) []Quantity {
	switch {
	case p.Place == roof.OutdoorAir:
		return []Quantity{TempC, RHPct, DewPointC, FrostPointC, VapourPa, AbsoluteGM3, RainMM, WindMS, SunWM2}
	case p.Place.IsAir():
		return []Quantity{TempC, RHPct, DewPointC, FrostPointC, VapourPa, AbsoluteGM3, ExcessPa}
	}
	out := []Quantity{TempC}
	if p.Meets != "" {
		out = append(out, MarginK)
		if len(c.Repairs()) > 0 {
			out = append(out, UnrepairedK)
		}
	}
	return append(out, RHPct, WoodPct)
}

// ParseKey reads a key as String writes it; ok is false where the case has no
// such position, or the position no such quantity.
func ParseKey(c *roof.Case, s string) (k Key, ok bool) {
	dot := strings.LastIndexByte(s, '.') // a position's id may have dots, a quantity has none
	if dot < 0 {
		return k, false
	}
	p, ok := c.Position(s[:dot])
	if !ok {
		return k, false
	}
	for _, q := range Offered(c, p) {
		if q.Key() == s[dot+1:] {
			return Key{p.ID, q}, true
		}
	}
	return k, false
}

// ParseKeys reads a list of keys parted by commas; what makes no sense is left
// out, and of what is named twice the first counts. At most MostKeys are taken.
func ParseKeys(c *roof.Case, s string) []Key {
	var out []Key
	for part := range strings.SplitSeq(s, ",") {
		if k, ok := ParseKey(c, part); ok && !slices.Contains(out, k) && len(out) < MostKeys {
			out = append(out, k)
		}
	}
	return out
}

// MostKeys bounds what one chart shows.
const MostKeys = 24
