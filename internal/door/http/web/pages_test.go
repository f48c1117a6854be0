package web_test

import (
	"encoding/csv"
	"html"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/risk"
)

func get(t *testing.T, h http.Handler, path string) (int, string, http.Header) {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	return w.Code, w.Body.String(), w.Header()
}

func post(t *testing.T, h http.Handler, path string, form url.Values) (int, string, http.Header) {
	t.Helper()
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Code, w.Body.String(), w.Header()
}

type built struct {
	pages http.Handler
	house *fixture
	err   error
}

var shared = sync.OnceValue(func() built {
	h, f, err := newPages(false)
	return built{h, f, err}
})

// house is the invented house's pages, shared by the tests that only read.
func house(t *testing.T) (http.Handler, *fixture) {
	t.Helper()
	b := shared()
	require.NoError(t, b.err)
	return b.pages, b.house
}

// ownHouse is for a test that writes.
func ownHouse(t *testing.T) (http.Handler, *fixture) {
	t.Helper()
	h, f, err := newPages(false)
	require.NoError(t, err)
	return h, f
}

// refused are the things that a strict policy would block.
var refused = regexp.MustCompile(`(?i)<style|\sstyle=|<script(?:\s+type="module")?>|\son[a-z]+=|javascript:|https?://[^w]`)

func TestEveryPageAnswersWithoutScriptAndUnderTheStrictPolicy(t *testing.T) {
	h, _ := house(t)
	for path, want := range map[string]string{
		"/":                               "4 Larch End",
		"/messages":                       "temp out of range",
		"/new":                            "Where loggers hang",
		"/new?empty=1":                    "case: new-house",
		"/cases/larch-end-4":              "it was wet under the covering on",
		"/cases/larch-end-4?surface=felt": "under the underlay",
		"/cases/larch-end-4/chart?night=2027-02-03":       "3 February 2027 12:00 to 4 February 2027 12:00",
		"/cases/larch-end-4/chart?from=x&to=y&surface=no": "under the covering",
		"/cases/orchard-row-2/chart":                      "No reading has come from a fitted logger yet.",
		"/cases/larch-end-4/positions":                    "28 Sep 2026: NaCl 75.3 %RH at 25 C",
		"/cases/larch-end-4/diagnosis":                    "What the evidence gives to each cause",
		"/cases/larch-end-4/diagnosis?whole":              `<div class="scroll whole" tabindex="0" role="region" aria-label="The evidence`,
		"/cases/larch-end-4/repairs":                      "in like weather",
		"/cases/larch-end-4/buildup?vent=10000":           "What to open",
		"/cases/larch-end-4/buildup?rules=nonsense":       "What to open",
		"/cases/larch-end-4/physics":                      "Water and frost",
		"/cases/larch-end-4/sure":                         "Which logger the doubt comes from",
		"/cases/larch-end-4/file":                         "fibre-cement slate",
		"/cases/larch-end-4/file?before=x":                "Earlier versions",
		"/cases/larch-end-4/file/history/1":               "It is the first: nothing was kept before it.",
		"/cases/orchard-row-2":                            "No reading has come from a fitted logger yet.",
		"/cases/orchard-row-2/diagnosis":                  "No reading has come from a fitted logger yet.",
		"/cases/orchard-row-2/positions":                  "under the covering (deck)",
		"/cases/orchard-row-2/buildup":                    "What to open",
	} {
		t.Run(path, func(t *testing.T) {
			code, body, head := get(t, h, path)
			assert.Equal(t, http.StatusOK, code)
			assert.Contains(t, body, want)
			assert.Equal(t, "text/html; charset=utf-8", head.Get("Content-Type"))
			plain := strings.ReplaceAll(body, "http://www.w3.org/2000/svg", "")
			assert.Empty(t, refused.FindString(plain))
			assert.NotContains(t, body, "<no value>")
			assert.NotContains(t, body, "%!")
			assert.NotContains(t, body, "NaN")
		})
	}
}

