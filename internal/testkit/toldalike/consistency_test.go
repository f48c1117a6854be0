// Package toldalike holds what the daemon says in one place against what it says
// in another: pages, tables, downloads, the API, mails, and every link between
// them.
package toldalike

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"html"
	"math"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/measuredroofs"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/roofworlds"
	"dewcase/internal/testkit/running"
	prose "dewcase/internal/words"
)

// told is all that the program says of one house, as text.
type told struct {
	a     assessment.Assessment
	c     *roof.Case
	pages map[string]string // by what they are
	sheet map[string]string // the timeline's page by surface
	rows  map[string][]map[string]string
	// minutes are the wet ones of the API's timeline, by surface.
	minutes map[string]float64
}

var (
	inline = regexp.MustCompile(`</?(?:b|a|span|code|time|data|wbr)(?:\s[^>]*)?>`)
	tags   = regexp.MustCompile(`(?s)<script.*?</script>|<style.*?</style>|<[^>]*>`)
)

// plain is a page as its reader and a screen reader have it: the text of
// pictures stands in their titles and descriptions.
func plain(page string) string {
	page = strings.NewReplacer("\u00ad", "", "\u200b", "").Replace(page)
	return strings.Join(strings.Fields(html.UnescapeString(tags.ReplaceAllString(inline.ReplaceAllString(page, ""), " "))),
		" ")
}

// listen gathers what is said of a house.
func listen(d *running.Daemon, id string) told {
	d.T.Helper()
	x := told{pages: map[string]string{}, sheet: map[string]string{}, rows: map[string][]map[string]string{},
		minutes: map[string]float64{}}
	require.NoError(d.T, json.Unmarshal([]byte(d.Patient("/api/cases/"+id+"/assessment")), &x.a))
	_, file := d.Ask("GET", "/api/cases/"+id+"/file", "")
	var faults roof.Faults
	x.c, faults = casefile.Parse(id, []byte(file))
	require.Empty(d.T, faults)
	for name, path := range map[string]string{"cause": "/cases/" + id + "/diagnosis",
		"repairs": "/cases/" + id + "/repairs", "sure": "/cases/" + id + "/sure", "water": "/cases/" + id + "/physics",
		"report": "/cases/" + id + "/report", "alerts": "/cases/" + id + "/alerts"} {
		x.pages[name] = plain(d.Patient(path))
	}
	patience.Until(d.T, "the house is summed up on the list", func() bool {
		list := plain(d.Patient("/?q=" + url.QueryEscape(x.c.Property.Label)))
		x.pages["houses"] = list
		return strings.Contains(list, "Last reading") && !strings.Contains(list, "being summed up") &&
			!strings.Contains(list, "the figures are of")
	})
	var text strings.Builder
	assessment.WriteText(&text, x.a, x.c)
	x.pages["text"] = strings.Join(strings.Fields(text.String()), " ")
	var view struct {
		Surfaces []struct {
			Surface       string
			CondensingMin []*float64 `json:"condensing_min"`
		}
	}
	require.NoError(d.T, json.Unmarshal([]byte(d.Patient("/api/cases/"+id+"/timeline?step=86400")), &view))
	for _, s := range view.Surfaces {
		for _, m := range s.CondensingMin {
			if m != nil {
				x.minutes[s.Surface] += *m
			}
		}
	}
	for _, s := range x.a.Surfaces {
		x.sheet[s.Surface] = plain(d.Patient("/cases/" + id + "?surface=" + s.Surface))
		rows, err := csv.NewReader(strings.NewReader(d.Patient("/cases/" + id + "/nights.csv?surface=" +
			s.Surface))).ReadAll()
		require.NoError(d.T, err)
		for _, row := range rows[1:] {
			cells := map[string]string{}
			for i, name := range rows[0] {
				cells[name] = row[i]
			}
			x.rows[s.Surface] = append(x.rows[s.Surface], cells)
		}
	}
	return x
}

