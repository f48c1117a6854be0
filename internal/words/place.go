package words

import (
	"strings"

	"dewcase/internal/roof"
)

// Covering names what keeps the rain off, by its material where it is known.
func Covering(c *roof.Case) string {
	material := strings.ToLower(c.Roof.Covering.Material)
	for _, known := range []string{"slate", "tile", "sheet", "shingle"} {
		if strings.Contains(material, known) {
			return known + "s"
		}
	}
	return "covering"
}

// Position names a position for the consultant: batten void (void-e).
func Position(p roof.Position) string { return p.Place.Words() + " (" + p.ID + ")" }

// Surface names a surface for the consultant by its place, with its id where the
// place alone does not tell it from another.
func Surface(c *roof.Case, s roof.Position) string {
	if len(c.At(s.Place)) > 1 {
		if c.IsUntouched(s) {
			return s.Place.Words() + " (" + s.ID + ", untouched)"
		}
		return Position(s)
	}
	return s.Place.Words()
}

// SurfaceOf is Surface by a position's id.
func SurfaceOf(c *roof.Case, id string) string {
	p, _ := c.Position(id)
	return Surface(c, p)
}

// HomeSurface names a surface so that a household knows where it is.
func HomeSurface(c *roof.Case, p roof.Position) string {
	switch p.Place {
	case roof.CoveringUnderside:
		if what := Covering(c); what != "covering" {
			return "under the " + what
		}
		return "under the roof covering"
	case roof.UnderlayUnderside:
		return "on the underlay in the loft"
	case roof.Timber:
		return "on the roof timber"
	}
	return "in the roof"
}

// Quantity names what a logger measures.
func Quantity(key string) string {
	switch key {
	case "temp_c":
		return "temperature"
	case "rh_pct":
		return "humidity"
	}
	return Key(key)
}
