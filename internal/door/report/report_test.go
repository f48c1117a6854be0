package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
)

func document(t testing.TB, s Source) *Document {
	d, err := New(s)
	require.NoError(t, err)
	return d
}

func html(t testing.TB, d *Document) string {
	var b bytes.Buffer
	require.NoError(t, d.WriteHTML(&b, Frame{Case: "elder-bank-3", Styles: []string{"/a.css"}}))
	return b.String()
}

func pdf(t testing.TB, d *Document) []byte {
	var b bytes.Buffer
	require.NoError(t, d.WritePDF(&b, A4))
	return b.Bytes()
}

// A printed figure is the assessment's own, rounded to the places it is printed
// with.
func agree(t assert.TestingT, own map[string]float64, r Run) bool {
	want, ok := own[r.From]
	if !assert.True(t, ok, "%q says that it is %s, which the assessment does not have", r.Words, r.From) {
		return false
	}
	words, small := strings.CutPrefix(strings.NewReplacer("−", "-", ",", "").Replace(r.Words), "under ")
	words, nearly := strings.CutPrefix(words, "over ")
	got, err := strconv.ParseFloat(words, 64)
	if !assert.NoError(t, err, "%s is printed as %q", r.From, r.Words) {
		return false
	}
	_, decimals, _ := strings.Cut(words, ".")
	if nearly {
		return assert.Greater(t, want*r.Scale, got, "%s is %g and printed as %q", r.From, want, r.Words) &&
			assert.Less(t, want*r.Scale, 100.0, "%s is printed as %q", r.From, r.Words)
	}
	if small {
		return assert.Less(t, math.Abs(want*r.Scale), got, "%s is %g and printed as %q", r.From, want, r.Words)
	}
	return assert.InDelta(t, want*r.Scale, got, 0.5*math.Pow10(-len(decimals))+1e-9, "%s is %g and printed as %q", r.From,
		want, r.Words)
}

func TestEveryFigureShownIsTheAssessmentsOwn(t *testing.T) {
	s := source(t)
	d := document(t, s)
	own := figures(t, s.Answer.Assessment)
	shown := map[string]bool{}
	everyText(d, func(x Text) {
		for _, r := range x {
			if r.From != "" {
				agree(t, own, r)
				shown[r.From] = true
			}
		}
	})
	// And what the contract's object says is all there.
	asked := regexp.MustCompile(`^(coverage\.\d+\.(share|longest_gap_h)|surfaces\.\d+\.(?:spans\.\d\.)?(hours_\w+|frost_hours|peak_condensate_g_m2)|physics\.surfaces\.\d+\.spans\.\d\.condensate\.(peak|condensed)_g_m2|diagnosis\.causes\.\d+\.support|repairs\.\d+\.\w+)$`)
	for path := range own {
		if asked.MatchString(path) {
			if strings.HasPrefix(path, "surfaces.2.") {
				continue // a surface that was never observed shows none
			}
			if whole := strings.TrimSuffix(path, path[strings.LastIndex(path, ".")+1:]); strings.HasPrefix(path, "surfaces.") &&
				!strings.Contains(path, "spans") && hasSpans(own, whole) {
				assert.False(t, shown[path], "%s adds up before and since the repair", path)
				continue
			}
			assert.True(t, shown[path], "%s is not in the report", path)
		}
	}
	assert.Greater(t, len(shown), 60)
}

// hasSpans reports that a surface, by its path, is told before a repair and since.
func hasSpans(own map[string]float64, surface string) bool {
	for path := range own {
		if strings.HasPrefix(path, surface+"spans.") {
			return true
		}
	}
	return false
}

