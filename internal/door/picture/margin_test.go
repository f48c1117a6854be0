package picture

import (
	"cmp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/words"
)

func figures(x ...any) *Figures {
	f := NewFigures(len(x))
	for i, v := range x {
		switch v := v.(type) {
		case float64:
			f.Set(i, v)
		case int:
			f.Set(i, float64(v))
		}
	}
	return f
}

// chartOf makes a chart of hourly steps.
func chartOf(mean, cover *Figures) MarginChart {
	from := time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)
	m := MarginChart{ID: "m", Surface: "under the covering", From: from,
		Until: from.Add(time.Duration(mean.Len()) * time.Hour), Step: time.Hour,
		MarginMean: mean, MarginMin: mean, MarginMax: mean, Coverage: cover}
	for i := range mean.Len() {
		m.Time = append(m.Time, from.Add(time.Duration(i)*time.Hour))
	}
	return m
}

func courses(s *Scene, class string) [][]Point {
	for _, it := range s.Items {
		if it.Class == class {
			return it.Courses
		}
	}
	return nil
}

func TestAGapIsHatchedAndNeverBridged(t *testing.T) {
	m := chartOf(figures(2, 1, nil, nil, 1, 2), figures(1, 1, 0, 0, 1, 1))
	s := m.Scene()
	require.Len(t, courses(s, "ln margin"), 2)
	var hatched []Item
	for _, it := range s.Items {
		if it.Texture == Hatch && it.Y == marginTop {
			hatched = append(hatched, it)
		}
	}
	require.Len(t, hatched, 1)
	assert.InDelta(t, marginSpan*2/6, hatched[0].X, 1e-9)
	assert.InDelta(t, marginSpan*4/6, hatched[0].X2, 1e-9)
	assert.Contains(t, m.Words(), "Observed for 67 % of the time.")
}

func TestBeforeTheFirstAndAfterTheLastStepIsNotObserved(t *testing.T) {
	m := chartOf(figures(2, 1), figures(1, 1))
	m.From, m.Until = m.From.Add(-2*time.Hour), m.Until.Add(2*time.Hour)
	m.Coverage = figures(1, 0)
	g := m.gaps()
	require.Len(t, g, 2)
	assert.InDelta(t, 0, g[0][0], 1e-9)
	assert.InDelta(t, marginSpan, g[1][1], 1e-9)
}

func TestReadingsOfOtherLoggersDoNotBreakALine(t *testing.T) {
	m := chartOf(figures(2, 1.5, 1, 0.5), figures(1, 1, 0, 1))
	m.Step = 0
	m.SurfaceC = figures(4, nil, 3, nil)
	assert.Len(t, m.line(m.SurfaceC, func(v float64) float64 { return v }),
		1, "a time at which only the air was read is no gap")
	assert.Len(t, m.line(m.MarginMean, func(v float64) float64 { return v }), 2, "an interval without observation is one")
}

func TestAStepAloneIsDrawnAsLongAsItIs(t *testing.T) {
	m := chartOf(figures(nil, 1, nil), figures(0, 1, 0))
	c := courses(m.Scene(), "ln margin")
	require.Len(t, c, 1)
	assert.InDelta(t, marginSpan/3, c[0][1].X-c[0][0].X, 0.1)
}

func TestShortWaterShowsInTheRowBelow(t *testing.T) {
	m := chartOf(figures(2, 2, 2), figures(1, 1, 1))
	m.CondensingMin, m.AtRiskMin, m.FrostMin = figures(0, 11, 0), figures(0, 20, 15), figures(0, 0, 0)
	s := m.Scene()
	for _, it := range s.Items {
		if it.Kind == Area && it.Class == "s-wet" && it.Top == 0 {
			assert.Len(t, it.Courses, 1)
		}
		if it.Kind == Area && it.Class == "s-near" {
			assert.Len(t, it.Courses, 1)
		}
	}
}

func TestTheTwoTemperaturesComeWhenNear(t *testing.T) {
	m := chartOf(figures(2, 1), figures(1, 1))
	m.SurfaceC, m.LimitC = figures(3, 2), figures(1, 1)
	assert.NotNil(t, courses(m.Scene(), "ln limit"))
	m.Until = m.From.Add(9 * 24 * time.Hour)
	assert.Nil(t, courses(m.Scene(), "ln limit"))
}

