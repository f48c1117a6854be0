package web_test

import (
	"encoding/csv"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const week = "from=2027-01-10T00:00:00Z&to=2027-01-17T00:00:00Z"

func TestTheChartPageShowsWhatTheAddressAsksForWithoutScript(t *testing.T) {
	h, _, err := newPages(false)
	require.NoError(t, err)
	for _, c := range []struct {
		name, query string
		has, not    []string
	}{
		{"the usual view", week, []string{"under the covering, margin", "batten void, vapour pressure",
			"outdoors, vapour pressure"}, nil},
		{"humidities", week + "&show=loft.rh,void.rh", []string{"loft, relative humidity", "%RH", ">100<"},
			[]string{"landing.vapour_pressure\" checked"}},
		{"strips", week + "&show=loft.temp,loft.dew_point&lay=strips", []string{"loft, temperature, °C",
			"loft, dew point, °C"}, nil},
		{"an axis by hand", week + "&show=loft.rh&y=rh:40~90", []string{`value="40"`, `value="90"`},
			[]string{">100</text>"}},
		{"the form's own fields", week + "&show=loft.rh&show=void.rh&y-rh-lo=40&y-rh-hi=90", []string{`value="40"`,
			"batten void, relative humidity"}, nil},
		{"a marked figure", week + "&show=loft.vapour_excess&mark=over:25~25:25 Pa more vapour",
			[]string{"25 Pa more vapour"}, nil},
		{"one reading after another", "from=2027-01-10T00:00:00Z&to=2027-01-10T06:00:00Z&show=loft.rh",
			[]string{"every reading"}, nil},
		{"what makes no sense", "from=x&to=y&show=nowhere.rh,loft.what&lay=round&y=rh:a~b&mark=a:b:c", []string{
			"Nothing was picked to be shown"}, nil},
		{"a mark that would be markup", week + "&show=loft.rh&mark=rh:50:<script>alert(1)</script>",
			[]string{"&lt;script&gt;alert(1)"}, []string{"<script>alert(1)"}},
		{"an old link to a night", "night=2027-01-12&surface=felt", []string{"under the underlay, margin",
			"12 January 2027 12:00 to 13 January 2027 12:00"}, nil},
	} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/cases/larch-end-4/chart?"+
			strings.ReplaceAll(c.query, " ", "%20"), nil))
		require.Equal(t, http.StatusOK, w.Code, c.name)
		for _, s := range c.has {
			assert.Contains(t, w.Body.String(), s, c.name)
		}
		for _, s := range c.not {
			assert.NotContains(t, w.Body.String(), s, c.name)
		}
	}
}

func TestTheChartsFiguresAreHandedOverAsMeasured(t *testing.T) {
	h, _, err := newPages(false)
	require.NoError(t, err)
	type column struct {
		Key               string
		Decimals          int
		Mean, Under, Over []*int64
		At, Value, Gaps   []int64
	}
	ask := func(query string) (code int, v struct {
		From, Until, Step int64
		Columns           []column
	}) {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/cases/larch-end-4/chart/data?"+query, nil))
		if w.Code == http.StatusOK {
			require.NoError(t, json.Unmarshal(w.Body.Bytes(), &v), w.Body.String())
		}
		return w.Code, v
	}
	code, v := ask(week + "&show=void.rh,slate.margin&step=3600")
	require.Equal(t, http.StatusOK, code)
	require.Len(t, v.Columns, 2)
	assert.EqualValues(t, 7*24, (v.Until-v.From)/v.Step)
	for i, x := range v.Columns[0].Mean {
		require.NotNil(t, x)
		assert.GreaterOrEqual(t, *x-*v.Columns[0].Under[i], int64(0))
		assert.LessOrEqual(t, *x+*v.Columns[0].Over[i], int64(100_000), "%%RH in thousandths")
	}
	code, v = ask("from=2026-11-26T22:00:00Z&to=2026-11-28T00:00:00Z&show=void.temp&step=0")
	require.Equal(t, http.StatusOK, code)
	at := v.From
	for _, d := range v.Columns[0].At {
		at += d
		assert.Zero(t, at%900_000, "the readings' own times")
	}
	assert.NotEmpty(t, v.Columns[0].Gaps, "the logger fell silent on the 27th")
	for _, bad := range []string{"from=x&to=y&step=0", week + "&step=7&show=void.rh", week + "&step=x"} {
		code, _ = ask(bad)
		assert.Equal(t, http.StatusBadRequest, code, bad)
	}
}