func TestFiguresOfAnySizeAndMissingOnesAreShownAsTheyAre(t *testing.T) {
	base := source(t)
	rapid.Check(t, func(t *rapid.T) {
		s := base
		s.Answer.Surfaces = append([]assessment.Surface{}, base.Answer.Surfaces...)
		s.Answer.Repairs = append([]assessment.Repair{}, base.Answer.Repairs...)
		x := func(name string, lo, hi float64) *float64 {
			if rapid.IntRange(0, 4).Draw(t, name+" missing") == 0 {
				return nil
			}
			v := math.Round(rapid.Float64Range(lo, hi).Draw(t, name)*1e4) / 1e4
			return &v
		}
		for i := range s.Answer.Surfaces {
			u := &s.Answer.Surfaces[i]
			u.HoursCondensing, u.HoursCondensingLow, u.HoursCondensingHigh = x("mean", 0, 5000), x("low", 0, 5000),
				x("high", 0, 5000)
			u.HoursCondensingRaw, u.HoursAtRisk, u.FrostHours, u.PeakCondensateGM2 = x("raw", 0, 200), x("risk", 0, 1),
				x("frost", 0, 0.2), x("peak", 0, 900)
		}
		r := &s.Answer.Repairs[0]
		r.ReductionPct, r.LowPct, r.HighPct = x("fall", -400, 100), x("from", -900, 100), x("to", -100, 100)
		r.AtRiskReductionPct, r.CondensateReductionPct = x("risk fall", -400, 100), x("mass fall", -400, 100)
		d, err := New(s)
		require.NoError(t, err)
		own := figures(t, s.Answer.Assessment)
		everyText(d, func(text Text) {
			for _, run := range text {
				if run.From != "" {
					agree(t, own, run)
				}
				assert.NotContains(t, run.Words, "NaN")
				assert.NotContains(t, run.Words, "%!")
			}
		})
	})
}

func TestTheSameSourceMakesTheSameBytes(t *testing.T) {
	a, b := document(t, source(t)), document(t, source(t))
	assert.Equal(t, html(t, a), html(t, b))
	first := pdf(t, a)
	for range 3 {
		assert.True(t, bytes.Equal(first, pdf(t, b)), "however many were written before")
	}
	var both [2][]byte
	var wait sync.WaitGroup
	for i := range both {
		wait.Go(func() { both[i] = pdf(t, b) })
	}
	wait.Wait()
	assert.True(t, bytes.Equal(first, both[0]) && bytes.Equal(first, both[1]), "also side by side")
	var letter bytes.Buffer
	require.NoError(t, a.WritePDF(&letter, Letter))
	assert.NotEqual(t, pdf(t, a), letter.Bytes())
}

func TestTheAnswerComesFirstAndTheVerdictCarriesItsInterval(t *testing.T) {
	d := document(t, source(t))
	answer := ""
	for _, a := range d.Answer {
		answer += a.String() + "\n"
	}
	answer = strings.ReplaceAll(answer, "\u00A0", " ")
	assert.Contains(t, answer, "The repair of 20 November 2026 worked under the covering: wet hours fell by 71 % in "+
		"like weather; with 95 % certainty between 55 and 83 %.")
	page := html(t, d)
	assert.Less(t, strings.Index(page, "The answer"), strings.Index(page, "How it was measured"))
	for _, want := range []string{"A. Surveyor", "dewcase 1.2.3", strings.Repeat("ab", 32), "no licence to build",
		"one and the same state of the loft", "Seen on the survey", "family away"} {
		if want == "Seen on the survey" {
			want = "seen on the survey"
		}
		assert.Contains(t, strings.ReplaceAll(page, "<wbr>", ""), want)
	}
}

func TestARecordWithoutReadingsGivesAnHonestReport(t *testing.T) {
	c := parseCase(t, strings.Split(houseFile, "events:")[0])
	s := Source{Case: c, Version: "1", MadeAt: madeAt, Laid: func(_, _ time.Time, _ time.Duration) (timeline.View, error) {
		return timeline.View{}, errors.New("nothing may be asked of a record that is not there")
	}}
	set, err := inventedSet()
	require.NoError(t, err)
	empty := *set
	empty.Case, empty.FromMS, empty.UntilMS = c, 0, 0
	for i := range empty.Case.Surfaces() {
		s.Answer.Surfaces = append(s.Answer.Surfaces,
			assessment.Surface{Surface: c.Surfaces()[i].ID, Notes: []string{"never observed"}})
	}
	s.Answer.Notes = []string{"no reading of a fitted logger lies in the span"}
	d := document(t, s)
	assert.Contains(t, d.Answer[0].String(), "Nothing was measured yet")
	page := html(t, d)
	assert.Contains(t, page, "no reading of a fitted logger")
	assert.Contains(t, page, "The cause cannot be told: nothing was measured.")
	assert.NotContains(t, page, "data-figure", "no figure is shown")
	assert.NotEmpty(t, pdf(t, d))
}

