package web

import (
	"context"
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

func ptr(x float64) *float64 { return &x }

func TestFiguresAreWrittenAsThePagesPromise(t *testing.T) {
	assert.Equal(t, "9.9", words.Hours(9.94))
	assert.Equal(t, "100", words.Hours(99.96))
	assert.Equal(t, "0", words.Percent(0))
	assert.Equal(t, "0.4", words.Percent(0.004))
	assert.Equal(t, "97", words.Percent(0.97))
	assert.Equal(t, "over 99", words.Percent(0.999))
	assert.Equal(t, "100", words.Percent(1))
	now := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	for d, want := range map[time.Duration]string{0: "0 s ago", 80 * time.Second: "80 s ago",
		10 * time.Minute: "10 min ago", 5 * time.Hour: "5 h ago", 72 * time.Hour: "3 days ago",
		-time.Hour: "ahead of the clock"} {
		assert.Equal(t, want, words.Ago(now, now.Add(-d)))
	}
	assert.Equal(t, "never", words.Ago(now, time.Time{}))
}

// A position that the repair left alone is there to be compared with: it never
// speaks for the house while another can, however wet it is.
func TestTheSurfaceLeftAloneComesLast(t *testing.T) {
	c := &roof.Case{Positions: []roof.Position{
		{ID: "felt", Place: roof.UnderlayUnderside}, {ID: "slate-e", Place: roof.CoveringUnderside, Untouched: true},
		{ID: "slate", Place: roof.CoveringUnderside}}}
	var a assessment.Answer
	for id, h := range map[string]float64{"felt": 5, "slate-e": 400, "slate": 90} {
		a.Surfaces = append(a.Surfaces, assessment.Surface{Surface: id, HoursCondensing: ptr(h)})
	}
	var ids []string
	for _, s := range drawing.Order(c, a) {
		ids = append(ids, s.ID)
	}
	assert.Equal(t, []string{"slate", "felt", "slate-e"}, ids)
	assert.Len(t, c.RepresentativeSurfaces(), 2)
	only := &roof.Case{Positions: c.Positions[1:2]}
	assert.Equal(t, "slate-e", only.RepresentativeSurfaces()[0].ID)
	assert.Equal(t, "slate", readView(&head{Case: c, Zone: time.UTC}, a, nil).surface.ID)
}

func TestTheIntervalIsDrawnAsSharesOfWhatWasObserved(t *testing.T) {
	b := barOf(assessment.Surface{HoursObserved: 200, HoursCondensing: ptr(50), HoursCondensingLow: ptr(20),
		HoursCondensingHigh: ptr(120)})
	require.NotNil(t, b)
	assert.Equal(t, []string{"10.00%", "50.00%", "25.00%"}, []string{b.Low, b.Wide, b.Best})
	assert.Equal(t, "50.0 h expected, 20.0 to 120 h the 95 % interval, of 200 h observed", b.Words)
	assert.Nil(t, barOf(assessment.Surface{HoursObserved: 200, HoursCondensing: ptr(50)}),
		"without an interval there is none to draw")
}

func TestARecordOfOneReadingStillHasAStretch(t *testing.T) {
	at := time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC)
	v := readView(&head{Case: &roof.Case{}, Zone: time.UTC, From: at, Until: at.Add(time.Millisecond)},
		assessment.Answer{}, nil)
	assert.Equal(t, time.Hour, v.until.Sub(v.from))
}

func TestTheAddressOfTheListSaysWhatIsAsked(t *testing.T) {
	now := time.Unix(1, 0)
	for ask, want := range map[string]roof.HouseQuery{
		"": {},
		"q=+elm+&cause=ceiling_leakage&verdict=worked&needs=silent&sort=wet&page=3": {Search: "elm",
			Findings: []string{"ceiling_leakage"}, Verdicts: []string{"worked"}, Need: roof.NeedsSilent, Order: roof.ByWet,
			Offset: 100},
		"cause=undetermined&verdict=none":            {Findings: []string{"undetermined", ""}, Verdicts: []string{""}},
		"cause=x&verdict=x&needs=x&sort=need&page=x": {},
	} {
		v, err := url.ParseQuery(ask)
		require.NoError(t, err)
		want.Limit, want.Now = 50, now
		got, selects := houseQuery(v, now)
		assert.Equal(t, want, got, ask)
		for _, s := range selects {
			assert.NotEmpty(t, s.Words)
			for _, c := range s.Choices {
				assert.NotEmpty(t, c.Words, "%s %s", s.Key, c.Value)
			}
		}
	}
}

