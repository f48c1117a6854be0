package picture

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/words"
)

var update = flag.Bool("update", false, "rewrite the golden pictures")

func london(t *testing.T) *time.Location {
	t.Helper()
	z, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	return z
}

// nightsFrom makes n nights from a date, every hour in the given state.
func nightsFrom(zone *time.Location, year int, month time.Month, day, n int, of func(night, hour int) Hour) []Night {
	var out []Night
	for i := range n {
		a := time.Date(year, month, day+i, 12, 0, 0, 0, zone)
		b := time.Date(year, month, day+i+1, 12, 0, 0, 0, zone)
		night := Night{From: a, Until: b}
		for h := range int(b.Sub(a).Hours()) {
			night.Hours = append(night.Hours, of(i, h))
		}
		out = append(out, night)
	}
	return out
}

var (
	dry   = Hour{ObservedMin: 60}
	near  = Hour{ObservedMin: 60, AtRiskMin: 60}
	wet   = Hour{ObservedMin: 60, AtRiskMin: 60, CondensingMin: 60}
	frost = Hour{ObservedMin: 60, AtRiskMin: 60, CondensingMin: 60, FrostMin: 60}
	blank = Hour{}
)

func TestAFieldShowsWaterBeforeEverythingElse(t *testing.T) {
	for name, c := range map[string]struct {
		hour Hour
		want State
	}{
		"nothing observed":                     {blank, NotObserved},
		"all dry":                              {dry, Dry},
		"half an hour dry is enough to say so": {Hour{ObservedMin: 30}, Dry},
		"less is not":                          {Hour{ObservedMin: 29.9}, NotObserved},
		"ten wet minutes mark the hour":        {Hour{ObservedMin: 60, AtRiskMin: 10, CondensingMin: 10}, Wet},
		"nine wet minutes are at least near":   {Hour{ObservedMin: 60, AtRiskMin: 12, CondensingMin: 9}, Near},
		"a gap does not hide water":            {Hour{ObservedMin: 12, AtRiskMin: 11, CondensingMin: 11}, Wet},
		"a gap does not hide near":             {Hour{ObservedMin: 12, AtRiskMin: 11}, Near},
		"frost where half the water froze": {Hour{ObservedMin: 60, AtRiskMin: 60, CondensingMin: 40, FrostMin: 20},
			Frost},
		"wet where less did": {Hour{ObservedMin: 60, AtRiskMin: 60, CondensingMin: 40, FrostMin: 19}, Wet},
	} {
		t.Run(name, func(t *testing.T) { assert.Equal(t, c.want, c.hour.State()) })
	}
}

func TestNightsAreCountedAsTheEyeCountsThem(t *testing.T) {
	zone := london(t)
	w := WinterSheet{ID: "s", Surface: "under the covering", Zone: zone,
		Nights: nightsFrom(zone, 2026, 12, 1, 10, func(n, h int) Hour {
			switch {
			case n == 3:
				return blank
			case n < 5 && h == 14:
				return wet
			case n == 8 && h == 2:
				return wet
			}
			return dry
		}), Events: []Event{{At: time.Date(2026, 12, 6, 15, 0, 0, 0, zone), Kind: "repair", What: "vents"}}}
	assert.Equal(t, words.Nights{Observed: 9, Wet: 5, Missed: 1}, CountNights(w.Nights))
	assert.InDelta(t, 5, WetHours(w.Nights), 1e-9)
	// The night of the repair belongs to neither side.
	assert.Equal(t, "Before the repair of 6 December it was wet under the covering on 4 of 4 nights observed, 1 "+
		"night not "+
		"observed; since then on 1 of 4.", w.Said("under the covering").Nights())
	assert.Contains(t, w.Words(), "10 nights from the night of 1 December 2026")
	assert.Contains(t, w.Words(), w.Said(w.Surface).Nights())
}

// Words: a wet night is wet for an hour or more in all; less is briefly wet.
func TestANightWetForLessThanAnHourIsBrieflyWet(t *testing.T) {
	zone := london(t)
	spread := func(minutes float64) WinterSheet {
		return WinterSheet{Zone: zone, Nights: nightsFrom(zone, 2026, 12, 1, 14, func(_, h int) Hour {
			if h < 4 {
				return Hour{ObservedMin: 60, AtRiskMin: minutes / 4, CondensingMin: minutes / 4}
			}
			return dry
		})}
	}
	brief := spread(48)
	n := CountNights(brief.Nights)
	assert.Equal(t, words.Nights{Observed: 14, Briefly: 14}, n)
	assert.Equal(t, "It was briefly wet under the covering on 14 of 14 nights observed, on none for an hour.",
		brief.Said("under the covering").Nights())
	hour := CountNights(spread(60).Nights)
	assert.Equal(t, words.Nights{Observed: 14, Wet: 14}, hour, "four quarters make an hour")
	assert.Equal(t, words.Nights{Observed: 14}, CountNights(spread(8).Nights), "one crossing between two readings")
}

