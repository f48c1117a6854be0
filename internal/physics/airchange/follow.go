package airchange

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"dewcase/internal/physics/psychro"
)

// Air is one position's hourly means on a common grid; values where Seen is
// false do not matter. Seen asks for two thirds of the hour.
type Air struct {
	TempC, VapourPa []float64
	Seen            []bool
}

// Estimate is an air change per hour with its 95 % interval, or the reason why
// there is none.
type Estimate struct {
	Known     bool
	PerHour   float64
	Low, High float64
	AtMost    float64 // an upper bound where only that is known; 0 none
	Method    string
	Why       string // where it is not known: what is in the way
}

// Shares are the steady shares of a quick change that the air of a space
// follows: of outdoors, of the source air beyond the ceiling or underlay, and of
// the moisture of its own wood; with standard errors.
type Shares struct {
	Outdoor, Source, Wood float64
	OutdoorSE, WoodSE     float64
}

// LoftWoodRate is what an ordinary amount of bare timber gives and takes in a
// loft, in air changes an hour of the loft's volume: 1.6 and 1.8 in two
// independent roof simulations. More bare wood (boards, sarking) raises it, and
// the estimate then reads low.
const LoftWoodRate = 1.7

// followFactor is the 95 % factor by which the loft estimate is trusted beyond
// its statistical error: 1.7 to 2.5 in the same simulations.
const followFactor = 2.0

const (
	minRows = 200
	window  = 25 // hours of the running mean taken off
	z95     = 1.96
)

// Follow fits the small moisture balance of a space (a loft between outdoors and
// the house, a void between outdoors and the loft) to hourly vapour pressures
// less their 25 h running mean, so that a constant offset of a logger drops out:
//
//	y(t) = a y(t-1) + b0 o(t) + b1 o(t-1) + sum c_k e(t-k) + d0 s(t) + d1 s(t-1) + daily terms
//
// y, o the space and outdoors; e the source's pressure less what outdoors
// explains of it (lags 0..2); s the saturation pressure at the space's
// temperature times its mean humidity, for its wood. Shares are the sums of the
// coefficients over 1 - a; standard errors by the delta method. Without a source
// logger (nil) its terms are left out. startMS is the grid's first hour.
// Needs 200 usable hours; anything less is an error that says so, as is a space
// whose air does not move.
func Follow(startMS int64, outdoor Air, source *Air, space Air) (Shares, error) {
	n := len(outdoor.Seen)
	airs := map[string]Air{"outdoors": outdoor, "the space": space}
	if source != nil {
		airs["the source"] = *source
	}
	for name, a := range airs {
		if err := a.check(name, n); err != nil {
			return Shares{}, err
		}
	}
	day := harmonics(startMS, n)
	o, y := highPass(outdoor.vapour()), highPass(space.vapour())
	s := highPass(wood(space))
	columns := []column{y.lag(1), o, o.lag(1)}
	if source != nil {
		e, err := unexplained(highPass(source.vapour()), o, day)
		if err != nil {
			return Shares{}, err
		}
		columns = append(columns, e, e.lag(1), e.lag(2))
	}
	columns = append(columns, s, s.lag(1))
	woodAt := len(columns) - 2
	f, err := leastSquares(y, append(columns, day...), minRows)
	if err != nil {
		return Shares{}, err
	}
	free := 1 - f.coef[0]
	if free < 0.01 {
		return Shares{}, fmt.Errorf("%w: the air of the space does not move from one hour to the next", ErrInput)
	}
	var out Shares
	out.Outdoor, out.OutdoorSE = f.share(1, 3, free)
	if source != nil {
		out.Source, _ = f.share(3, 6, free)
	}
	out.Wood, out.WoodSE = f.share(woodAt, woodAt+2, free)
	return out, nil
}

// Loft is the apparent air change of a loft from how its moisture follows
// outdoors, against how it follows its own wood:
//
//	n = LoftWoodRate wo / wt per hour
//
// good to a factor of about two beside the fit's own error, both in the
// interval. A loft that follows outdoors too little to tell gets an upper bound;
// one whose wood is not seen, or with too few hours, is not identifiable. house
// may be nil.
func Loft(startMS int64, outdoor Air, house *Air, loft Air) (Estimate, error) {
	e, err := apparent(startMS, outdoor, house, loft, LoftWoodRate)
	if e.Known {
		e.Method = "how fast the loft's moisture follows outdoors, against its own wood; assumes an ordinary amount of " +
			"bare timber"
	}
	return e, err
}

