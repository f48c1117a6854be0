package assessment

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/reason/mechanism"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
)

func TestWhichOpeningsAreAskedAfter(t *testing.T) {
	at := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	c := &roof.Case{Events: []roof.Event{{At: at, Kind: roof.Repair,
		Changes: []roof.Change{roof.LoftVentilation, roof.VoidVentilation, roof.CeilingChange}}}}
	for _, x := range []struct {
		name  string
		r     mechanism.Result
		asked bool
	}{
		{"a void without change", mechanism.Result{What: roof.VoidVentilation, Credited: true,
			Verdict: mechanism.NoChangeShown}, true},
		{"a loft without change", mechanism.Result{What: roof.LoftVentilation, Credited: true,
			Verdict: mechanism.NoChangeShown}, true},
		{"a loft that may have changed", mechanism.Result{What: roof.LoftVentilation, Credited: true,
			Verdict: mechanism.NoChangeShown, Factor: new(float64)}, true},
		{"too early", mechanism.Result{What: roof.VoidVentilation, Credited: true, Verdict: mechanism.TooEarly}, false},
		{"changed", mechanism.Result{What: roof.VoidVentilation, Credited: true, Verdict: mechanism.Changed}, false},
		{"not credited", mechanism.Result{What: roof.VoidVentilation, Verdict: mechanism.NoChangeShown}, false},
		{"a ceiling", mechanism.Result{What: roof.CeilingChange, Credited: true, Verdict: mechanism.NoChangeShown}, false},
	} {
		if x.r.Factor == nil {
			f := 1.1
			x.r.Factor = &f
		} else {
			*x.r.Factor, x.asked = 2.2, false
		}
		a := Assessment{Repairs: []Repair{{Result: repair.Result{At: at}, Exchanges: []mechanism.Result{x.r}}}}
		assert.Equal(t, x.asked, a.Unseen(c, 0) != "", x.name)
	}
}