// nights counts the nights of the table by hand, as words.md defines them: wet
// from an hour, observed from 80 % of it or where it is wet.
func (x told) nights(t testing.TB, surface string, from, until time.Time) (wet, observed int) {
	for _, r := range x.rows[surface] {
		begins, err := time.Parse(time.RFC3339, r["night_from"])
		require.NoError(t, err)
		ends, err := time.Parse(time.RFC3339, r["night_until"])
		require.NoError(t, err)
		if begins.Before(from) || ends.After(until) {
			continue
		}
		h, _ := strconv.ParseFloat(r["wet_h"], 64)
		seen, _ := strconv.ParseFloat(r["observed_share"], 64)
		if h >= 1 {
			wet++
		}
		if h >= 1 || seen >= 0.8 {
			observed++
		}
	}
	return wet, observed
}

func (x told) repair() time.Time {
	var at time.Time
	for _, e := range x.c.Repairs() {
		if x.a.From != nil && e.At.After(*x.a.From) && e.At.Before(*x.a.Until) {
			at = e.At
		}
	}
	return at
}

// figure finds every figure that a pattern's first group picks out of a text.
func figures(text, pattern string) (out []float64) {
	for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1) {
		x, err := strconv.ParseFloat(strings.NewReplacer("−", "-", ",", "").Replace(m[1]), 64)
		if err == nil {
			out = append(out, x)
		}
	}
	return out
}

const number = `(−?[0-9][0-9,]*(?:\.[0-9]+)?)`

// asPrinted holds a printed figure against its value to the places it shows.
func asPrinted(t testing.TB, want, got float64, where string) {
	t.Helper()
	text := strconv.FormatFloat(got, 'f', -1, 64)
	_, decimals, _ := strings.Cut(text, ".")
	within := 0.5*math.Pow10(-len(decimals)) + 1e-6
	if want < 99.95 && len(decimals) == 0 {
		within = 0.0501 // 12.0
	}
	if want == math.Trunc(want) || want >= 99.95 {
		within = max(within, 0.5001)
	}
	assert.InDelta(t, want, got, within, where)
}