// Void is the same for a batten void between outdoors and the loft. How fast its
// wood gives and takes is not known in general: woodRate in air changes an hour
// must come from a survey or a tracer test; 0 (unknown) makes the air change not
// identifiable, and only the shares of Follow can be read.
func Void(startMS int64, outdoor Air, loft *Air, void Air, woodRate float64) (Estimate, error) {
	if woodRate == 0 {
		return Estimate{Why: "how fast the battens give and take moisture in this void is not known, so that only its " +
			"following of outdoors can be judged, not its air change"}, nil
	}
	if err := positive("a void's wood", woodRate); err != nil {
		return Estimate{}, err
	}
	return apparent(startMS, outdoor, loft, void, woodRate)
}

func apparent(startMS int64, outdoor Air, source *Air, space Air, woodRate float64) (Estimate, error) {
	s, err := Follow(startMS, outdoor, source, space)
	if err != nil {
		if errors.As(err, &errTooFew{}) {
			return Estimate{Why: err.Error()}, nil
		}
		return Estimate{}, err
	}
	e := Estimate{Method: "how fast the space's moisture follows outdoors, against its own wood"}
	if s.Wood < z95*s.WoodSE || s.Wood < 0.02 {
		e.Why = "the moisture of the space's own wood is not seen in the air, so that there is no clock to hold the " +
			"exchange against"
		return e, nil
	}
	// Where wood answers little the rate is bounded, as the method does, so that
	// a small denominator does not make a gale.
	wood := math.Max(s.Wood, 0.1)
	if s.Outdoor < z95*s.OutdoorSE || s.Outdoor < 0.02 {
		e.AtMost = followFactor * woodRate * math.Max(s.Outdoor+z95*s.OutdoorSE, 0.02) / wood
		e.Why = fmt.Sprintf("the space follows outdoors too little to tell from nothing: at most about %.1f air changes "+
			"an hour", e.AtMost)
		return e, nil
	}
	e.PerHour = woodRate * s.Outdoor / wood
	relative := math.Hypot(s.OutdoorSE/s.Outdoor, s.WoodSE/s.Wood)
	spread := math.Exp(z95 * math.Hypot(math.Log(followFactor)/z95, relative))
	if spread > 5 {
		e.PerHour = 0
		e.Why = fmt.Sprintf("the record leaves the air change open to a factor of %.0f", spread)
		return e, nil
	}
	e.Known, e.Low, e.High = true, e.PerHour/spread, e.PerHour*spread
	return e, nil
}

func (a Air) check(name string, n int) error {
	if len(a.TempC) != n || len(a.VapourPa) != n || len(a.Seen) != n {
		return fmt.Errorf("%w: %s has %d temperatures, %d pressures and %d marks for %d hours", ErrInput, name, len(a.TempC),
			len(a.VapourPa), len(a.Seen), n)
	}
	for i, seen := range a.Seen {
		if seen && !(a.TempC[i] >= -90 && a.TempC[i] <= 100 && a.VapourPa[i] >= 0 && a.VapourPa[i] <= 2e5) {
			return fmt.Errorf("%w: %s in hour %d: %g C and %g Pa", ErrInput, name, i, a.TempC[i], a.VapourPa[i])
		}
	}
	return nil
}

// column is one regressor hour by hour; has says where it is known.
type column struct {
	v   []float64
	has []bool
}

func (a Air) vapour() column { return column{a.VapourPa, a.Seen} }

func (c column) lag(k int) column {
	n := len(c.v)
	out := column{make([]float64, n), make([]bool, n)}
	copy(out.v[min(k, n):], c.v)
	copy(out.has[min(k, n):], c.has)
	return out
}

// wood is the vapour pressure over the space's wood, at its mean humidity.
func wood(space Air) column {
	n := len(space.Seen)
	out := column{make([]float64, n), space.Seen}
	var rh, count float64
	for i, seen := range space.Seen {
		if seen {
			out.v[i] = psychro.SatWaterPa(space.TempC[i])
			rh += space.VapourPa[i] / out.v[i]
			count++
		}
	}
	for i := range out.v {
		out.v[i] *= rh / math.Max(count, 1)
	}
	return out
}