// area adds up what a class paints, in fields.
func area(s *Scene, class string) float64 {
	sum := 0.0
	for _, it := range s.Items {
		if it.Kind != Area || it.Class != class || it.Top != 0 {
			continue
		}
		for _, c := range it.Courses {
			x, y := c[0], c[2]
			if y.X-x.X > 0.99 { // a field, not a bar
				sum += (y.X - x.X) * (y.Y - x.Y) / sheetHourTall
			}
		}
	}
	return sum
}

func TestEveryFieldIsPaintedInItsStateAndNothingElse(t *testing.T) {
	zone := london(t)
	states := []Hour{blank, dry, near, wet, frost}
	rapid.Check(t, func(t *rapid.T) {
		var count [Frost + 1]float64
		w := WinterSheet{Zone: zone, Nights: nightsFrom(zone, 2026, 11, 1, rapid.IntRange(0, 20).Draw(t, "nights"),
			func(int, int) Hour {
				s := rapid.SampledFrom(states).Draw(t, "state")
				count[s.State()]++
				return s
			})}
		s := w.Scene()
		for state, class := range map[State]string{Dry: "s-dry", Near: "s-near", Wet: "s-wet", Frost: "s-frost"} {
			if got := area(s, class); math.Abs(got-count[state]) > 1e-6 {
				t.Fatalf("%s: %g fields painted, %g wanted", class, got, count[state])
			}
		}
	})
}

func TestNightsOfTheClockChangeHaveTheirOwnHours(t *testing.T) {
	zone := london(t)
	// 25 October 2026: 01:00 comes twice. 28 March 2027: 01:00 does not come.
	autumn := WinterSheet{Zone: zone, Nights: nightsFrom(zone, 2026, 10, 24, 1, func(_, h int) Hour {
		if h == 14 { // the second 01:00
			return wet
		}
		return dry
	})}
	require.Len(t, autumn.Nights[0].Hours, 25)
	s := autumn.Scene()
	assert.InDelta(t, 0.5, area(s, "s-wet"), 1e-9, "the repeated hour is half a field")
	assert.InDelta(t, 23.5, area(s, "s-dry"), 1e-9)

	spring := WinterSheet{Zone: zone, Nights: nightsFrom(zone, 2027, 3, 27, 1, func(int, int) Hour { return dry })}
	require.Len(t, spring.Nights[0].Hours, 23)
	s = spring.Scene()
	assert.InDelta(t, 23, area(s, "s-dry"), 1e-9)
	assert.InDelta(t, 1, area(s, "s-none"), 1e-9, "the hour that did not come is neither dry nor a gap")
}

func svg(t *testing.T, s *Scene) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, s.WriteSVG(&b))
	return b.String()
}

// wellFormed reads the SVG as XML and refuses what a strict policy would.
func wellFormed(t *testing.T, text string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(text))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		require.NoError(t, err)
		if e, ok := tok.(xml.StartElement); ok {
			assert.NotEqual(t, "script", e.Name.Local)
			assert.NotEqual(t, "style", e.Name.Local)
			for _, a := range e.Attr {
				assert.NotEqual(t, "style", a.Name.Local)
				assert.False(t, strings.HasPrefix(a.Name.Local, "on"), a.Name.Local)
			}
		}
	}
}

func TestHostileWordsStayWords(t *testing.T) {
	zone := london(t)
	nasty := `"><script>alert(1)</script>` + "\x00\x1b\ufffe' onload='x"
	w := WinterSheet{ID: nasty, Surface: nasty, Zone: zone,
		Nights: nightsFrom(zone, 2026, 12, 1, 3, func(int, int) Hour { return near }),
		Events: []Event{{At: time.Date(2026, 12, 2, 0, 0, 0, 0, zone), Kind: "repair", What: nasty}}}
	wellFormed(t, svg(t, w.Scene()))
	wellFormed(t, svg(t, Positions{ID: nasty, Zone: zone, From: time.Unix(0, 0), Until: time.Unix(3600, 0),
		Tracks: []PositionTrack{{Place: nasty}}}.Scene()))
}