// A house's first page held the chart once: links of that time lead to it.
func TestOldLinksToAStretchLeadToTheChart(t *testing.T) {
	h, _ := house(t)
	for _, query := range []string{"night=2027-02-03", "from=2026-12-01T00:00:00Z&to=2026-12-02T00:00:00Z&surface=felt"} {
		code, _, head := get(t, h, "/cases/larch-end-4?"+query)
		assert.Equal(t, http.StatusFound, code)
		assert.Equal(t, "/cases/larch-end-4/chart?"+query, head.Get("Location"))
	}
}

// The first page says of the fixture's house what its other pages say.
func TestTheFirstPageAnswersFiveQuestions(t *testing.T) {
	h, f := house(t)
	_, body, _ := get(t, h, "/cases/larch-end-4")
	body = html.UnescapeString(body)
	a, c := f.answer("larch-end-4"), f.cases["larch-end-4"]
	require.NotEmpty(t, a.Repairs)
	for question, want := range map[string]string{
		"What it is":                 a.Cause(c).Sentence().String(),
		"Did it work":                a.Verdict(c, 0).Sentence().String(),
		"What the work changed":      "Exchange of the void with outdoor air: no change shown after",
		"What speaks against it":     "Since the repair it was still wet on 19 of 68 nights observed.",
		"What to do next":            "is the void cut through?",
		"The winter, night by night": "it was wet under the covering on 75 of 75 nights observed",
	} {
		_, rest, ok := strings.Cut(body, ">"+question+"</h2>")
		require.True(t, ok, question)
		section, _, _ := strings.Cut(rest, "</section>")
		assert.Contains(t, section, want, question)
	}
	assert.Regexp(t, `<th scope="row">Before</th><td[^>]*>75 of 75</td>`, body)
	assert.Regexp(t, `<th scope="row">Since</th><td[^>]*>19 of 68</td>`, body)
}

func TestLinksOfEveryPageLeadSomewhere(t *testing.T) {
	h, f := house(t)
	whole := withAPI(h, f)
	seen := map[string]bool{}
	todo := []string{"/"}
	link := regexp.MustCompile(`\s(?:href|action)="(/[^"#]*)`)
	posted := regexp.MustCompile(`<form[^>]*method="post"[^>]*>`) // no link
	for len(todo) > 0 {
		path := todo[0]
		todo = todo[1:]
		base, _, _ := strings.Cut(path, "?")
		if seen[base] || strings.HasPrefix(path, "/api/") || path == "/logout" {
			continue
		}
		seen[base] = true
		code, body, head := get(t, whole, strings.ReplaceAll(path, "&amp;", "&"))
		assert.Equal(t, http.StatusOK, code, path)
		if strings.HasPrefix(head.Get("Content-Type"), "text/html") {
			for _, m := range link.FindAllStringSubmatch(posted.ReplaceAllString(body, ""), -1) {
				todo = append(todo, m[1])
			}
		}
	}
	for _, p := range []string{"/cases/larch-end-4/diagnosis", "/cases/larch-end-4/nights.csv",
		"/cases/larch-end-4/chart.csv", "/cases/orchard-row-2", "/new"} {
		assert.True(t, seen[p], "%s is linked from somewhere", p)
	}
}

func TestWhatIsNotThereIsSaidPlainly(t *testing.T) {
	h, _ := house(t)
	code, body, _ := get(t, h, "/cases/nowhere")
	assert.Equal(t, http.StatusNotFound, code)
	assert.Contains(t, body, "There is no such house here.")
	code, body, _ = get(t, h, "/nowhere")
	assert.Equal(t, http.StatusNotFound, code)
	assert.Contains(t, body, "There is no such page.")
	code, _, _ = get(t, h, "/cases/orchard-row-2/nights.csv")
	assert.Equal(t, http.StatusNotFound, code)
	code, _, _ = get(t, h, "/assets/main-000000000000.js")
	assert.Equal(t, http.StatusNotFound, code)
}

