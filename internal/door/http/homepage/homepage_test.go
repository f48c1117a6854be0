package homepage

import (
	"context"
	"fmt"
	"html"
	"io"
	"log/slog"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/readability"
	"dewcase/internal/words"
)

type desk struct {
	home Home
	seen []string
}

func (d *desk) Home(_ context.Context, token string) (Home, error) {
	if token != "good" {
		return Home{}, fmt.Errorf("a link: %w", roof.ErrNotFound)
	}
	return d.home, nil
}

func (d *desk) Seen(_ context.Context, token, id string) error {
	if token != "good" {
		return fmt.Errorf("a link: %w", roof.ErrNotFound)
	}
	d.seen = append(d.seen, id)
	return nil
}

func (d *desk) Stop(_ context.Context, caseID, code string, stop bool) (string, bool, error) {
	if code != "right" {
		return "", false, fmt.Errorf("a link: %w", roof.ErrNotFound)
	}
	return "ann@example.org", stop, nil
}

func serve(t *testing.T, d *desk, method, path, body string) (int, string) {
	p, err := New(d, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	r := chi.NewRouter()
	p.Mount(r)
	q := httptest.NewRequest(method, path, strings.NewReader(body))
	if body != "" {
		q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	w := httptest.NewRecorder()
	r.ServeHTTP(w, q)
	b, err := io.ReadAll(w.Result().Body)
	require.NoError(t, err)
	return w.Code, string(b)
}

func full() Home {
	p := 0.7
	noon := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	work := words.Verdict{Kind: words.NoChangeShown, At: noon.AddDate(0, -2, 0)}
	said := words.Home{Zone: time.UTC, Now: noon.AddDate(0, 0, 14), Heard: noon.AddDate(0, 0, 14), Wet: true,
		Level: words.FromWithin, Where: "under the slates", Chance: &p, Work: &work,
		Cause:  words.Cause{Finding: "ceiling_leakage", Strength: words.Probable, Repair: work.At},
		Alerts: []words.Alert{{Condition: words.SurfaceWet, Where: "under the slates"}}}
	for d := range 14 {
		n := words.Night{From: noon.AddDate(0, 0, d), State: words.WetNight, WetH: float64(d % 5)}
		switch {
		case d == 3:
			n.State, n.WetH = words.NotSeen, 0
		case d == 4:
			n.Frost = true
		case d%5 == 0:
			n.State = words.DryNight
		}
		said.Nights = append(said.Nights, n)
	}
	return Home{Label: "3 Larch Row", Said: said, Indoors: true, Demo: true,
		Alerts: []Alert{{IDs: []string{"surface_wet.slate.1", "wet_nights.slate.1"}, Since: noon,
			Saying: said.Found(said.Alerts[0])}}}
}

var tag = regexp.MustCompile(`(?s)<(script|style|svg|title).*?</(script|style|svg|title)>|<[^>]*>`)

// sentences are what a reader sees, cut into sentences.
func sentences(page string) (out []string) {
	for _, block := range regexp.MustCompile(`</(p|li|h1|h2|h3|summary|button)>`).Split(page, -1) {
		out = append(out, readability.Sentences(html.UnescapeString(tag.ReplaceAllString(block, " ")))...)
	}
	return out
}

// TestAChildOfTwelveReadsThePage holds every sentence to Flesch-Kincaid grade 9
// and each page as a whole to grade 7, the reading of a twelve-year-old.
func TestAChildOfTwelveReadsThePage(t *testing.T) {
	dew, early := full(), full()
	dew.Said.Level, dew.Said.Wet, dew.Said.Chance, dew.Alerts, dew.Said.Alerts = words.FromOutdoors, false, nil, nil, nil
	dew.Said.Cause.Finding = words.Dew
	early.Said.Nights, early.Said.Work.Kind = nil, words.TooEarly
	for name, h := range map[string]Home{"full": full(), "dew": dew, "early": early} {
		for _, path := range []string{"/home/good", "/home/bad", "/home/stop/larch-3/right"} {
			_, page := serve(t, &desk{home: h}, "GET", path, "")
			all := ""
			for _, s := range sentences(page) {
				all += s + ". "
				if len(strings.Fields(s)) >= 4 {
					assert.LessOrEqual(t, readability.Grade(s), 9.0, "%s %s: %s", name, path, s)
				}
			}
			assert.LessOrEqual(t, readability.Grade(all), 7.0, "%s %s", name, path)
			for _, jargon := range []string{"condens", "dew point", "margin", "humidity", "coverage", "verdict"} {
				assert.NotContains(t, page, jargon, name)
			}
		}
	}
}

func TestTheFortnightSaysWhatIsNotKnown(t *testing.T) {
	_, page := serve(t, &desk{home: full()}, "GET", "/home/good", "")
	assert.Contains(t, page, "It was wet under the slates on 10 of the 13 nights that we saw, for 1 to 4 hours each.")
	assert.Contains(t, page, "Friday 4 December: not seen")
	assert.Contains(t, page, "Last news from your roof: Tuesday 15 December 2026, 12:00.")
	assert.Contains(t, page, "Saturday 5 December: frost for 4 hours")
	assert.Equal(t, 14, strings.Count(page, `width="18"`))
}

func TestThePageTellsOneStoryInItsOrder(t *testing.T) {
	h := full()
	h.Adviser = roof.Person{Name: "Jo Ferrier", Telephone: "+44 (1632) 960-123"}
	for i := range 14 {
		h.Said.Before = append(h.Said.Before, words.Night{From: h.Said.Nights[0].From.AddDate(0, -3, i),
			State: words.WetNight, WetH: 11})
	}
	h.Said.Wet = false
	for _, row := range []struct {
		hour  int
		tells bool
	}{{6, false}, {15, true}, {23, false}} {
		h.Said.Now = time.Date(2026, 12, 15, row.hour, 0, 0, 0, time.UTC)
		h.Said.Heard = h.Said.Now
		_, page := serve(t, &desk{home: h}, "GET", "/home/good", "")
		at := -1
		for _, part := range []string{"<h1>", ">What to do<", ">Where it comes from<",
			"the water probably came from damp air",
			">The work on your roof<",
			">Is it getting better?<", "Before the work it was wet on 14 of 14 nights, 154 hours in all.", ">What we found<",
			`<a class="call" href="tel:+441632960123">Call +44 (1632) 960-123</a>`, ">What we record<"} {
			next := strings.Index(html.UnescapeString(page), part)
			assert.Greater(t, next, at, "%q at %d o'clock", part, row.hour)
			at = next
		}
		assert.Equal(t, row.tells, strings.Contains(page, ">Tonight<"), row.hour)
		assert.Equal(t, 28, strings.Count(page, `width="18"`), "two strips of a fortnight")
	}
}

func TestThePageKeepsToItself(t *testing.T) {
	d := &desk{home: full()}
	d.home.Label = `<script>alert(1)</script>`
	_, page := serve(t, d, "GET", "/home/good", "")
	assert.NotContains(t, page, "<script>alert(1)")
	code, _ := serve(t, d, "GET", "/home/bad", "")
	assert.Equal(t, 404, code)
	code, _ = serve(t, d, "POST", "/home/bad/seen", "alert=x")
	assert.Equal(t, 404, code)
	code, _ = serve(t, d, "POST", "/home/good/seen", "alert=surface_wet.slate.1")
	assert.Equal(t, 303, code)
	assert.Equal(t, []string{"surface_wet.slate.1"}, d.seen)
	for _, path := range []string{"/home/bad/app.webmanifest", "/home/bad/worker.js", "/home/-/nothing.css",
		"/home/stop/larch-3/wrong"} {
		code, _ = serve(t, d, "GET", path, "")
		assert.Equal(t, 404, code, path)
	}
}

func TestMailsStopByAButtonAndNotByALook(t *testing.T) {
	_, page := serve(t, &desk{}, "GET", "/home/stop/larch-3/right", "")
	assert.Contains(t, page, "Stop the mails?")
	_, page = serve(t, &desk{}, "POST", "/home/stop/larch-3/right", "List-Unsubscribe=One-Click")
	assert.Contains(t, page, "We will not mail you any more.")
}