func TestAListOfManyHousesKeepsWhatWasAskedFromPageToPage(t *testing.T) {
	p, err := New(Options{Now: func() time.Time { return time.Unix(1e9, 0) }, Houses: fullList{}})
	require.NoError(t, err)
	r := httptest.NewRecorder()
	p.houses(r, httptest.NewRequest(http.MethodGet, "/?q=elm&needs=look&cause=ceiling_leakage&page=2", nil))
	page := html.UnescapeString(r.Body.String())
	assert.Contains(t, page, "120 of 300 houses, 7 of which need a look.")
	assert.Contains(t, page, "Houses 51 to 100 of 120.")
	for _, n := range []string{"1", "3"} {
		assert.Contains(t, page, `href="/?cause=ceiling_leakage&needs=look&page=`+n+`&q=elm"`)
	}
	assert.Contains(t, page, `<option value="ceiling_leakage" selected>`)
	assert.Contains(t, page, `<a href="/">All 300 houses</a>`)
}

// fullList answers each question of the list with a page full of houses.
type fullList struct{ HouseList }

func (fullList) Houses(_ context.Context, q roof.HouseQuery) (rows []HouseSummary, all, found, need int, err error) {
	return make([]HouseSummary, q.Limit), 300, 120, 7, nil
}

func TestListsBeginWithTheirAnswer(t *testing.T) {
	elm, worked := roof.HouseQuery{Search: "elm"}, roof.HouseQuery{Verdicts: []string{"worked"}}
	for want, of := range map[string]struct {
		q                roof.HouseQuery
		all, found, need int
	}{
		"No house is being measured yet.": {},
		"No house has “elm” in its name.": {q: elm, all: 3},
		"No house is of that kind.":       {q: worked, all: 3},
		"No house with “elm” in its name is of that kind.": {all: 3,
			q: roof.HouseQuery{Search: "elm", Need: roof.NeedsAlert}},
		"1 house, which needs no look.":                {all: 1, found: 1},
		"1 house, which needs a look.":                 {all: 1, found: 1, need: 1},
		"3 houses, one of which needs a look.":         {all: 3, found: 3, need: 1},
		"3 houses, 2 of which need a look.":            {all: 3, found: 3, need: 2},
		"2 houses, all of which need a look.":          {all: 2, found: 2, need: 2},
		"2 of 300 houses, none of which needs a look.": {q: worked, all: 300, found: 2},
		"1 of 300 houses, which needs a look.":         {q: elm, all: 300, found: 1, need: 1},
	} {
		assert.Equal(t, want, housesSentence(of.q, of.all, of.found, of.need))
	}
	row := func(id string, silent, low bool) positionRow {
		return positionRow{Latest: Latest{Logger: id, Position: "p-" + id, At: time.Unix(1, 0)}, Silent: silent, Low: low}
	}
	for want, rows := range map[string][]positionRow{
		"No logger has been heard yet.":         {{Latest: Latest{Position: "loft", Logger: "k2"}}},
		"All 2 loggers report; battery low: b.": {row("a", false, false), row("b", false, true)},
		"Logger a is silent; nothing heard at loft (k2) and void.": {row("a", true, false), row("b", false, false),
			{Latest: Latest{Position: "loft", Logger: "k2"}}, {Latest: Latest{Position: "void"}}},
		"All 2 loggers are silent.": {row("a", true, false), row("b", true, false)},
		"4 of 5 loggers are silent.": {row("a", true, false), row("b", true, false), row("c", true, false),
			row("d", true, false), row("e", false, false)},
	} {
		assert.Equal(t, want, loggersSentence(rows))
	}
	assert.Equal(t, "Nothing was refused.", messagesSentence(nil))
	assert.Equal(t, "6 messages or rows could not be used; the commonest reason is bad payload (4).",
		messagesSentence([]reasonRow{{Reason: roof.BadPayload, Count: 4}, {Reason: roof.BadTime, Count: 2}}))
}

