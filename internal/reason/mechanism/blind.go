package mechanism

import "math"

// Limits of the void's condition where nothing outdoors was logged.
const (
	blindSpread = 0.1
	blindZ      = 2.0 // each of the two
	blindFallZ  = 1.0
	// lastBlindNight ends the looks: on a measured roof that nobody touched, the sun
	// of March reads like an opening from 51 nights on.
	lastBlindNight = 45
)

// blindLooks are the evenings of one void without outdoor air: how far its air
// follows its covering from hour to hour, and where it stands between covering and
// loft.
type blindLooks struct {
	r               *record
	response, level *balance
	bases           [2]baseline
	loft            *column
	evenings        []blindLook
}

type blindLook struct {
	asked, likeWeather bool
	response, level    contrast
}

func newBlindLooks(r *record, air, cover, loft *column) *blindLooks {
	b := &blindLooks{r: r, response: r.response(air, cover, loft), level: r.level(air, cover, loft), loft: loft}
	b.bases = [2]baseline{b.response.baseline(voidUnknown), b.level.baseline(voidUnknown)}
	b.evenings = make([]blindLook, max(min(r.until, lastBlindNight)-firstVoidNight+1, 0))
	return b
}

const blindCols = 3

// blind is a balance of the void's air without outdoor air.
func (r *record) blind(of func(c *[maxCols]float64) float64) *balance {
	return &balance{r: r, solver: newSolver(blindCols), share: of, c: voidFloor, s0: blindSpread,
		days: make([]moments, r.until-r.first)}
}

// response sets up the void's hour-to-hour changes on its covering's and the loft's,
// with the covering colder than the loft: the share asked is that of a covering's
// change which the void does not follow.
func (r *record) response(air, cover, loft *column) *balance {
	b := r.blind(func(c *[maxCols]float64) float64 { return 1 - c[0] })
	cold := func(k int) bool { return cover.v[k] <= loft.v[k]+nightK }
	for k := 1; k < r.hours(); k++ {
		if cold(k) && cold(k-1) {
			b.take(k, 1, air.seen[k]-air.seen[k-1], []float64{cover.v[k] - cover.v[k-1], loft.v[k] - loft.v[k-1], 1})
		}
	}
	return b
}

// level sets up the void's place between covering and loft.
func (r *record) level(air, cover, loft *column) *balance {
	b := r.blind(func(c *[maxCols]float64) float64 { return c[0] })
	for k := 1; k < r.hours(); k++ {
		x := loft.v[k] - cover.v[k]
		b.take(k, 1/(1+square(x/sunK)), air.seen[k]-cover.seen[k], []float64{x, 1, cover.v[k-1] - cover.v[k]})
	}
	return b
}

// at is the i-th evening from firstVoidNight on.
func (b *blindLooks) at(i int) *blindLook {
	l := &b.evenings[i]
	if !l.asked {
		night := i + firstVoidNight
		*l = blindLook{asked: true, response: b.response.after(&b.bases[0], night), level: b.level.after(&b.bases[1], night),
			likeWeather: math.Abs(b.r.mean(b.loft, b.r.first, 0)-b.r.mean(b.loft, 1, night)) <= likeWeatherK}
	}
	return l
}

// holds is the condition of one evening.
func (b *blindLooks) holds(i int) bool {
	l := b.at(i)
	return l.response.ok && l.level.ok && l.likeWeather && math.Abs(l.response.z) > blindZ &&
		math.Abs(l.level.z) > blindZ && l.response.z*l.level.z > 0
}

func (b *blindLooks) falls(i int) bool {
	l := b.at(i)
	return l.response.ok && math.Abs(l.response.z) < blindFallZ
}

// judge lets the looks say that the void changed, and which way; how much is not
// known, and that it did not change is never said.
func (b *blindLooks) judge(r *Result) {
	n := len(b.evenings)
	r.Nights = min(r.Nights, lastBlindNight)
	if stands, since := steady(n, b.holds, b.falls); stands {
		nights := since + firstVoidNight
		r.Verdict, r.SinceNights = Changed, &nights
		r.Said.Blind, r.Said.More = true, b.at(n-1).response.ln > 0
	}
}
