package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/predict"
)

func TestWhatWouldHelpFollowsThePlannedMillimetresAtOnce(t *testing.T) {
	h, f, err := newPages(false)
	require.NoError(t, err)
	get := func(path string) string {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
		require.Equal(t, http.StatusOK, w.Code, path)
		return w.Body.String()
	}
	usual := get("/cases/larch-end-4/help?roof=before")
	assert.Contains(t, usual, "hours at risk since")
	assert.Contains(t, usual, "What is planned")
	assert.Contains(t, usual, "before any work")
	assert.Contains(t, usual, "since the work of 20 December 2026")
	assert.Contains(t, usual, "Stay off the roof", "the cautions stand beside it")
	assert.Contains(t, usual, "the rule decides")
	assert.Contains(t, usual, "stopping a leak", "what is refused is said")
	wide := get("/cases/larch-end-4/help?roof=before&void_eaves=40&void_ridge=20&loft_eaves=25&house=50")
	assert.NotEqual(t, usual, wide)
	assert.Contains(t, wide, "40 mm continuous at both eaves and 20 mm at the ridge")
	assert.Contains(t, wide, `name="house" inputmode="decimal" size="4" value="50"`)

	for path, want := range map[string]string{
		"void_eaves=abc":  "Void, each eaves: “abc” is not a figure between 0 and 200 mm; 25 mm is used.",
		"loft_ridge=-3":   "Loft, ridge: “-3” is not a figure between 0 and 200 mm; 5 mm is used.",
		"house=10":        "House vapour left: “10” is not a figure between 40 and 100 %; 75 % is used.",
		"void_ridge=NaN":  "Void, ridge: “NaN” is not a figure",
		"loft_eaves=1e99": "Loft, each eaves: “1e99” is not a figure",
	} {
		assert.Contains(t, get("/cases/larch-end-4/help?"+path), want)
	}
	ahead, err := f.Ahead(t.Context(), "larch-end-4")
	require.NoError(t, err)
	require.NotEmpty(t, ahead.Scores)
	assert.Contains(t, get("/cases/larch-end-4/repairs"), "What was predicted before the work")
	assert.Contains(t, get("/cases/larch-end-4/repairs"), ahead.Scores[0].Sentence)
	fared := get("/predictions")
	assert.Contains(t, fared, "verdicts lay within what had been predicted")
	assert.Contains(t, fared, `href="/cases/larch-end-4/repairs"`)
}

// A plan is kept in the case file with its comments as they were, shows from then
// on, and goes again; sizes that cannot be are said and not kept.
func TestAPlanIsKeptInTheCaseFile(t *testing.T) {
	h, f := ownHouse(t)
	const at = "/cases/larch-end-4/help"
	form := url.Values{"loft_eaves": {"33"}, "loft_ridge": {"0"}, "house": {"60"}, "work": {"loft_vented"}}
	code, body, head := post(t, h, at+"/plan", form)
	require.Equal(t, http.StatusSeeOther, code, body)
	assert.Equal(t, at+"?kept=1", head.Get("Location"))
	assert.Contains(t, f.files["larch-end-4"], "planned: {work: loft_vented, void_eaves: 25, void_ridge: 10, "+
		"loft_eaves: 33, loft_ridge: 0, house_left_pct: 60}")
	_, body, _ = get(t, h, at+"?kept=1")
	assert.Contains(t, body, "Kept in the case file")
	assert.Contains(t, body, `name="loft_eaves" inputmode="decimal" size="4" value="33"`)
	assert.Contains(t, body, `<option value="loft_vented" selected>`)
	assert.Contains(t, body, "Planned by the case file: opening the loft’s vents (33 mm continuous at both eaves).")
	assert.Contains(t, body, "Stay off the roof")

	before := f.files["larch-end-4"]
	form.Set("loft_eaves", "900")
	code, _, head = post(t, h, at+"/plan", form)
	assert.Equal(t, http.StatusSeeOther, code)
	assert.Equal(t, before, f.files["larch-end-4"], "nothing is kept")
	_, body, _ = get(t, h, head.Get("Location"))
	assert.Contains(t, body, "“900” is not a figure between 0 and 200 mm; 33 mm is used")
	form.Set("loft_eaves", "20")
	form.Set("work", "paint")
	code, body, _ = post(t, h, at+"/plan", form)
	assert.Equal(t, http.StatusUnprocessableEntity, code)
	assert.Contains(t, body, "planned.work")
	code, _, _ = post(t, h, at+"/plan", url.Values{"forget": {"1"}})
	assert.Equal(t, http.StatusSeeOther, code)
	assert.NotContains(t, f.files["larch-end-4"], "planned")
}

// A house set up yesterday has nothing to predict from, and no house nothing to
// count: both say so.
func TestWithoutARecordNothingIsPredictedNorCounted(t *testing.T) {
	h, f, err := newPages(false)
	require.NoError(t, err)
	delete(f.cases, "larch-end-4")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/cases/orchard-row-2/help", nil))
	assert.Equal(t, http.StatusOK, w.Code)
	w = httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/predictions", nil))
	assert.Contains(t, w.Body.String(), "No predicted work has a verdict yet")
}

// Beside a cause that cannot be told stands what would help, whatever it is.
func TestAnUndeterminedCauseIsToldWhatWouldHelp(t *testing.T) {
	h, f, err := newPages(false)
	require.NoError(t, err)
	a := f.answer("larch-end-4")
	a.Finding.Finding = "undetermined"
	f.answers["larch-end-4"] = a
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/cases/larch-end-4/diagnosis", nil))
	body := w.Body.String()
	assert.Contains(t, body, "Whatever the cause:")
	assert.Contains(t, body, `href="/cases/larch-end-4/help">What would help</a></p>`)
	ahead, err := f.Ahead(t.Context(), "larch-end-4")
	require.NoError(t, err)
	p, help := ahead.Predict(predict.DefaultPlan(), true)
	assert.NotEmpty(t, p)
	assert.Contains(t, body, help.Said.Headline().String()[:30])
}
