package psychro

import (
	"fmt"
	"sort"
	"strings"
)

// Salt is a saturated solution whose air space holds a known humidity, for
// checking a logger.
type Salt struct {
	Name           string     // chemical formula
	Coefficients   [4]float64 // %RH, %RH/C, %RH/C2, %RH/C3
	UncertaintyPct float64    // of the value at 25 C as published (about 2 standard uncertainties)
	Remark         string
}

// Greenspan 1977, J. Res. NBS 81A:89-96, polynomial fits. The linear terms of
// LiCl and K2CO3 carry a minus sign in two public transcriptions, which
// contradicts the paper's own table (11.30 % at 25 C, 43.16 % at 25 C); the
// positive sign reproduces the table. Uncertainties from memory of Table 2.
var salts = map[string]Salt{
	"LiCl":  {Name: "LiCl", Coefficients: [4]float64{11.2323, 0.00824245, -2.1489e-4}, UncertaintyPct: 0.27},
	"MgCl2": {Name: "MgCl2", Coefficients: [4]float64{33.6686, -0.00797397, -1.08988e-3}, UncertaintyPct: 0.16},
	"K2CO3": {Name: "K2CO3", Coefficients: [4]float64{43.1315, 0.00147523}, UncertaintyPct: 0.39,
		Remark: "caustic: gloves and eye protection"},
	"NaCl": {Name: "NaCl", Coefficients: [4]float64{75.5164, 0.0398321, -2.65459e-3, 2.848e-5}, UncertaintyPct: 0.12,
		Remark: "kitchen salt without anti-caking agent; the one for a loft"},
	"KCl":   {Name: "KCl", Coefficients: [4]float64{88.6190, -0.193340, 8.99706e-4}, UncertaintyPct: 0.26},
	"KNO3":  {Name: "KNO3", Coefficients: [4]float64{96.3361, 0.0112371, -4.84514e-3}, UncertaintyPct: 0.55},
	"K2SO4": {Name: "K2SO4", Coefficients: [4]float64{98.7792, -0.0590502}, UncertaintyPct: 0.45},
}

// Salts lists the saturated salts known here, driest first.
func Salts() []Salt {
	out := make([]Salt, 0, len(salts))
	for _, s := range salts {
		out = append(out, s)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Coefficients[0] < out[j].Coefficients[0] })
	return out
}

// SaltRHPct is the humidity in % over the saturated solution of a salt (its
// formula, "NaCl") at tempC (0..40 C), with its published uncertainty in %RH
// (Greenspan 1977, polynomial fits):
//
//	RH = A0 + A1 t + A2 t^2 + A3 t^3
//
// The paper's table is met within 0.011 %RH. The uncertainty is the one at 25 C;
// it holds only for a sealed jar without temperature drift, with crystals and
// liquid both present, after a night's rest (common practice).
func SaltRHPct(salt string, tempC float64) (rhPct, uncertaintyPct float64, err error) {
	s, ok := salts[salt]
	if !ok {
		var names []string
		for _, s := range Salts() {
			names = append(names, s.Name)
		}
		return 0, 0, fmt.Errorf("salt %q is not known: one of %s", salt, strings.Join(names, ", "))
	}
	if !(tempC >= 0 && tempC <= 40) {
		return 0, 0, fmt.Errorf("humidity over %s at %g C: temperature %w (0..40 C)", salt, tempC, ErrRange)
	}
	a := s.Coefficients
	return a[0] + tempC*(a[1]+tempC*(a[2]+tempC*a[3])), s.UncertaintyPct, nil
}
