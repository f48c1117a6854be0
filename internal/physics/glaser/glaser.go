// Package glaser computes condensation inside a sealed build-up by the steady
// monthly method of EN ISO 13788. It takes layers and climate and returns
// condensation planes and masses of water. The result shows what the design
// should have done; air leakage is outside the method.
package glaser

import (
	"errors"
	"fmt"
	"math"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/roof"
)

// ErrInput is wrapped by every error about a build-up or climate that cannot be
// calculated.
var ErrInput = errors.New("cannot calculate the build-up")

// Constants of EN ISO 13788:2012.
const (
	// Delta0 is the vapour permeability of still air in kg/(m s Pa), clause 6.2.
	Delta0 = 2.0e-10
	// defaultRsi and defaultRse are surface resistances in m2 K/W, heat flow
	// upwards (EN ISO 6946:2017, Table 7).
	defaultRsi = 0.10
	defaultRse = 0.04
	// subdivideAbove is the resistance in m2 K/W from which a layer is divided,
	// clause 6.3.
	subdivideAbove = 0.25
)

// Caveat says where the calculation does not apply, for every page that shows
// it.
const Caveat = "This is the steady calculation of EN ISO 13788 on monthly means. It holds for sealed build-ups. It " +
	"does not apply to ventilated lofts and batten voids, where air carries far more moisture than diffusion; it knows " +
	"no air leakage, rain, stored moisture or clear-sky cooling, and monthly means hide the cold nights (BRE IP 5/06). " +
	"A build-up that passes here can still sweat."

// Layer is one layer of a build-up, without its surface resistances.
type Layer struct {
	Name           string
	ResistanceM2KW float64 // thermal, m2 K/W, 0 or more
	SdM            float64 // vapour-diffusion-equivalent air layer, m, 0 or more
}

// FromRoof turns a case file's layers, from indoors to outdoors, into those of
// the calculation: R = d/lambda and s_d = mu d where not given (EN ISO 6946, eq.
// 3; EN ISO 13788:2012, clause 3.1). A layer without either is an error naming
// it.
func FromRoof(layers []roof.Layer) ([]Layer, error) {
	out := make([]Layer, 0, len(layers))
	for i, l := range layers {
		name := l.Name
		if name == "" {
			name = fmt.Sprintf("layer %d", i+1)
		}
		d := l.ThicknessMM / 1000
		r, sd := l.ResistanceM2KW, l.SdM
		if r == 0 && l.ConductivityWMK > 0 {
			r = d / l.ConductivityWMK
		}
		if sd == 0 && l.Mu > 0 {
			sd = l.Mu * d
		}
		if r == 0 && sd == 0 {
			return nil, fmt.Errorf("%w: %s has neither a thermal nor a vapour resistance: give conductivity and mu with a "+
				"thickness, or r and sd", ErrInput, name)
		}
		if !(r >= 0 && r < 100 && sd >= 0 && sd <= 1e5) {
			return nil, fmt.Errorf("%w: %s has R = %g m2K/W and sd = %g m, want 0..100 and 0..100 000", ErrInput, name, r, sd)
		}
		out = append(out, Layer{name, r, sd})
	}
	return out, nil
}

// BuildUp is a build-up from indoors to outdoors with its surface resistances.
type BuildUp struct {
	Layers   []Layer
	Rsi, Rse float64 // m2 K/W; 0 takes the default
}

// Climate is the air on both sides.
type Climate struct {
	IndoorC, OutdoorC   float64
	IndoorPa, OutdoorPa float64 // vapour pressures
}

// section is the build-up cut into interfaces: nodes run from outdoors (0) to
// indoors, at the cumulative vapour and thermal resistances seen from outdoors.
type section struct {
	sd, r  []float64 // at each node; r includes Rse
	total  float64   // thermal, surface to surface and both surfaces
	bounds []int     // node of each real layer bound, from outdoors in
	names  []string  // what lies at a node
}