func TestMarksFollowTheHousesCalendar(t *testing.T) {
	zone := london(t)
	at := func(m time.Month, d, h int) time.Time { return time.Date(2026, m, d, h, 0, 0, 0, zone) }
	for name, c := range map[string]struct {
		from, until time.Time
		want        []string
	}{
		"a day": {at(12, 3, 12), at(12, 4, 12),
			[]string{"12:00", "16:00", "20:00", "Fri 4 Dec", "04:00", "08:00"}},
		"a week over the clocks":   {at(10, 23, 0), at(10, 28, 0), []string{"23 Oct", "24", "25", "26", "27"}},
		"weeks restart each month": {at(10, 20, 0), at(11, 16, 0), []string{"22 Oct", "1 Nov", "8", "15"}},
		"months name the new year": {at(10, 15, 0), at(12, 20, 0).AddDate(0, 2, 0),
			[]string{"Nov 2026", "Dec", "Jan 2027", "Feb"}},
	} {
		t.Run(name, func(t *testing.T) {
			var got []string
			for _, k := range timeTicks(c.from, c.until, zone) {
				got = append(got, k.label)
			}
			assert.Equal(t, c.want, got)
		})
	}
}

// On the narrowest plot a label is followed by the next at its own width at least,
// and a date, month or year stands where an hour, day or month beside it gives way.
func TestLabelsOfTimeKeepTheirDistance(t *testing.T) {
	zone := london(t)
	from := time.Date(2026, 12, 3, 12, 0, 0, 0, zone)
	for span, want := range map[time.Duration]string{
		24 * time.Hour:             "12:00 16:00 20:00 Fri 4 Dec 08:00",
		8 * time.Hour:              "12:00 13:00 14:00 15:00 16:00 17:00 18:00 19:00",
		36 * time.Hour:             "Thu 12:00 Fri 00:00 Fri 12:00",
		150 * 24 * time.Hour:       "Jan 2027 Feb Mar Apr",
		400 * 24 * time.Hour:       "Jan 2027 Apr Jun Aug Oct Dec",
		2 * 365 * 24 * time.Hour:   "Jan 2027 Jul 2027 Jan 2028 Jul 2028",
		6 * 24 * time.Hour:         "4 Dec 5 6 7 8 9",
		70 * 24 * time.Hour:        "15 Dec 1 Jan 15 1 Feb",
		20 * time.Minute:           "12:00 12:05 12:10 12:15",
		11*time.Hour + time.Minute: "12:00 16:00 20:00",
	} {
		s := &Scene{Span: marginSpan}
		timeLabels(s, 0, from, from.Add(span), zone)
		slices.SortFunc(s.Items, func(a, b Item) int { return cmp.Compare(a.X, b.X) })
		var got []string
		for i, l := range s.Items {
			got = append(got, l.Text)
			if i+1 < len(s.Items) {
				assert.Greater(t, (s.Items[i+1].X-l.X)/marginSpan*300, 5.5*float64(len(l.Text)), "%v: %s", span, l.Text)
			}
		}
		assert.Equal(t, want, strings.Join(got, " "), span.String())
	}
}

