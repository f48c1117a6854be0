package toldalike

import (
	"encoding/csv"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"dewcase/internal/testkit/running"
)

// shown is a page as a reader has it before the eyes.
type shown struct {
	address *url.URL
	surface string // whose charts it shows, "" where it shows none
	from,
	until time.Time
	text   string // without what stands in attributes
	ids    map[string]bool
	next   []link
	places []string // the surfaces that its headings and choices name, in order
}

// link is an address on a page and the words that it stands behind.
type link struct{ to, words string }

func attribute(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func words(n *html.Node) string {
	var b strings.Builder
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			b.WriteString(c.Data)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// asSent are the addresses to which a form that is sent by GET leads: one for
// each choice of each of its lists.
func asSent(form *html.Node) (out []link) {
	filled := url.Values{}
	choices := map[string][]string{}
	for n := range form.Descendants() {
		switch n.Data {
		case "input":
			filled.Set(attribute(n, "name"), attribute(n, "value"))
		case "select":
			for o := range n.Descendants() {
				if o.Data == "option" {
					choices[attribute(n, "name")] = append(choices[attribute(n, "name")], attribute(o, "value"))
				}
			}
		}
	}
	for name, values := range choices {
		for _, v := range values {
			q := maps.Clone(filled)
			q.Set(name, v)
			out = append(out, link{attribute(form, "action") + "?" + q.Encode(), "form " + name + " " + v})
		}
	}
	if len(out) == 0 {
		out = []link{{attribute(form, "action") + "?" + filled.Encode(), "form"}}
	}
	return out
}

// look reads a page: what it shows and where it leads.
func look(t testing.TB, address *url.URL, body string) shown {
	t.Helper()
	root, err := html.Parse(strings.NewReader(body))
	require.NoError(t, err)
	s := shown{address: address, text: words(root), ids: map[string]bool{}}
	for n := range root.Descendants() {
		if id := attribute(n, "id"); id != "" {
			s.ids[id] = true
		}
		if n.Data == "dew-sheet" {
			s.surface = attribute(n, "data-surface")
		}
		if n.Data == "dew-chart" {
			s.from, _ = time.Parse(time.RFC3339, attribute(n, "data-from"))
			s.until, _ = time.Parse(time.RFC3339, attribute(n, "data-until"))
		}
		if n.Data == "h2" || n.Data == "h3" || n.Parent != nil && attribute(n.Parent, "class") == "pick" {
			for _, place := range []string{"under the covering", "under the underlay", "on the timber"} {
				if strings.Contains(strings.ToLower(words(n)), place) && !slices.Contains(s.places, place) {
					s.places = append(s.places, place)
				}
			}
		}
		for _, key := range []string{"href", "src"} {
			if to := attribute(n, key); to != "" {
				s.next = append(s.next, link{to, words(n)})
			}
		}
		if n.Data == "form" && attribute(n, "action") != "" && !strings.EqualFold(attribute(n, "method"), "post") {
			s.next = append(s.next, asSent(n)...)
		}
	}
	return s
}

// kind is what links have in common that differ in their time alone: of the
// sixty nights of a table one is as good as the other.
func (l link) kind(from shown, to *url.URL) string {
	q := to.Query()
	var keys []string
	for k, v := range q {
		if k == "surface" || k == "rules" {
			k += "=" + v[0]
		}
		keys = append(keys, k)
	}
	slices.Sort(keys)
	words := l.words
	if strings.ContainsAny(words, "0123456789") { // a night, a figure
		words = "#"
	}
	return fmt.Sprint(from.address.Path, " ", from.surface, " ", to.Path, " ", keys, " ", words)
}

// Every address that a page of the demo's houses holds is followed as it stands
// there, and what comes belongs to what the page shows. Nothing is typed here
// but the front page and the words of the button that makes a household's link.
func TestEveryAddressOnEveryPageLeadsToWhatThePageShows(t *testing.T) {
	d := running.WithDemo(t)
	base, err := url.Parse(d.HTTP)
	require.NoError(t, err)
	labels := map[string]string{"saltmarrow-7": "7 Saltmarrow Lane", "gannet-heugh-2": "2 Gannet Heugh"}
	type errand struct {
		link
		to   *url.URL
		from shown
	}
	done, pages, fetched := map[string]bool{}, map[string]shown{}, map[string]bool{}
	answers := map[string]int{}
	var todo []errand
	follow := func(from shown, l link) {
		to, err := from.address.Parse(l.to)
		if !assert.NoError(t, err, "%s holds %q", from.address, l.to) || to.Host != base.Host {
			return
		}
		if to.Path == from.address.Path && to.RawQuery == from.address.RawQuery {
			assert.True(t, to.Fragment == "" || from.ids[to.Fragment], "%s has no place #%s", from.address, to.Fragment)
			return
		}
		if key := l.kind(from, to); !done[key] {
			done[key] = true
			todo = append(todo, errand{l, to, from})
		}
	}
	follow(shown{address: base}, link{"/", "the front page"})
	for len(todo) > 0 {
		e := todo[0]
		todo = todo[1:]
		where := fmt.Sprintf("%q (%s) on %s", e.words, e.to, e.from.address)
		page, seen := pages[e.to.RequestURI()]
		if !seen {
			if fetched[e.to.RequestURI()+e.from.surface] {
				continue
			}
			fetched[e.to.RequestURI()+e.from.surface] = true
			resp, body := d.Ask("GET", e.to.RequestURI(), "")
			for tries := 0; resp.StatusCode == http.StatusServiceUnavailable && tries < 10; tries++ { // still assessing
				resp, body = d.Ask("GET", e.to.RequestURI(), "")
			}
			if resp.StatusCode == http.StatusSeeOther { // /login, where nobody is asked
				follow(e.from, link{resp.Header.Get("Location"), "redirected"})
				continue
			}
			if !assert.Equal(t, http.StatusOK, resp.StatusCode, "%s: %.200s", where, body) {
				continue
			}
			kind, _, _ := strings.Cut(resp.Header.Get("Content-Type"), ";")
			answers[kind]++
			switch kind {
			case "text/html":
				page = look(t, e.to, body)
				pages[e.to.RequestURI()] = page
				for _, l := range page.next {
					follow(page, l)
				}
				householdLinks(d, page, body, func(l link) { follow(page, l) })
			case "text/csv":
				belongs(t, where, e.from, e.to, body)
				continue
			default:
				assert.Contains(t, []string{"text/css", "text/javascript", "image/svg+xml", "application/json",
					"application/pdf", "application/yaml", "text/plain", "application/manifest+json"}, kind, where)
				continue
			}
		}
		if parts := strings.Split(e.to.Path, "/"); len(parts) > 2 && parts[1] == "cases" {
			assert.Contains(t, page.text, labels[parts[2]], "%s: the page is of another house", where)
		}
		assert.True(t, e.to.Fragment == "" || page.ids[e.to.Fragment], "%s: no such place", where)
		q := e.to.Query()
		if s := q.Get("surface"); s != "" && page.surface != "" {
			assert.Equal(t, s, page.surface, "%s: the page shows another surface", where)
		}
		if from, err := time.Parse(time.RFC3339, q.Get("from")); err == nil && page.surface != "" {
			assert.Equal(t, from.UTC(), page.from, "%s: the page shows another stretch", where)
		}
	}
	t.Run("surfaces stand in one order on all of them", func(t *testing.T) {
		want := []string{"under the covering", "under the underlay", "on the timber"} // by wet hours
		several := 0
		for address, p := range pages {
			if len(p.places) > 1 {
				several++
				assert.True(t, slices.IsSortedFunc(p.places, func(x, y string) int {
					return slices.Index(want, x) - slices.Index(want, y)
				}), "%s: %v", address, p.places)
			}
		}
		assert.Greater(t, several, 12)
	})
	t.Run("a sound roof is silent on the list of houses", func(t *testing.T) {
		_, body := d.Ask("GET", "/", "")
		mended, sound, _ := strings.Cut(body, labels["gannet-heugh-2"])
		assert.Contains(t, mended, "2 houses, one of which needs a look.")
		assert.Regexp(t, `<b>Needs a look:</b> [^<]*battery low: k2-loft`, mended) // it may be silent by now as well
		assert.NotRegexp(t, `<b>Needs a look:</b> [^<]*wet on`, mended, "its wet nights are no news")
		assert.Contains(t, mended, "<dt>Repair</dt><dd>Worked, ")
		assert.Contains(t, strings.ToLower(sound), "dew from outdoor air on clear nights, which is no defect")
		assert.NotContains(t, sound, "Needs a look")
	})
	t.Run("nothing is called useless that the record proves useful", func(t *testing.T) {
		of := func(path string) string { return pages["/cases/saltmarrow-7"+path].text }
		require.Contains(t, of("/repairs"), "worked")
		for _, path := range []string{"/buildup", "/report", "/diagnosis"} {
			require.NotEmpty(t, of(path), path)
			now, _, _ := strings.Cut(of(path), "Before the work, as surveyed") // a head of the report
			assert.NotContains(t, now, "do nothing", path)
			assert.NotContains(t, of(path), "Lift one slate at mid-slope", path)
		}
		assert.Contains(t, of("/buildup"), "void at the eaves open 25 mm")
		assert.Contains(t, of("/buildup"), "Last values beside their places", "the roof of today has them")
		earlier := 0
		for address, p := range pages {
			if strings.Contains(address, "/buildup?before=") {
				earlier++
				assert.Contains(t, p.text, "Openings at the ends of a void on single battens do nothing.")
			}
		}
		assert.Positive(t, earlier, "the roof before the work is shown as well")
	})
	t.Log(answers)
	for _, kind := range []string{"text/html", "text/csv", "application/pdf", "image/svg+xml"} {
		assert.NotZero(t, answers[kind], "a %s is linked from somewhere", kind)
	}
	assert.Greater(t, answers["text/html"], 60)
	assert.GreaterOrEqual(t, answers["text/csv"], 2*3*2, "nights and stretch of each surface of each house")
}

// householdLinks presses the button of a page that makes a household's link.
func householdLinks(d *running.Daemon, page shown, body string, found func(link)) {
	root, _ := html.Parse(strings.NewReader(body))
	for n := range root.Descendants() {
		if n.Data == "form" && words(n) == "Make a new link" {
			_, made := d.Ask("POST", attribute(n, "action"), "", "Content-Type", "application/x-www-form-urlencoded")
			for _, l := range look(d.T, page.address, made).next {
				if strings.Contains(l.to, "/home/") {
					found(l)
				}
			}
		}
	}
}

// belongs holds a CSV against the page that links it.
func belongs(t testing.TB, where string, page shown, to *url.URL, body string) {
	t.Helper()
	table := csv.NewReader(strings.NewReader(body))
	table.Comment = '#' // a chart's table says above it what it is
	rows, err := table.ReadAll()
	require.NoError(t, err, where)
	require.Greater(t, len(rows), 1, "%s holds nothing", where)
	column := func(name string) int { return slices.Index(rows[0], name) }
	if c := column("surface"); c >= 0 {
		for _, row := range rows[1:] {
			if !assert.Equal(t, page.surface, row[c], "%s: another surface than the page shows", where) {
				break
			}
		}
	}
	if c := column("margin_mean_k"); c >= 0 { // the stretch shown and no other
		for _, row := range []string{rows[1][0], rows[len(rows)-1][0]} {
			at, err := time.Parse(time.RFC3339, row)
			require.NoError(t, err, where)
			assert.False(t, at.Before(page.from.Add(-25*time.Hour)) || at.After(page.until), "%s: %s is outside %s to %s",
				where, at, page.from, page.until)
		}
	}
	if c := column("logger"); c >= 0 {
		loggers := map[string]bool{}
		for _, row := range rows[1:] {
			loggers[row[c]] = true
		}
		assert.Greater(t, len(loggers), 5, "%s: readings of the house's loggers", where)
	}
}