func TestHostileNamesSurviveAndDoNoHarm(t *testing.T) {
	const script = `<script>alert(1)</script>"'><img src=x onerror=alert(2)>`
	label := script + " Łódź Ελλάδα \u202Egnp.exe 漢字 " + strings.Repeat("Langwort", 400)
	s := source(t)
	c := *s.Case
	c.Property.Label = label
	c.Events = append(c.Events[:0:0], c.Events...)
	c.Events[0].What = label
	c.Positions = append(c.Positions[:0:0], c.Positions...)
	s.Case = &c
	s.MadeBy = script
	s.Answer.Surfaces = append(s.Answer.Surfaces[:0:0], s.Answer.Surfaces...)
	s.Answer.Surfaces[0].Notes = []string{label}
	d := document(t, s)
	page := html(t, d)
	assert.NotContains(t, page, "<script")
	assert.NotContains(t, page, "<img")
	assert.NotContains(t, page, "\u202E")
	assert.Contains(t, page, "Łódź Ελλάδα [U+202E]gnp.exe 漢字")
	assert.NotContains(t, page, " style=", "nothing that the policy against inline styles would drop")
	paper := readPDF(t, pdf(t, d))
	all := paper.text()
	for _, want := range []string{"Łódź", "Ελλάδα", "[U+202E]gnp.exe", "[U+6F22][U+5B57]", "<script>alert(1)</script>"} {
		assert.Contains(t, all, want)
	}
	paper.inside(t)
}

func TestThePageIsWellFormedAndNeedsNoScript(t *testing.T) {
	page := html(t, document(t, source(t)))
	dec := xml.NewDecoder(strings.NewReader(page))
	dec.Strict = false // which lets an element be left open only where AutoClose names it
	dec.Entity = xml.HTMLEntity
	dec.AutoClose = []string{"meta", "link", "wbr"}
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		if e, ok := tok.(xml.StartElement); ok {
			assert.NotEqual(t, "script", e.Name.Local)
			for _, a := range e.Attr {
				assert.NotEqual(t, "style", a.Name.Local)
			}
		}
	}
	ids := regexp.MustCompile(` id="([^"]+)"`).FindAllStringSubmatch(page, -1)
	seen := map[string]bool{}
	for _, m := range ids {
		assert.False(t, seen[m[1]], "the id %s is there twice", m[1])
		seen[m[1]] = true
	}
}

func TestPaperKnowsEveryClassThatThePicturesUse(t *testing.T) {
	scenes := 0
	for _, p := range document(t, source(t)).Parts {
		for _, b := range p.Blocks {
			if b.Scene == nil {
				continue
			}
			scenes++
			assert.NotEmpty(t, b.Scene.Desc, "%s says in words what it shows", b.Scene.Title)
			for _, it := range b.Scene.Items {
				if it.Kind != picture.Label {
					assert.Contains(t, looks, it.Class, "%s has a class that paper does not know", b.Scene.Title)
				}
			}
		}
	}
	assert.Greater(t, scenes, 6)
}

func TestALongRecordIsCutIntoWintersWithoutAHoleOrAnOverlap(t *testing.T) {
	s := source(t)
	from, until := time.Date(2025, 10, 3, 9, 0, 0, 0, time.UTC), time.Date(2028, 2, 11, 7, 0, 0, 0, time.UTC)
	s.Answer.From, s.Answer.Until = &from, &until
	type span struct{ from, until time.Time }
	var asked []span
	s.Laid = func(from, until time.Time, step time.Duration) (timeline.View, error) {
		if step == time.Hour {
			asked = append(asked, span{from, until})
		}
		return timeline.View{From: from, Until: until}, nil
	}
	_, err := load(s)
	require.NoError(t, err)
	require.Len(t, asked, 3)
	assert.Equal(t, "2025-10-02T12:00", asked[0].from.In(s.Case.Property.Zone).Format("2006-01-02T15:04"),
		"the noon before the first reading")
	for i, a := range asked {
		assert.Equal(t, 12, a.from.In(s.Case.Property.Zone).Hour())
		if i > 0 {
			assert.Equal(t, asked[i-1].until, a.from)
			assert.Equal(t, time.July, a.from.Month())
		}
	}
	assert.Equal(t, "2028-02-11T12:00", asked[2].until.In(s.Case.Property.Zone).Format("2006-01-02T15:04"))
}

