package repair

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Three answers of which two have no value in common are said to disagree.
func TestAnswersDisagreeWhereTwoIntervalsHaveNothingInCommon(t *testing.T) {
	for _, c := range []struct {
		measured, model, like *Effect
		want                  bool
	}{
		{&Effect{71, 40, 90}, &Effect{76, 39, 93}, &Effect{63, 20, 80}, false},
		{&Effect{71, 40, 90}, &Effect{76, 39, 93}, &Effect{10, -20, 38}, true},
		{&Effect{5, -10, 20}, &Effect{76, 39, 93}, nil, true},
		{nil, &Effect{76, 39, 93}, nil, false},
		{&Effect{39, 20, 39}, &Effect{76, 39, 93}, nil, false},
		{nil, nil, nil, false},
	} {
		got := (&Comparison{Measured: c.measured, Model: c.model, Like: c.like}).apart()
		assert.Equal(t, c.want, got, "%v %v %v", c.measured, c.model, c.like)
	}
}

// A fall is the plain ratio of its two figures, whatever its interval was to be.
func TestAFallIsThePlainRatioWithinItsInterval(t *testing.T) {
	for _, c := range []struct{ with, without, low, high, pct, wantLow, wantHigh float64 }{
		{157.9, 669.5, 32, 98, 76.4, 32, 98},
		{157.9, 669.5, 80, 98, 76.4, 76.4, 98},
		{120, 100, -60, -30, -20, -60, -20},
		{0, 0, -5, 5, 0, -5, 5},
	} {
		e := plain(c.with, c.without, c.low, c.high).given()
		assert.Equal(t, Effect{c.pct, c.wantLow, c.wantHigh}, *e)
	}
}