// A house is in need of a person where its loggers, its cause or its repair ask
// for one; wet nights of a sound or mended roof are no news.
func TestWhatNeedsALookIsSaidAndASoundRoofIsSilent(t *testing.T) {
	now := time.Date(2027, 1, 10, 8, 0, 0, 0, time.UTC)
	heard := []Latest{{Logger: "k1", Position: "loft", At: now.Add(-time.Minute), BatteryPct: ptr(80)}}
	gone := []Latest{{Logger: "k1", Position: "loft", At: now.Add(-9 * time.Hour), BatteryPct: ptr(9)}}
	weights := map[string]int{}
	for _, c := range []struct {
		name    string
		finding cause.Cause // "": not worked out yet
		verdict repair.Verdict
		latest  []Latest
		wet     int
		want    []string
	}{
		{"dew on a sound roof", cause.NightSkyCooling, "", heard, 7, nil},
		{"dry", cause.NoneFound, "", heard, 0, nil},
		{"drying out", cause.ConstructionMoist, "", heard, 5, nil},
		{"worked and still wet", cause.UnventedBattenVoid, repair.Worked, heard, 6, nil},
		{"too early", cause.UnventedBattenVoid, repair.TooEarly, heard, 7, nil},
		{"no change, dry week", cause.UnventedBattenVoid, repair.NoChangeShown, heard, 1, nil},
		{"cannot tell, dry", cause.Undetermined, "", heard, 2, nil},
		{"not assessed, dry", "", "", heard, 2, nil},
		{"cannot tell, wet", cause.Undetermined, "", heard, 4,
			[]string{"wet on 4 nights of the last week, and the cause cannot be told yet"}},
		{"not assessed, wet", "", "", heard, 3, []string{"wet on 3 nights of the last week"}},
		{"cause known", cause.CeilingLeakage, "", heard, 0, []string{"a cause is named and no repair is on file"}},
		{"no change", cause.CeilingLeakage, repair.NoChangeShown, heard, 5,
			[]string{"the repair has shown no change; wet on 5 nights of the last week"}},
		{"worse", cause.CeilingLeakage, repair.GotWorse, heard, 0, []string{"the repair made it worse"}},
		{"sound, logger gone", cause.NoneFound, "", gone, 0, []string{"logger k1 is silent", "battery low: k1"}},
	} {
		sum := &HouseSummary{ID: c.name}
		var f *cause.Finding
		if c.finding != "" {
			f = &cause.Finding{Finding: c.finding}
		}
		sum.hear(c.latest)
		sum.judge(f, c.verdict, c.wet)
		assert.Equal(t, c.want, sum.row(now).Attention, c.name)
		weights[c.name] = sum.Weight()
		if len(sum.Silent(now)) > 0 {
			weights[c.name] += roof.SilentWeight
		}
		assert.Equal(t, len(c.want) > 0, weights[c.name] > 0, "%s: a house without need stands last", c.name)
		assert.Equal(t, len(sum.Silent(now)) > 0, !sum.Listed().SilentFrom.After(now), c.name)
	}
	assert.Greater(t, weights["sound, logger gone"], weights["worse"], "a record that is being lost comes first")
	assert.Greater(t, weights["worse"], weights["cause known"])
	assert.Greater(t, weights["cause known"], weights["cannot tell, wet"])
}

func TestLongRecordsAreShownWinterByWinter(t *testing.T) {
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	h := &head{Zone: zone, From: time.Date(2025, 10, 3, 15, 0, 0, 0, zone), Until: time.Date(2027, 2, 1, 8, 0, 0, 0, zone)}
	w, years := winterOf(h, 0)
	assert.Equal(t, []int{2025, 2026}, years)
	assert.Equal(t, time.Date(2026, 7, 1, 12, 0, 0, 0, zone), w.From)
	assert.Equal(t, time.Date(2027, 2, 1, 12, 0, 0, 0, zone), w.Until)
	w, _ = winterOf(h, 2025)
	assert.Equal(t, time.Date(2025, 10, 3, 12, 0, 0, 0, zone), w.From)
	assert.Equal(t, time.Date(2026, 7, 1, 12, 0, 0, 0, zone), w.Until)
	h.From = time.Date(2026, 10, 3, 9, 0, 0, 0, zone)
	w, years = winterOf(h, 1999)
	assert.Empty(t, years)
	assert.Equal(t, time.Date(2026, 10, 2, 12, 0, 0, 0, zone), w.From, "a morning belongs to the night before")
}