// Whoever stands on the ladder sees which logger a place waits for.
func TestAPlaceThatNothingWasHeardFromNamesItsLogger(t *testing.T) {
	h, _ := house(t)
	_, body, _ := get(t, h, "/cases/orchard-row-2/positions")
	assert.Regexp(t, `<tr role="row" data-position="loft" data-logger="a1"(?s:.*)>a1</td>`, body)
	assert.Regexp(t, `<tr role="row" data-position="deck" data-logger=""(?s:.*)>none fitted</td>`, body)
	assert.NotRegexp(t, `data-h="Logger"></td>`, body)
}

func TestWhatLoggersSendIsShownAsWords(t *testing.T) {
	h, _ := house(t)
	_, body, _ := get(t, h, "/messages")
	assert.NotContains(t, body, "<script>alert")
	assert.Contains(t, body, "zigbee/&lt;script&gt;alert(1)&lt;/script&gt;")
	assert.Contains(t, body, `hello \x00\xff &lt;b&gt;there&lt;/b&gt;`)
}

// The table behind the sheet is made from hourly steps; the sums that the risk
// package makes night by night from the readings must be the same.
func TestNightsAreThoseOfTheRecord(t *testing.T) {
	h, f := house(t)
	code, body, head := get(t, h, "/cases/larch-end-4/nights.csv?surface=slate")
	require.Equal(t, http.StatusOK, code)
	assert.Contains(t, head.Get("Content-Disposition"), "larch-end-4-slate-nights.csv")
	rows, err := csv.NewReader(strings.NewReader(body)).ReadAll()
	require.NoError(t, err)
	set := f.sets["larch-end-4"]
	course, err := risk.Margin(set, "slate")
	require.NoError(t, err)
	nights := evidence.Nights(set.Case.Property.Zone, set.FromMS, set.UntilMS)
	require.Len(t, rows, len(nights)+1)
	hours := map[int64]bool{}
	for i, n := range nights {
		sum := course.Sum(n.FromMS, n.UntilMS)
		row := rows[i+1]
		from, err := time.Parse(time.RFC3339, row[0])
		require.NoError(t, err)
		assert.Equal(t, n.FromMS, from.UnixMilli())
		hours[(n.UntilMS-n.FromMS)/3600_000] = true
		for col, want := range map[int]float64{3: sum.CondensingMS, 4: sum.AtRiskMS, 5: sum.FrostMS} {
			if sum.ObservedMS == 0 {
				assert.Empty(t, row[col], "nothing observed is an empty cell")
				continue
			}
			got, err := strconv.ParseFloat(row[col], 64)
			require.NoError(t, err)
			assert.InDelta(t, want/3.6e6, got, 0.006, "night %s column %d", row[0], col)
		}
	}
	assert.True(t, hours[25], "the record holds the night on which the clocks went back")
}

func TestAnOldLinkToTheMarginLeadsToItsChart(t *testing.T) {
	h, _ := house(t)
	code, _, head := get(t, h, "/cases/larch-end-4/margin?night=2027-02-03&surface=felt")
	assert.Equal(t, http.StatusFound, code)
	to, err := url.Parse(head.Get("Location"))
	require.NoError(t, err)
	assert.Equal(t, "/cases/larch-end-4/chart", to.Path)
	assert.Equal(t, url.Values{"night": {"2027-02-03"}, "surface": {"felt"},
		"show": {"felt.margin,felt.margin_unrepaired"}}, to.Query())
}

