package mechanism

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// invented is the climate of a void that is opened after 60 days, as a case.
func invented(t testing.TB, nights int, event func(*roof.Event), edit func(*roof.Case)) (*series.Set, roof.Event) {
	t.Helper()
	r := winter(nights)
	out, cover, loft := climate(r.hours(), 5)
	air := noisy(vented(out, cover, func(k int) float64 {
		if k < 60*24 {
			return 0.05
		}
		return 0.8
	}), 0.1, 6)
	at := time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	e := roof.Event{At: at, Kind: roof.Repair, What: "void opened", Changes: []roof.Change{roof.VoidVentilation}}
	if event != nil {
		event(&e)
	}
	c := &roof.Case{ID: "void", Property: roof.Property{Timezone: "UTC", Zone: time.UTC}, Events: []roof.Event{e},
		Positions: []roof.Position{{ID: "out", Place: roof.OutdoorAir}, {ID: "loft", Place: roof.LoftAir},
			{ID: "void", Place: roof.BattenVoidAir}, {ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}}}
	if edit != nil {
		edit(c)
	}
	set := &series.Set{Case: c, FromMS: at.AddDate(0, 0, -60).UnixMilli(), UntilMS: at.AddDate(0, 0, nights).UnixMilli()}
	for i, col := range []*column{out, loft, air, cover} {
		if i >= len(c.Positions) {
			break
		}
		x := series.Course{Position: c.Positions[i]}
		for k, v := range col.v {
			x.TempC.AtMS = append(x.TempC.AtMS, set.FromMS+int64(k)*time.Hour.Milliseconds())
			x.TempC.Value, x.TempC.Joined = append(x.TempC.Value, v), append(x.TempC.Joined, k < len(col.v)-1)
		}
		set.Courses = append(set.Courses, x)
	}
	return set, e
}

func asked(set *series.Set, e roof.Event) []Result {
	return Assess(set, []repair.Result{{At: e.At, What: e.What, Surface: "slate"}})[0]
}

func TestWhatIsSaidOfAVoid(t *testing.T) {
	logger := func(fits ...roof.Fitting) func(*roof.Case) {
		return func(c *roof.Case) { c.Loggers = []roof.Logger{{ID: "k4", Fitted: fits}} }
	}
	at := time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	day := func(n int) time.Time { return at.AddDate(0, 0, n) }
	kept := func(e *roof.Event) { e.Battens, e.KeptInPlace = "counter", []string{"void"} }
	for _, c := range []struct {
		name    string
		nights  int
		event   func(*roof.Event)
		edit    func(*roof.Case)
		verdict Verdict
		want    words.ExchangeWant
	}{
		{"opened", 30, nil, nil, Changed, words.WantNothing},
		{"the first nights", 2, nil, nil, TooEarly, words.WantAfter},
		{"not enough hours yet", 3, nil, nil, TooEarly, words.WantHoursAfter},
		{"the logger taken out and put back", 30, nil, logger(roof.Fitting{Position: "void", From: day(-60), To: day(-1)},
			roof.Fitting{Position: "void", From: day(2)}), TooEarly, words.WantLoggerInPlace},
		{"put back at its place, as somebody " +
			"says", 30, kept, logger(roof.Fitting{Position: "void", From: day(-60), To: day(-1)},
			roof.Fitting{Position: "void", From: day(2)}), Changed, words.WantNothing},
		{"another logger in its place", 30, nil, func(c *roof.Case) {
			c.Loggers = []roof.Logger{{ID: "k4", Fitted: []roof.Fitting{{Position: "void", From: day(-60), To: day(0)}}},
				{ID: "k9", Fitted: []roof.Fitting{{Position: "void", From: day(0)}}}}
		}, Changed, words.WantNothing},
		{"the covering lifted", 30, func(e *roof.Event) { e.Battens = "counter" }, nil, TooEarly, words.WantWordOnLogger},
		{"the covering lifted, the logger in its place", 30, kept, nil, Changed, words.WantNothing},
		{"no covering logged", 30, nil, func(c *roof.Case) { c.Positions = c.Positions[:3] }, TooEarly, words.WantPlace},
		{"an earlier work a fortnight ago", 30, nil, func(c *roof.Case) {
			c.Events = append(c.Events, roof.Event{At: day(-6), Kind: roof.Repair, What: "before"})
		}, TooEarly, words.WantHoursBefore},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := asked(invented(t, c.nights, c.event, c.edit))
			require.Len(t, got, 1)
			r := got[0]
			assert.Equal(t, c.verdict, r.Verdict, r.Reason)
			assert.Equal(t, c.want, r.Said.Want, r.Reason)
			assert.Equal(t, r.Said.Sentence().String(), r.Reason)
			assert.Equal(t, c.verdict == Changed, r.SinceNights != nil)
			if c.verdict == Changed {
				assert.Greater(t, *r.Factor, 8.0)
				assert.Less(t, *r.Low, *r.Factor)
				assert.Less(t, *r.ShareBefore, *r.ShareAfter)
			}
		})
	}
}