func (b BuildUp) section() (*section, error) {
	if b.Rsi == 0 {
		b.Rsi = defaultRsi
	}
	if b.Rse == 0 {
		b.Rse = defaultRse
	}
	if !(b.Rsi > 0 && b.Rsi < 1 && b.Rse > 0 && b.Rse < 1) {
		return nil, fmt.Errorf("%w: surface resistances of %g and %g m2K/W, want more than 0 and under 1", ErrInput, b.Rsi,
			b.Rse)
	}
	if len(b.Layers) == 0 {
		return nil, fmt.Errorf("%w: it has no layers", ErrInput)
	}
	s := &section{sd: []float64{0}, r: []float64{b.Rse}, bounds: []int{0},
		names: []string{"outside of " + b.Layers[len(b.Layers)-1].Name}}
	for i := len(b.Layers) - 1; i >= 0; i-- {
		l := b.Layers[i]
		if !(l.ResistanceM2KW >= 0 && l.ResistanceM2KW < 100 && l.SdM >= 0 && l.SdM <= 1e5) {
			return nil, fmt.Errorf("%w: %s has R = %g m2K/W and sd = %g m, want 0..100 and 0..100 000", ErrInput, l.Name,
				l.ResistanceM2KW, l.SdM)
		}
		n := max(1, int(math.Ceil(l.ResistanceM2KW/subdivideAbove-1e-9)))
		sd, r := s.sd[len(s.sd)-1], s.r[len(s.r)-1]
		for k := 1; k <= n; k++ {
			f := float64(k) / float64(n)
			s.sd = append(s.sd, sd+f*l.SdM)
			s.r = append(s.r, r+f*l.ResistanceM2KW)
			name := "inside " + l.Name
			if k == n {
				name = "inner face of " + l.Name
				if i > 0 {
					name = "between " + b.Layers[i-1].Name + " and " + l.Name
				}
			}
			s.names = append(s.names, name)
		}
		s.bounds = append(s.bounds, len(s.sd)-1)
	}
	s.total = s.r[len(s.r)-1] + b.Rsi
	if s.sd[len(s.sd)-1] <= 0 {
		return nil, fmt.Errorf("%w: its layers have no vapour resistance at all", ErrInput)
	}
	return s, nil
}

// Plane is an interface where water collects.
type Plane struct {
	Where    string
	SdM      float64 // from outdoors
	TempC    float64
	SatPa    float64
	RateKgM2 float64 // kg/(m2 s); below 0 it dries
}

// Interface is one bound between two layers, or a face, at steady state.
type Interface struct {
	Where    string
	TempC    float64
	SatPa    float64
	VapourPa float64
}

// Steady is one climate held until nothing changes.
type Steady struct {
	TotalM2KW  float64
	Interfaces []Interface // from outdoors in, faces included
	Planes     []Plane     // where water collects
	FaceWets   bool        // the inner face lies under the room's dew point: surface condensation, not counted here
}

// temps gives each node's temperature and saturation pressure (EN ISO
// 13788:2012, clause 6.3 and Annex E).
func (s *section) temps(c Climate) (temp, sat []float64, err error) {
	for _, t := range [2]float64{c.IndoorC, c.OutdoorC} {
		if !(t >= -60 && t <= 60) {
			return nil, nil, fmt.Errorf("%w: air of %g C, want -60..60 C", ErrInput, t)
		}
	}
	temp, sat = make([]float64, len(s.r)), make([]float64, len(s.r))
	for i, r := range s.r {
		temp[i] = c.OutdoorC + (c.IndoorC-c.OutdoorC)*r/s.total
		if sat[i], err = psychro.ISO13788SatPa(temp[i]); err != nil {
			return nil, nil, fmt.Errorf("%w: %w", ErrInput, err)
		}
	}
	for _, side := range []struct {
		name  string
		pa, c float64
	}{{"indoor", c.IndoorPa, c.IndoorC}, {"outdoor", c.OutdoorPa, c.OutdoorC}} {
		most, err := psychro.ISO13788SatPa(side.c)
		if err != nil {
			return nil, nil, fmt.Errorf("%w: %w", ErrInput, err)
		}
		if !(side.pa >= 0 && side.pa <= most*1.000001) {
			return nil, nil, fmt.Errorf("%w: %s vapour pressure of %g Pa, want 0 up to saturation at %g C, %.0f Pa", ErrInput,
				side.name, side.pa, side.c, most)
		}
	}
	return temp, sat, nil
}