func TestACaseFileIsWrittenThroughTheForm(t *testing.T) {
	h, f := ownHouse(t)
	bad := "case: mill-lane-1\nproperty: {label: Mill, timezone: Europe/Nowhere}\npositions:\n  - {id: loft, place: " +
		"attic}\n"
	code, body, _ := post(t, h, "/new", url.Values{"file": {bad}})
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Contains(t, body, "line 2")
	assert.Contains(t, body, "line 4")
	assert.Contains(t, body, "Europe/Nowhere", "what was written stays in the form")

	code, body, _ = post(t, h, "/new", url.Values{"file": {"property: {}\n"}})
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Contains(t, body, "give the case a name of a-z", "and of every other fault in the same go")
	assert.Contains(t, body, "property.timezone")

	code, _, _ = post(t, h, "/new", url.Values{"file": {houseFile}})
	assert.Equal(t, http.StatusConflict, code, "a new house does not replace one that is there")

	good := "case: mill-lane-1\r\nproperty: {label: Mill, timezone: Europe/Oslo}\r\npositions:\r\n  - {id: loft, " +
		"place: loft_air}\r\n"
	code, _, head := post(t, h, "/new", url.Values{"file": {good}})
	assert.Equal(t, http.StatusSeeOther, code)
	assert.Equal(t, "/cases/mill-lane-1/file?saved=1", head.Get("Location"))
	assert.Equal(t, strings.ReplaceAll(good, "\r\n", "\n"), f.files["mill-lane-1"])

	_, body, _ = get(t, h, "/cases/mill-lane-1/file")
	etag := regexp.MustCompile(`name="etag" value="([^"]*)"`).FindStringSubmatch(body)
	require.Len(t, etag, 2)
	changed := strings.Replace(good, "Mill", "Mill house", 1)
	code, _, _ = post(t, h, "/cases/mill-lane-1/file", url.Values{"file": {changed}, "etag": {etag[1]}})
	assert.Equal(t, http.StatusSeeOther, code)
	code, body, _ = post(t, h, "/cases/mill-lane-1/file", url.Values{"file": {good}, "etag": {etag[1]}})
	assert.Equal(t, http.StatusConflict, code, "someone else's change is not lost unseen")
	assert.Contains(t, body, "Someone else saved this file")

	code, _, _ = post(t, h, "/new", url.Values{"file": {strings.Repeat("#", 1<<20+1)}})
	assert.Equal(t, http.StatusRequestEntityTooLarge, code)
}

func TestTheFileAsOfferedIsAnExampleThatHolds(t *testing.T) {
	h, _ := ownHouse(t)
	_, body, _ := get(t, h, "/new?empty=1")
	file := textarea(t, body)
	code, body, _ := post(t, h, "/new", url.Values{"file": {file}})
	assert.Equal(t, http.StatusSeeOther, code, body)
	// Every key that is commented out is right as well.
	full := regexp.MustCompile(`(?m)^(\s*)# (\w+:)`).ReplaceAllString(strings.Replace(file, "new-house", "full-house", 1),
		"$1$2")
	code, body, _ = post(t, h, "/new", url.Values{"file": {full}})
	assert.Equal(t, http.StatusSeeOther, code, body)
}