// consistent checks that everything that is told more than once is told alike.
func (x told) consistent(t testing.TB) {
	checked := 0
	defer func() { assert.Greater(t, checked, 5, "figures that were compared") }()
	repair := x.repair()
	spans := [][2]time.Time{{{}, time.Now().AddDate(50, 0, 0)}}
	if !repair.IsZero() {
		spans = [][2]time.Time{{{}, repair}, {repair, spans[0][1]}}
	}
	counts := regexp.MustCompile(`(?:it was|It was) (?:briefly )?wet [a-z ]+(?: \([a-z-]+(?:, untouched)?\))? on (\d+) of (\d+) nights? ` +
		`observed|since then on (\d+) of (\d+)`)
	for i, s := range x.a.Surfaces {
		if s.HoursObserved == 0 {
			continue
		}
		page := x.sheet[s.Surface]
		first := counts.FindAllStringSubmatch(page, 2*len(spans)) // the headline and the picture's description
		for k, m := range first {
			if strings.Contains(m[0], "briefly") {
				continue
			}
			wet, observed := x.nights(t, s.Surface, spans[k%len(spans)][0], spans[k%len(spans)][1])
			numbers := slices.DeleteFunc(m[1:], func(n string) bool { return n == "" })
			assert.Equal(t, []string{fmt.Sprint(wet), fmt.Sprint(observed)}, numbers, "%s, %s: the table and %q", x.c.ID,
				s.Surface, m[0])
			checked++
		}
		// The hours: on the timeline, in the report and in the text of the answer.
		for k, h := range x.a.Hours(i).Spans {
			if h.WetH == nil {
				continue
			}
			when := map[bool]string{true: "In all", false: []string{"Before the repair", "Since the repair"}[k]}[len(x.
				a.Hours(i).Spans) == 1]
			for _, got := range figures(page, when+` wet for `+number+` h`) {
				asPrinted(t, *h.WetH, got, x.c.ID+" timeline, "+s.Surface)
				checked++
			}
			for _, got := range figures(page, when+` wet for [^;]*? of `+number+` h observed`) {
				asPrinted(t, h.ObservedH, got, x.c.ID+" timeline, observed, "+s.Surface)
				checked++
			}
		}
		for _, h := range x.a.Hours(i).Spans { // the report's part on the surface, and the text
			if h.WetH == nil {
				continue
			}
			between := ""
			if h.LowH != nil && h.HighH != nil {
				between = " " + prose.Hours(*h.LowH) + " to " + prose.Hours(*h.HighH)
			}
			assert.Contains(t, x.pages["report"], "Wet, h "+prose.Hours(*h.WetH)+between, "%s, %s", x.c.ID, s.Surface)
			assert.Contains(t, x.pages["text"], "wet "+prose.Hours(*h.WetH)+" h (", "%s, %s", x.c.ID, s.Surface)
			checked++
		}
		if s.HoursCondensingRaw != nil {
			assert.InDelta(t, *s.HoursCondensingRaw, x.minutes[s.Surface]/60, 0.01+0.001**s.HoursCondensingRaw,
				"%s, %s: the timeline of the API", x.c.ID, s.Surface)
			checked++
		}
		counted := 0.0
		for _, r := range x.rows[s.Surface] {
			h, _ := strconv.ParseFloat(r["wet_h"], 64)
			counted += h
		}
		if s.HoursCondensingRaw != nil {
			assert.InDelta(t, *s.HoursCondensingRaw, counted, 0.006*float64(len(x.rows[s.Surface]))+0.01,
				"%s, %s: the hours of all nights are the hours counted", x.c.ID, s.Surface)
			checked++
		}
	}
	x.water(t, &checked)
	x.doubts(t, &checked)
	x.causes(t, &checked)
	x.verdicts(t, &checked)
}

// water is told of each span alike on its page, in the report and in the text;
// what formed before a repair is never added to what formed since.
func (x told) water(t testing.TB, checked *int) {
	for k := range x.a.Physics.Surfaces {
		for _, film := range x.a.Films(x.c, k) {
			for _, where := range []string{"water", "text"} {
				assert.Contains(t, x.pages[where], film.Amounts(), "%s: the water in %s", x.c.ID, where)
				assert.Contains(t, x.pages[where], film.Mornings(), "%s: the nights with a film in %s", x.c.ID, where)
				*checked++
			}
			row := fmt.Sprintf("Nights with %g g/m² or more %d ", film.FromGM2, film.Nights)
			if x.a.Surfaces[k].HoursObserved > 0 {
				assert.Contains(t, x.pages["report"], row, "%s: the nights with a film in the report", x.c.ID)
				*checked++
			}
		}
	}
}

// doubts: of each span, whose error its interval comes from is the same on the
// page and in the report.
func (x told) doubts(t testing.TB, checked *int) {
	for _, s := range x.a.Surfaces {
		of := [][]assessment.HowSure{s.HowSure}
		if len(s.Spans) > 0 {
			of = [][]assessment.HowSure{s.Spans[0].HowSure, s.Spans[1].HowSure}
		}
		for _, list := range of {
			for _, d := range list {
				if d.Part <= 0 {
					continue
				}
				cells := []string{d.Logger, prose.Quantity(d.Quantity), prose.Percent(d.Part)}
				low, high := prose.Hours(d.CheckedLow), prose.Hours(d.CheckedHigh)
				assert.Contains(t, x.pages["sure"], strings.Join(append(cells, low+" to "+high), " "), x.c.ID)
				assert.Contains(t, x.pages["report"], strings.Join(append(cells, low, high), " "), x.c.ID)
				*checked++
			}
		}
	}
}