// taut draws the vapour pressure over the resistances: between the ends and the
// planes that already hold water (where it stands at saturation) the straight
// line, or where that would pass the saturation curve, the tightest line under
// it, which touches it at new planes (EN ISO 13788:2012, clause 6.4 and its
// Figure 5). Returned are the nodes where it is fixed, ends included.
func (s *section) taut(c Climate, sat []float64, wet []bool) (fixed []int, pressure []float64) {
	last := len(s.sd) - 1
	pressure = append([]float64(nil), sat...)
	pressure[0], pressure[last] = c.OutdoorPa, c.IndoorPa
	from := 0
	fixed = []int{0}
	for to := 1; to <= last; to++ {
		if to < last && !wet[to] {
			continue
		}
		fixed = append(fixed, s.under(pressure, from, to)...)
		from = to
	}
	return fixed, pressure
}

// under is the lower hull of the points from one fixed node to the next: the
// nodes at which it bends, and the last. Nodes that share one sd with a fixed
// neighbour (a layer without vapour resistance) cannot bend the line.
func (s *section) under(pressure []float64, from, to int) []int {
	hull := []int{from}
	for k := from + 1; k <= to; k++ {
		if k < to && (s.sd[k]-s.sd[from] <= 0 || s.sd[to]-s.sd[k] <= 0) {
			continue
		}
		for len(hull) > 1 {
			a, b := hull[len(hull)-2], hull[len(hull)-1]
			// b goes where it lies on or above the line from a to k.
			if (pressure[b]-pressure[a])*(s.sd[k]-s.sd[a]) < (pressure[k]-pressure[a])*(s.sd[b]-s.sd[a]) {
				break
			}
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, k)
	}
	return hull[1:]
}

// rates is the water gained at each fixed node between the ends, kg/(m2 s) (EN
// ISO 13788:2012, eqs 17 and 19):
//
//	g = delta0 [(p_in - p)/(sd_in - sd) - (p - p_out)/(sd - sd_out)]
func (s *section) rates(fixed []int, pressure []float64) map[int]float64 {
	out := map[int]float64{}
	for i := 1; i+1 < len(fixed); i++ {
		o, k, n := fixed[i-1], fixed[i], fixed[i+1]
		out[k] = Delta0 * (s.slope(pressure, k, n) - s.slope(pressure, o, k))
	}
	return out
}

func (s *section) slope(pressure []float64, a, b int) float64 {
	d := s.sd[b] - s.sd[a]
	if d <= 0 {
		return 0
	}
	return (pressure[b] - pressure[a]) / d
}

// SteadyState is one climate held: temperatures by thermal resistance, the
// vapour line by the Glaser procedure, and the planes at which water collects
// (EN ISO 13788:2012, clause 6).
func SteadyState(b BuildUp, c Climate) (*Steady, error) {
	s, err := b.section()
	if err != nil {
		return nil, err
	}
	temp, sat, err := s.temps(c)
	if err != nil {
		return nil, err
	}
	fixed, pressure := s.taut(c, sat, make([]bool, len(sat)))
	rates := s.rates(fixed, pressure)
	out := &Steady{TotalM2KW: s.total, FaceWets: c.IndoorPa > sat[len(sat)-1]}
	line := s.line(fixed, pressure)
	for _, k := range s.bounds {
		out.Interfaces = append(out.Interfaces, Interface{s.names[k], temp[k], sat[k], line[k]})
	}
	for _, k := range fixed {
		if g, ok := rates[k]; ok {
			out.Planes = append(out.Planes, Plane{s.names[k], s.sd[k], temp[k], sat[k], g})
		}
	}
	return out, nil
}

// line is the vapour pressure at every node.
func (s *section) line(fixed []int, pressure []float64) []float64 {
	out := make([]float64, len(s.sd))
	for i := 0; i+1 < len(fixed); i++ {
		a, b := fixed[i], fixed[i+1]
		for k := a; k <= b; k++ {
			out[k] = pressure[a] + s.slope(pressure, a, b)*(s.sd[k]-s.sd[a])
		}
		out[b] = pressure[b]
	}
	return out
}