func TestTheChartLooksAsAgreed(t *testing.T) {
	m := chartOf(figures(2, 0.5, -0.4, -1.2, nil, 3), figures(1, 1, 1, 0.5, 0, 1))
	m.MarginMin, m.MarginMax = figures(1.5, 0, -0.8, -1.5, nil, 2), figures(2.5, 1, 0, -1, nil, 25)
	m.CondensingMin, m.AtRiskMin, m.FrostMin = figures(0, 5, 60, 30, nil, 0), figures(0, 60, 60, 30, nil, 0),
		figures(0, 0, 10, 30, nil, 0)
	m.SurfaceC, m.LimitC = figures(4, 2, 0, -1, nil, 6), figures(2, 1.5, 0.4, 0.2, nil, 3)
	m.UnrepairedK = figures(1, -0.5, -1.4, -2.2, nil, 2)
	ms := m.From.UnixMilli()
	m.Strips = []Quiet{{Words: "water on the surface, g/m²", Top: 10, Filled: true,
		Course: Course{AtMS: []int64{ms, ms + 9e6, ms + 18e6}, Value: []float64{0, 33, 4},
			Joined: []bool{true, false, false}}},
		{Words: "mould index", Top: 4, Mark: 3,
			Course: Course{AtMS: []int64{ms, ms + 18e6}, Value: []float64{0.4, 0.5}, Joined: []bool{true, true}}}}
	m.Events = []Event{{At: m.From.Add(90 * time.Minute), Kind: "repair", What: "vents"}}
	golden(t, "margin", m.Scene())
	x, lo, hi := 71.0, 55.0, 83.0
	golden(t, "effect", Effect{ID: "effect",
		Falls: []words.Change{{What: "wet hours", Pct: &x, Low: &lo, High: &hi}, {What: "condensed water"}}}.Scene())
	a, b := 1.5, 6.0
	golden(t, "pairs", PairedNights{ID: "pairs", Words: "wet hours",
		Nights: []PairedNight{{From: m.From, Measured: &a, Without: &b}, {From: m.From.Add(24 * time.Hour)}}}.Scene())
	pitch := 32.0
	golden(t, "section", Section{ID: "section", PitchDeg: &pitch, Underlay: "LR", Battens: "single", Insulation: "ceiling",
		LoftEaves: Slot{10, true}, VoidEaves: Slot{0, true},
		Tags: []Tag{{AtLoft, "loft 6.1 °C, 84 %"}, {AtVoid, "void −0.4 °C, 100 %"}, {AtVoid, "void-e −0.2 °C, 98 %"},
			{AtCovering, "slate −1.1 °C"}}}.Scene())
	golden(t, "positions", Positions{ID: "positions", From: m.From, Until: m.Until, Time: m.Time, Step: m.Step,
		Tracks: []PositionTrack{
			{Position: "void", Place: "batten void (void)", TempMean: m.SurfaceC, DewMean: m.LimitC,
				Coverage: m.Coverage}}}.Scene())
}

func TestASectionIsDrawnForEveryPitchAndSaysWhatIsNotKnown(t *testing.T) {
	assert.Contains(t, Section{}.Scene().Desc, "The pitch is not known; drawn at 35 degrees.")
	assert.Contains(t, Section{}.Scene().Desc, "Openings at the eaves: void not known, loft not known")
	for _, pitch := range []float64{0, 5, 22.5, 45, 60, 90} {
		s := Section{ID: "s", PitchDeg: &pitch, Underlay: "HR", Battens: "counter", Insulation: "rafter"}.Scene()
		wellFormed(t, svg(t, s))
		for _, it := range s.Items {
			for _, c := range it.Courses {
				for _, p := range c {
					assert.True(t, p.X >= 0 && p.X <= s.Span && p.Y >= 0 && p.Y <= s.HeightPx, "pitch %g: %v of %s lies in the frame",
						pitch, p, it.Class)
				}
			}
		}
	}
}

func TestACourseIsReadWhereItIsJoinedAndThinnedWithoutLosingItsPeak(t *testing.T) {
	c := Course{AtMS: []int64{0, 10, 20, 30, 40}, Value: []float64{0, 4, 1, 9, 2},
		Joined: []bool{true, true, false, true, false}}
	most := func(a, b int64) any {
		if v, ok := c.Most(a, b); ok {
			return v
		}
		return nil
	}
	assert.Equal(t, 2.8, most(5, 7), "between two times it runs linearly")
	assert.Equal(t, 4.0, most(5, 15))
	assert.Nil(t, most(22, 28), "a gap says nothing")
	assert.Equal(t, 9.0, most(22, 31))
	assert.Nil(t, most(41, 60))
	_, ok := Course{}.Most(0, 1)
	assert.False(t, ok)

	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 300).Draw(t, "n")
		var c Course
		high := -1.0
		for i := range n {
			v := rapid.Float64Range(0, 9).Draw(t, "v")
			high = max(high, v)
			c.AtMS, c.Value, c.Joined = append(c.AtMS, int64(i)), append(c.Value, v),
				append(c.Joined, rapid.Float64().Draw(t, "j") < 0.9)
		}
		thin := c.Thin(40)
		got := -1.0
		for _, v := range thin.Value {
			got = max(got, v)
		}
		if got != high {
			t.Fatalf("peak %g became %g", high, got)
		}
	})
}