// causes are told alike on the cause's page, in the report, the list and the text.
func (x told) causes(t testing.TB, checked *int) {
	sentence := x.a.Diagnosis.Sentence
	for _, where := range []string{"cause", "report", "text"} {
		assert.Contains(t, x.pages[where], strings.Join(strings.Fields(sentence), " "), "%s: the cause in %s", x.c.ID, where)
		*checked++
	}
	sum := 0.0
	for _, k := range x.a.Diagnosis.Causes {
		sum += k.Support
		if k.Cause == x.a.Diagnosis.Finding {
			for _, got := range figures(sentence, `\((?:over )?([0-9]+) of 100\)`) {
				assert.InDelta(t, 100*k.Support, got, 1)
			}
		}
	}
	if len(x.a.Diagnosis.Causes) > 0 {
		assert.InDelta(t, 1, sum, 1e-5)
	}
}

// verdicts have the same figures wherever they are told.
func (x told) verdicts(t testing.TB, checked *int) {
	for i, r := range x.a.Repairs {
		v := x.a.Verdict(x.c, i)
		for _, where := range []string{"repairs", "report"} {
			if v.Kind == "too_early" && where == "report" {
				continue // surfaces for which it is too early are one sentence there
			}
			assert.Contains(t, x.pages[where], strings.TrimSuffix(v.Headline(), "."), "%s: the verdict in %s", x.c.ID, where)
			if c := v.Wet.Clause().String(); c != "" && v.Kind != "too_early" && !v.Wet.Open() {
				assert.Contains(t, x.pages[where], c, "%s: the figure in %s", x.c.ID, where)
				*checked++
			}
		}
		if c := v.Wet.Clause().String(); c != "" {
			assert.Contains(t, x.pages["text"], c, "%s: the text", x.c.ID)
			for _, got := range figures(c, `(?:fell|rose) by ([0-9]+) %`) {
				assert.InDelta(t, math.Abs(*r.ReductionPct), got, 0.51)
			}
			*checked++
		}
	}
	for _, got := range figures(x.pages["houses"], `wet hours (?:fell|rose) by ([0-9]+) %`) {
		assert.True(t, slices.ContainsFunc(x.a.Repairs, func(r assessment.Repair) bool {
			return r.ReductionPct != nil && math.Abs(math.Abs(*r.ReductionPct)-got) <= 0.51
		}), "%s: %g %% on the list is no verdict's", x.c.ID, got)
		*checked++
	}
}

// household holds the household's fortnight and the list's week against the table
// of nights of one of the surfaces.
func household(d *running.Daemon, x told) {
	d.T.Helper()
	_, page := d.Ask("POST", "/cases/"+x.c.ID+"/alerts/link", "", "Content-Type", "application/x-www-form-urlencoded")
	link := regexp.MustCompile(`/home/[A-Za-z0-9_-]+`).FindString(page)
	require.NotEmpty(d.T, link)
	home := plain(d.Patient(link))
	for _, told := range []struct {
		page, pattern string
		nights        int
	}{{home, `It was wet [a-z ]+ on (\d+) of the (?:last )?(\d+) nights`, 14},
		{x.pages["houses"], `Of the last 7 nights, [a-z ]+: wet on (\d+) of (\d+) nights observed`, 7}} {
		m := regexp.MustCompile(told.pattern).FindStringSubmatch(told.page)
		if m == nil {
			assert.Regexp(d.T, "stayed dry|briefly wet|not seen|wet on 0|Not observed", told.page, x.c.ID)
			continue
		}
		var counts [][]string
		for surface, rows := range x.rows {
			last := rows
			if h, _ := strconv.ParseFloat(last[len(last)-1]["wet_h"], 64); h < 1 {
				last = last[:len(last)-1] // the running night says nothing yet
			}
			begins, err := time.Parse(time.RFC3339, last[len(last)-told.nights]["night_from"])
			require.NoError(d.T, err)
			ends, err := time.Parse(time.RFC3339, last[len(last)-1]["night_until"])
			require.NoError(d.T, err)
			wet, seen := x.nights(d.T, surface, begins, ends)
			counts = append(counts, []string{fmt.Sprint(wet), fmt.Sprint(seen)})
		}
		assert.Contains(d.T, counts, m[1:], "%s: %s", x.c.ID, m[0])
	}
}