func TestTheChartsTableIsWhatIsSeen(t *testing.T) {
	h, _, err := newPages(false)
	require.NoError(t, err)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/cases/larch-end-4/chart.csv?from=2026-11-20T00:00:00Z&"+
		"to=2026-12-20T00:00:00Z&show=void.vapour_pressure", nil))
	caption := strings.SplitN(w.Body.String(), "\n", 4)
	assert.Equal(t, "# 4 Larch End (larch-end-4); 20 Nov 2026 00:00 to 20 Dec 2026 00:00", caption[0])
	assert.Equal(t, "# Times in Europe/London; 3 h a step", caption[1])
	assert.Regexp(t, `^# Observed: batten void; vapour pressure 8\d %$`, caption[2], "four days and a few more")
	in := csv.NewReader(w.Body)
	in.Comment = '#'
	rows, err := in.ReadAll()
	require.NoError(t, err)
	const of = "batten void, vapour pressure, Pa"
	assert.Equal(t, []string{"time", "until", of, of + ", least", of + ", greatest", of + ", observed share"}, rows[0])
	empty := 0
	for _, r := range rows[1:] {
		if r[2] == "" {
			empty++
			assert.Equal(t, "0", r[5])
		}
	}
	assert.Positive(t, empty, "what was not observed is empty")
	assert.Less(t, empty, len(rows)/2)
	w = httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/cases/larch-end-4/chart.csv?from=2027-02-08T12:00:00Z&"+
		"to=2027-02-09T12:00:00Z&show=void.rh,loft.rh", nil))
	assert.Regexp(t, `(?m)^# Times in Europe/London; every reading\n# Observed: batten void; relative humidity 49 %; `+
		`loft; relative humidity (over 99|100) %$`, w.Body.String(), "the void's last reading was at 23:45")
}

func TestBeforeAndAfterLieOverOneAnother(t *testing.T) {
	h, f, err := newPages(false)
	require.NoError(t, err)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/cases/larch-end-4/compare?surface=slate", nil))
	require.Equal(t, http.StatusOK, w.Code)
	assert.Regexp(t, `<h1>On nights of like weather, \d+ before and \d+ after, the lowest mean margin`, w.Body.String())
	for _, s := range []string{"on one clock", "Before: ", "as they added up", "Loft against house",
		"against undercooling"} {
		assert.Contains(t, w.Body.String(), s)
	}
	w = httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet,
		"/cases/larch-end-4/compare?surface=slate&of=void.vapour_excess", nil))
	assert.Regexp(t, `the mean vapour pressure over outdoors \(batten void\) was [−\d]+ Pa before and [−\d]+ Pa after`,
		w.Body.String())
	c := f.cases["larch-end-4"]
	events := c.Events
	c.Events = nil
	defer func() { c.Events = events }()
	f.answers = nil
	w = httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/cases/larch-end-4/compare", nil))
	assert.Contains(t, w.Body.String(), "No repair is in the case file")
}

func TestANoteAndAStretchLeftOutGoIntoTheCaseFile(t *testing.T) {
	h, f, err := newPages(false)
	require.NoError(t, err)
	post := func(form url.Values) *httptest.ResponseRecorder {
		r := httptest.NewRequest(http.MethodPost, "/cases/larch-end-4/chart/remark", strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	w := post(url.Values{"do": {"note"}, "from": {"2027-01-12T08:00"}, "what": {"hatch found open"},
		"view": {"?show=loft.rh&from=2027-01-10T00:00:00Z&to=2027-01-17T00:00:00Z"}})
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	assert.Regexp(t, `/chart\?from=.*show=loft.rh.*#remarks$`, w.Header().Get("Location"))
	w = post(url.Values{"do": {"exclude"}, "from": {"2027-01-12T08:00"}, "to": {"2027-01-13T08:00"}, "position": {"void"},
		"what": {"logger on the bench"}})
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	c, err := f.Case(t.Context(), "larch-end-4")
	require.NoError(t, err)
	require.Len(t, c.Excluded, 1)
	assert.Equal(t, "logger on the bench", c.Excluded[0].Reason)
	assert.Equal(t, "hatch found open", c.Events[len(c.Events)-1].What)
	for _, page := range []string{"/chart", "/diagnosis", "/repairs", "/positions"} {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/cases/larch-end-4"+page, nil))
		assert.True(t, strings.Contains(w.Body.String(), "24.0 h of the record are left out by hand, in 1 part"), page)
	}
	w = post(url.Values{"do": {"view"}, "what": {"The void, that week"}, "view": {"show=void.rh&" + week}})
	require.Equal(t, http.StatusSeeOther, w.Code)
	c, err = f.Case(t.Context(), "larch-end-4")
	require.NoError(t, err)
	require.Len(t, c.Views, 1)
	assert.Equal(t, "The void, that week", c.Views[0].Name)
	w = httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/cases/larch-end-4/chart", nil))
	assert.True(t, strings.Contains(w.Body.String(), ">The void, that week</a>"), "it is listed")
	for name, bad := range map[string]url.Values{"no reason": {"do": {"exclude"}, "from": {"2027-01-12T08:00"},
		"to": {"2027-01-13T08:00"}}, "backwards": {"do": {"exclude"}, "from": {"2027-01-13T08:00"},
		"to": {"2027-01-12T08:00"}, "what": {"x"}}, "no time": {"do": {"note"}, "from": {"soon"}, "what": {"x"}},
		"nothing noted": {"do": {"note"}, "from": {"2027-01-12T08:00"}, "what": {" "}}} {
		assert.Equal(t, http.StatusUnprocessableEntity, post(bad).Code, name)
	}
}