func TestTheShortFormWritesAFileThatHolds(t *testing.T) {
	h, f := ownHouse(t)
	form := url.Values{"label": {`3 Förde "Way", {a}: #b`}, "timezone": {"Europe/Berlin"},
		"covering": {"fibre-cement: slate"}, "covering_air": {"closed"}, "underlay": {"LR"},
		"battens": {"single"}, "insulation": {"ceiling"}, "sealed": {"no"}, "pitch_deg": {"32,5"}, "loft_eaves": {"10"},
		"void_eaves":  {"0"},
		"logger_void": {"a1"}, "logger_covering": {"a2"}, "logger_underlay": {"a3"}, "from": {"2026-10-01"},
		"accuracy_c": {"0,3"}, "accuracy_rh": {"2"}}
	code, body, _ := post(t, h, "/new/review", form)
	require.Equal(t, http.StatusOK, code)
	assert.Contains(t, body, "Not kept yet")
	assert.Contains(t, body, "Loggers under the underlay, in the batten void and under the covering: the cause would be "+
		"named", "what the loggers named tell")
	assert.Contains(t, body, "Loggers outdoors in the shade, in an upstairs room and in the loft as well: the cause "+
		"would be named", "and which to fit beside them")
	assert.NotContains(t, body, "A logger in the batten void as well")
	assert.Len(t, f.files, 2, "nothing is kept before it was seen")
	code, body, head := post(t, h, "/new", url.Values{"file": {textarea(t, body)}})
	require.Equal(t, http.StatusSeeOther, code, body)
	assert.Equal(t, "/cases/3-f-rde-way-a-b/file?saved=1", head.Get("Location"))
	c := f.cases["3-f-rde-way-a-b"]
	require.NotNil(t, c)
	assert.Equal(t, `3 Förde "Way", {a}: #b`, c.Property.Label)
	assert.InDelta(t, 32.5, *c.Roof.PitchDeg, 1e-9)
	assert.Nil(t, c.Roof.Openings.LoftRidgeMM, "what was left empty is not known")
	assert.InDelta(t, 0, *c.Roof.Openings.VoidEavesMM, 0)
	assert.Equal(t, "void", c.Surfaces()[1].Meets)
	assert.Empty(t, c.Surfaces()[0].Meets, "the loft has no logger, so that nothing meets the underlay")

	form.Set("pitch_deg", "steep")
	form.Set("case", "Has Spaces")
	_, body, _ = post(t, h, "/new/review", form)
	code, body, _ = post(t, h, "/new", url.Values{"file": {textarea(t, body)}})
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Contains(t, body, "cannot name a case")
}

// textarea is the file that a page's form holds.
func textarea(t *testing.T, body string) string {
	t.Helper()
	_, rest, ok := strings.Cut(body, "<textarea")
	require.True(t, ok)
	_, rest, _ = strings.Cut(rest, ">\n")
	file, _, _ := strings.Cut(rest, "</textarea>")
	return html.UnescapeString(file)
}

func TestLoggingIn(t *testing.T) {
	h, _, err := newPages(true)
	require.NoError(t, err)
	_, body, _ := get(t, h, "/login?next=/cases/larch-end-4")
	assert.Contains(t, body, `value="/cases/larch-end-4"`)
	code, body, _ := post(t, h, "/login", url.Values{"password": {"wrong"}, "next": {"/messages"}})
	assert.Equal(t, http.StatusForbidden, code)
	assert.Contains(t, body, "That is not the password.")
	assert.Contains(t, body, `value="/messages"`)
	for next, want := range map[string]string{"/messages": "/messages", "//evil.example": "/", "https://evil.example": "/",
		`/\evil.example`: "/", "/a\r\nb": "/", "": "/"} {
		code, _, head := post(t, h, "/login", url.Values{"password": {"right"}, "next": {next}})
		assert.Equal(t, http.StatusSeeOther, code)
		assert.Equal(t, want, head.Get("Location"), next)
	}
	code, _, head := post(t, h, "/logout", nil)
	assert.Equal(t, http.StatusSeeOther, code)
	assert.Equal(t, "/login", head.Get("Location"))
}

func TestTheFirstAnswerHoldsThePictures(t *testing.T) {
	h, _ := house(t)
	srv := httptest.NewServer(h)
	defer srv.Close()
	r, err := http.NewRequest(http.MethodGet, srv.URL+"/cases/larch-end-4", nil)
	require.NoError(t, err)
	r.Header.Set("Accept-Encoding", "gzip")
	res, err := http.DefaultTransport.RoundTrip(r)
	require.NoError(t, err)
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	require.NoError(t, err)
	assert.Equal(t, "gzip", res.Header.Get("Content-Encoding"))
	assert.Less(t, len(b), 120_000, "a phone loads the page in one go")
	_, answer, _ := get(t, h, "/cases/larch-end-4")
	assert.True(t, strings.Contains(answer, `id="p-sheet-slate" role="img"`))
	_, chart, _ := get(t, h, "/cases/larch-end-4/chart")
	assert.True(t, strings.Contains(chart, `id="p-curves" role="img"`))
}