// Every count and every figure that appears in more than one place is the same
// number for the same span: over the demo's houses and twenty simulated winters,
// some with a repair, of every cause.
func TestWhatIsToldTwiceIsToldAlike(t *testing.T) {
	d := running.WithDemo(t)
	for _, id := range []string{"saltmarrow-7", "gannet-heugh-2"} {
		t.Run(id, func(t *testing.T) {
			x := listen(d, id)
			x.consistent(t)
			household(d, x)
		})
	}
	open := 25.0
	for n := range 20 {
		cause := roofworlds.Causes()[n%len(roofworlds.Causes())]
		t.Run(fmt.Sprint(cause, " ", n), func(t *testing.T) {
			w := roofworlds.Draw(uint64(900+n), cause)
			o := roofsim.Options{Days: 40}
			if n%5 == 0 {
				begins := roofsim.Run(w, roofsim.Options{Days: 1}).Start
				o.Repairs = []roofsim.Repair{{At: begins.AddDate(0, 0, 20).Add(11 * time.Hour), VoidEavesMM: &open,
					VoidRidgeMM: &open}}
			}
			m := roofworlds.Kit{Interval: 30 * time.Minute, CaseID: fmt.Sprintf("winter-%d", n),
				Faults: roofsim.FieldFaults()}.Measure(roofsim.Run(w, o), uint64(n))
			m.Case.Property.Label = m.Case.ID + " house"
			id := d.Put(m.Case, func(yield func(roof.Reading, error) bool) {
				for _, r := range m.Readings {
					if !yield(r, nil) {
						return
					}
				}
			})
			listen(d, id).consistent(t)
		})
	}
}

// The two measured roofs are told alike as well.
func TestOfMeasuredRoofsWhatIsToldTwiceIsToldAlike(t *testing.T) {
	for _, name := range []string{"R2", "R3"} {
		t.Run(name, func(t *testing.T) {
			data := measuredroofs.Load(t, name)
			sensors := map[string]string{"outside": "station", "room": "indoor1", "loft": "roofmiddle_airmiddle",
				"deck": "roofmiddle_airtop"}
			acc, rh := 0.3, 2.0
			c := &roof.Case{ID: strings.ToLower(name), Property: roof.Property{Label: name, Timezone: "Europe/Helsinki"},
				Positions: []roof.Position{{ID: "outside", Place: roof.OutdoorAir}, {ID: "room", Place: roof.IndoorAir},
					{ID: "loft", Place: roof.LoftAir}, {ID: "deck", Place: roof.UnderlayUnderside, Meets: "loft"}}}
			for _, p := range c.Positions {
				c.Loggers = append(c.Loggers, roof.Logger{ID: p.ID, Interval: time.Hour,
					Accuracy: roof.Accuracy{TempC: &acc, RHPct: &rh},
					Fitted:   []roof.Fitting{{Position: p.ID, From: time.Date(2010, 1, 1, 0, 0, 0, 0, time.UTC)}}})
			}
			d := running.Start(t, nil)
			id := d.Put(c, func(yield func(roof.Reading, error) bool) {
				for _, p := range c.Positions {
					for r, err := range data.Readings(p.ID, sensors[p.ID], time.Time{}, data.At[0].AddDate(0, 7, 0)) {
						if !yield(r, err) {
							return
						}
					}
				}
			})
			listen(d, id).consistent(t)
		})
	}
}