// Without outdoor air the way is told, and neither how far nor that nothing changed.
func TestWhatIsSaidOfAVoidWithoutOutdoorAir(t *testing.T) {
	blind := func(c *roof.Case) { c.Positions[0].Place = roof.Other }
	r := asked(invented(t, 45, nil, blind))[0]
	require.Equal(t, Changed, r.Verdict, r.Reason)
	assert.Nil(t, r.Factor)
	assert.Contains(t, r.Reason, "the void exchanges more air with outdoors than before")
	assert.Contains(t, r.Reason, "cannot be told without outdoor air")
	nothing := func(c *roof.Case) { c.Positions[0].Place, c.Positions[1].Place = roof.Other, roof.Other }
	r = asked(invented(t, 45, nil, nothing))[0]
	assert.Equal(t, TooEarly, r.Verdict)
	assert.Contains(t, r.Reason, "imported series of a weather station")
	set, e := invented(t, 45, nil, blind)
	shut := set.Courses[2].TempC // what it read before, over again
	half := 60 * 24
	for k := half; k < len(shut.Value); k++ {
		shut.Value[k] = set.Courses[3].TempC.Value[k] + shut.Value[k-half] - set.Courses[3].TempC.Value[k-half]
	}
	r = asked(set, e)[0]
	assert.Equal(t, TooEarly, r.Verdict)
	assert.Contains(t, r.Reason, "page Files")
}

// What the work cannot have done is told apart, and is no verdict.
func TestAChangeWithoutCreditIsNoticedOnly(t *testing.T) {
	got := asked(invented(t, 30, func(e *roof.Event) { e.Changes = []roof.Change{roof.WaterEntry} }, nil))
	require.Len(t, got, 2)
	assert.Equal(t, roof.VoidVentilation, got[0].What)
	assert.False(t, got[0].Credited)
	assert.Equal(t, TooEarly, got[0].Verdict)
	assert.Contains(t, got[0].Reason, "Noticed, not caused")
	assert.Equal(t, roof.WaterEntry, got[1].What)
	assert.Equal(t, words.WantWetSpot, got[1].Said.Want)
	assert.Nil(t, got[1].Factor)
}

func TestTheIntervalOfASureChangeDoesNotReachOverToTheOtherSide(t *testing.T) {
	for _, x := range []struct {
		name                            string
		verdict                         Verdict
		factor, low, high, wantL, wantH float64
	}{
		{"more, and roughly", Changed, 7.9, 0.91, 68, 1, 68},
		{"less, and roughly", Changed, 0.3, 0.05, 1.8, 0.05, 1},
		{"more, and surely", Changed, 88, 11, 690, 11, 690},
		{"not sure of a change", TooEarly, 7.9, 0.91, 68, 0.91, 68},
		{"none shown", NoChangeShown, 1.1, 0.7, 1.6, 0.7, 1.6},
	} {
		r := Result{What: roof.LoftVentilation, Verdict: x.verdict, Factor: &x.factor, Low: &x.low, High: &x.high}
		r.conclude()
		assert.Equal(t, []float64{x.wantL, x.wantH}, []float64{*r.Low, *r.High}, x.name)
		assert.Equal(t, []*float64{r.Low, r.High}, []*float64{r.Said.Low, r.Said.High}, x.name)
	}
}