func golden(t *testing.T, name string, s *Scene) {
	t.Helper()
	got := strings.ReplaceAll(svg(t, s), "><", ">\n<") + "\n"
	wellFormed(t, got)
	file := filepath.Join("testdata", name+".svg")
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(file, []byte(got), 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(want), got)
}

func TestTheSheetLooksAsAgreed(t *testing.T) {
	zone := london(t)
	w := WinterSheet{ID: "sheet", Surface: "under the covering", Zone: zone,
		Nights: nightsFrom(zone, 2026, 12, 18, 6, func(n, h int) Hour {
			switch {
			case n == 4 && h > 8:
				return blank
			case n < 3 && h > 8 && h < 18:
				return wet
			case n == 3 && h > 10 && h < 16:
				return frost
			case h > 6 && h < 20:
				return near
			}
			return dry
		}),
		Events: []Event{{At: time.Date(2026, 12, 20, 12, 30, 0, 0, zone), Kind: "repair", What: "vents"},
			{At: time.Date(2026, 12, 22, 9, 0, 0, 0, zone), Kind: "note", What: "away"}},
		WindowFrom: time.Date(2026, 12, 19, 12, 0, 0, 0, zone), WindowUntil: time.Date(2026, 12, 21, 12, 0, 0, 0, zone)}
	for i, c := range []float64{4, -2, -6, 1, 3, 5} {
		u := c / 2
		w.Nights[i].OutdoorMinC, w.Nights[i].UndercoolingK = &c, &u
	}
	golden(t, "sheet", w.Scene())
	golden(t, "strip", Strip{ID: "strip", Surface: "under the covering", Zone: zone, Nights: w.Nights}.Scene())
}

func TestSkiesFollowTheUndercooling(t *testing.T) {
	k := func(x float64) Night { return Night{UndercoolingK: &x} }
	assert.Equal(t, SkyUnknown, Night{}.Sky())
	assert.Equal(t, Clear, k(2.6).Sky())
	assert.Equal(t, Broken, k(2.5).Sky())
	assert.Equal(t, Broken, k(1).Sky())
	assert.Equal(t, Overcast, k(0.9).Sky())
}

func TestAnEmptySheetStillDraws(t *testing.T) {
	w := WinterSheet{ID: "none"}
	wellFormed(t, svg(t, w.Scene()))
	assert.Equal(t, "No night has been recorded yet.", w.Words())
}

// On a phone, where the plot is about 300 px wide, no label may stand on another.
func TestLabelsStandClearOfEachOtherOnAPhone(t *testing.T) {
	zone := london(t)
	at := func(m time.Month, d int) time.Time { return time.Date(2026, m, d, 9, 0, 0, 0, zone) }
	events := []Event{{At: at(8, 3), Kind: "repair"}, {At: at(8, 29), Kind: "note"}}
	margin := MarginChart{ID: "m", Zone: zone, From: at(6, 2), Until: at(11, 30), Step: time.Hour, Events: events,
		Time: []time.Time{at(6, 2), at(6, 3)}, MarginMean: figures(-1.6, 3), CondensingMin: figures(60, 0)}
	sheet := WinterSheet{ID: "s", Zone: zone, Events: events,
		Nights: nightsFrom(zone, 2026, 6, 2, 181, func(int, int) Hour { return Hour{ObservedMin: 60} })}
	for name, s := range map[string]*Scene{"sheet": sheet.Scene(), "margin": margin.Scene(), "courses": margin.Courses()} {
		type box struct {
			text     string
			x, x2, y float64
		}
		var seen []box
		for _, i := range s.Items {
			if i.Kind != Label || i.Class == "axis-title" {
				continue
			}
			b := box{text: i.Text, x: i.X/s.Span*300 + i.DX, y: i.Y}
			b.x2 = b.x + 6.2*float64(len(i.Text))
			if i.Anchor == End {
				b.x, b.x2 = b.x-6.2*float64(len(i.Text)), b.x
			}
			for _, o := range seen {
				clear := b.x >= o.x2 || o.x >= b.x2 || math.Abs(b.y-o.y) >= 12
				assert.True(t, clear, "%s: %q stands on %q", name, b.text, o.text)
			}
			seen = append(seen, b)
		}
		assert.NotEmpty(t, seen)
	}
}