// highPass takes off the centred running mean over the window, known where
// three quarters of it are.
func highPass(c column) column {
	n := len(c.v)
	sum, count := make([]float64, n+1), make([]int, n+1)
	for i := range c.v {
		sum[i+1], count[i+1] = sum[i], count[i]
		if c.has[i] {
			sum[i+1] += c.v[i]
			count[i+1]++
		}
	}
	out := column{make([]float64, n), make([]bool, n)}
	for i := range c.v {
		low, high := max(0, i-window/2), min(n, i+window/2+1)
		k := count[high] - count[low]
		if c.has[i] && 4*k >= 3*window {
			out.v[i], out.has[i] = c.v[i]-(sum[high]-sum[low])/float64(k), true
		}
	}
	return out
}

// harmonics are sine and cosine of a day and half a day.
func harmonics(startMS int64, n int) []column {
	all := make([]bool, n)
	for i := range all {
		all[i] = true
	}
	var out []column
	for _, period := range [2]float64{24, 12} {
		s, c := make([]float64, n), make([]float64, n)
		for i := range n {
			a := 2 * math.Pi * (float64(startMS)/3.6e6 + float64(i)) / period
			s[i], c[i] = math.Sin(a), math.Cos(a)
		}
		out = append(out, column{s, all}, column{c, all})
	}
	return out
}

// unexplained is the source's pressure less what outdoors explains of it.
func unexplained(source, o column, day []column) (column, error) {
	f, err := leastSquares(source, append([]column{o, o.lag(1), o.lag(3), o.lag(6)}, day...), minRows/2)
	if err != nil {
		return column{}, err
	}
	return f.residual, nil
}

type fit struct {
	coef     []float64
	cov      *mat.SymDense
	residual column
}

// share is the sum of coefficients [from, to) over free = 1 - coef[0], with its
// standard error by the delta method.
func (f *fit) share(from, to int, free float64) (value, se float64) {
	grad := make([]float64, len(f.coef))
	for k := from; k < to; k++ {
		value += f.coef[k]
		grad[k] = 1 / free
	}
	grad[0] = value / (free * free)
	g := mat.NewVecDense(len(grad), grad)
	v := mat.Inner(g, f.cov, g)
	return value / free, math.Sqrt(math.Max(v, 0))
}

// errTooFew marks a fit that could not be made for want of data.
type errTooFew struct{ text string }

func (e errTooFew) Error() string { return e.text }

// leastSquares fits y by the columns over the hours in which all are known.
func leastSquares(y column, columns []column, least int) (*fit, error) {
	n, k := len(y.v), len(columns)
	usable := func(i int) bool {
		if !y.has[i] {
			return false
		}
		for _, c := range columns {
			if !c.has[i] {
				return false
			}
		}
		return true
	}
	xtx, xty := mat.NewSymDense(k, nil), mat.NewVecDense(k, nil)
	row := make([]float64, k)
	rows := 0
	for i := range n {
		if !usable(i) {
			continue
		}
		for j, c := range columns {
			row[j] = c.v[i]
		}
		xtx.SymRankOne(xtx, 1, mat.NewVecDense(k, row))
		xty.AddScaledVec(xty, y.v[i], mat.NewVecDense(k, row))
		rows++
	}
	if rows < least {
		return nil, errTooFew{fmt.Sprintf("only %d hours in which every logger was there, of %d needed", rows, least)}
	}
	var chol mat.Cholesky
	if !chol.Factorize(xtx) || chol.Cond() > 1e14 {
		return nil, errTooFew{"the loggers' courses are too alike, or do not move, so that their shares cannot be told apart"}
	}
	var coef mat.VecDense
	if err := chol.SolveVecTo(&coef, xty); err != nil {
		return nil, errTooFew{"the loggers' courses are too alike, so that their shares cannot be told apart"}
	}
	f := &fit{coef: coef.RawVector().Data, residual: column{make([]float64, n), make([]bool, n)}}
	var rss float64
	for i := range n {
		if !usable(i) {
			continue
		}
		r := y.v[i]
		for j, c := range columns {
			r -= f.coef[j] * c.v[i]
		}
		f.residual.v[i], f.residual.has[i] = r, true
		rss += r * r
	}
	f.cov = mat.NewSymDense(k, nil)
	if err := chol.InverseTo(f.cov); err != nil {
		return nil, errTooFew{"the loggers' courses are too alike, so that their shares cannot be told apart"}
	}
	f.cov.ScaleSym(rss/float64(max(rows-k, 1)), f.cov)
	return f, nil
}