func TestInventedDataIsSaidOnEveryPage(t *testing.T) {
	s := source(t)
	s.Demo = true
	d := document(t, s)
	assert.Contains(t, html(t, d), "the house, its people and its winter are invented")
	for n, page := range readPDF(t, pdf(t, d)).pages {
		all := ""
		for _, w := range page {
			all += w.text
		}
		assert.Contains(t, all, "INVENTED DATA", "page %d", n+1)
	}
}

// A position that the repair left alone is there to be compared with, however
// wet it is.
func TestTheSurfaceLeftAloneHeadsNoReport(t *testing.T) {
	few, many := 12.0, 400.0
	b := &builder{Source: Source{Case: &roof.Case{Positions: []roof.Position{
		{ID: "slate", Place: roof.CoveringUnderside}, {ID: "slate-e", Place: roof.CoveringUnderside, Untouched: true}}}}}
	b.Answer.Surfaces = []assessment.Surface{{Surface: "slate-e", HoursCondensing: &many},
		{Surface: "slate", HoursCondensing: &few}}
	i, ok := b.wettest()
	assert.True(t, ok)
	assert.Equal(t, "slate", b.Answer.Surfaces[i].Surface)
}

// The fixture's like nights and model have no value in common.
func TestAnswersThatDifferByMoreThanTheirIntervalsStandOnTheFirstPage(t *testing.T) {
	d, err := New(source(t))
	require.NoError(t, err)
	first := ""
	for _, text := range d.Answer {
		first += text.String() + "\n"
	}
	assert.Contains(t, first, "the answers on the hours at risk differ by more than their intervals")
	assert.NotContains(t, first, "the answers on the wet hours differ")
}

// What each work would have done stands before whether the work done did it, and
// what was predicted of that beside its verdict.
func TestPredictionsAndTheirScoreAreInTheReport(t *testing.T) {
	s := source(t)
	require.NotEmpty(t, s.Answer.Predictions)
	at := s.Answer.Repairs[0].At
	s.Answer.Scores = []assessment.Score{{At: at, Surface: s.Answer.Repairs[0].Surface,
		Sentence: "Predicted before the work: as it came."}}
	page := html(t, document(t, s))
	assert.Contains(t, page, "What would help")
	assert.Contains(t, page, "Predicted before the work: as it came.")
	assert.Contains(t, page, "the rule decides")
	assert.Less(t, strings.Index(page, `id="help"`), strings.Index(page, `id="repairs"`))
	s.Answer.Predictions[0].MakesWorse, s.Answer.Predictions[0].Sentence = true, "It would probably make it worse."
	assert.Contains(t, html(t, document(t, s)), "It would probably make it worse.")
}

func TestTheFilesThatReadingsWereTakenFromAreNamedByTheirDigest(t *testing.T) {
	d, err := New(source(t))
	require.NoError(t, err)
	i := slices.IndexFunc(d.Parts, func(p Part) bool { return p.ID == "files" })
	require.GreaterOrEqual(t, i, 0)
	var row []string
	for _, b := range d.Parts[i].Blocks {
		if b.Table != nil {
			require.Len(t, b.Table.Rows, 1)
			for _, c := range b.Table.Rows[0].Cells {
				row = append(row, c.String())
			}
		}
	}
	assert.Equal(t, []string{"k7-loft_2026-10.csv", local(madeAt, inventedZone(t), dayLayout), "4021", "3", "usb-loggers",
		"0123456789abcdef 0123456789abcdef 0123456789abcdef 0123456789abcdef"}, row)

	none := source(t)
	none.Originals = nil
	d, err = New(none)
	require.NoError(t, err)
	assert.False(t, slices.ContainsFunc(d.Parts, func(p Part) bool { return p.ID == "files" }))
}

func inventedZone(t *testing.T) *time.Location {
	set, err := inventedSet()
	require.NoError(t, err)
	return set.Case.Property.Zone
}
