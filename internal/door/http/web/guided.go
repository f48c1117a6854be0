package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/roof"
	"dewcase/internal/roof/caution"
)

// guidedPlaces are the places that the short form offers, with the id a
// position gets and the air that meets a surface.
var guidedPlaces = []struct {
	ID, Meets, Words string
	Place            roof.Place
}{
	{"indoors", "", "indoors, upstairs landing or room", roof.IndoorAir},
	{"loft", "", "loft air", roof.LoftAir},
	{"underlay", "loft", "under the underlay, temperature", roof.UnderlayUnderside},
	{"void", "", "batten void air", roof.BattenVoidAir},
	{"covering", "void", "under the slates or tiles, temperature", roof.CoveringUnderside},
	{"outdoors", "", "outdoors, in the shade", roof.OutdoorAir},
}

// choice is a list of answers; the first, "", is not known.
type choice struct {
	Key, Words string
	Options    [][2]string // value, words
}

var guidedChoices = []choice{
	{"covering_air", "Does air pass through the covering?",
		[][2]string{{"", "not known"}, {"open", "yes: natural slate, tiles"},
			{"closed", "no: close-fitting artificial slate, sheet"}}},
	{"underlay", "Underlay", [][2]string{{"", "not known"}, {"HR", "vapour-closed (HR), e.g. bitumen felt"},
		{"LR", "vapour-permeable (LR)"}, {"none", "none"}}},
	{"battens", "Battens", [][2]string{{"", "not known"}, {"single", "single"}, {"counter", "counter-battens"}}},
	{"insulation", "Insulation", [][2]string{{"", "not known"}, {"ceiling", "on the ceiling"},
		{"rafter", "between the rafters"}, {"none", "none"}}},
	{"sealed", "Ceiling sealed?", [][2]string{{"", "not known"}, {"yes", "yes"}, {"no", "no"}}},
}

var guidedSizes = []struct{ Key, Words string }{
	{"pitch_deg", "Pitch, degrees"}, {"span_m", "Span, m"},
	{"loft_eaves", "Loft open at the eaves, mm (0: none)"}, {"loft_ridge", "Loft open at the ridge, mm"},
	{"void_eaves", "Batten void open at the eaves, mm"}, {"void_ridge", "Batten void open at the ridge, mm"},
}

// guidedBody is the short form.
type guidedBody struct {
	Case    string // as loggers name it already
	Places  any
	Choices []choice
	Sizes   any
	Kits    []assessment.Kit // for a house of which nothing is known yet
	// Cautions go with fitting them.
	Cautions []caution.Caution
}

var unknownKits = sync.OnceValue(func() []assessment.Kit { return assessment.Kits(&roof.Case{}) })

func (p *Pages) guided(w http.ResponseWriter, r *http.Request) {
	id := r.URL.Query().Get("case")
	if !roof.ValidCaseID(id) {
		id = ""
	}
	p.render(w, r, http.StatusOK, "guided",
		page{Title: "New house", Body: guidedBody{id, guidedPlaces, guidedChoices, guidedSizes,
			unknownKits(), caution.For(caution.FitLogger, caution.LiftCover)}})
}

// fromGuided writes a case file from the short form and shows it for review:
// nothing is kept before the person has seen it. Which logger to fit beside those
// named is told from the answers.
func (p *Pages) fromGuided(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 64<<10)
	if err := r.ParseForm(); err != nil {
		p.render(w, r, http.StatusRequestEntityTooLarge, "error",
			page{Title: "Too large", Body: errorBody{http.StatusRequestEntityTooLarge, "The form is too large.",
				"Go back and shorten it."}})
		return
	}
	b := editorBody{File: guidedFile(r.PostFormValue, p.Now()), New: true, Review: true}
	if c, faults := casefile.Parse("case.yaml", []byte(b.File)); len(faults) == 0 {
		b.Kits, b.Cautions = assessment.Kits(c), caution.For(caution.FitLogger, caution.LiftCover)
	}
	p.render(w, r, http.StatusOK, "editor", page{Title: "New house", Body: b})
}

func guidedFile(get func(string) string, now time.Time) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	label := strings.TrimSpace(get("label"))
	line("case: %s", idFrom(get("case"), label))
	line("property:")
	line("  label: %s", quotedYAML(label))
	line("  timezone: %s", quotedYAML(strings.TrimSpace(get("timezone"))))
	var roofLines []string
	add := func(format string, args ...any) { roofLines = append(roofLines, fmt.Sprintf(format, args...)) }
	for _, key := range []string{"pitch_deg", "span_m"} {
		if v := size(get(key)); v != "" {
			add("  %s: %s", key, v)
		}
	}
	covering := []string{}
	if v := strings.TrimSpace(get("covering")); v != "" {
		covering = append(covering, "material: "+quotedYAML(v))
	}
	if v := get("covering_air"); v != "" {
		covering = append(covering, "air: "+quotedYAML(v))
	}
	if len(covering) > 0 {
		add("  covering: {%s}", strings.Join(covering, ", "))
	}
	if v := get("underlay"); v != "" {
		add("  underlay: {class: %s}", quotedYAML(v))
	}
	for _, key := range []string{"battens", "insulation"} {
		if v := get(key); v != "" {
			add("  %s: %s", key, quotedYAML(v))
		}
	}
	if v := get("sealed"); v != "" {
		add("  ceiling: {sealed: %s}", v)
	}
	var slots []string
	for _, key := range []string{"loft_eaves", "loft_ridge", "void_eaves", "void_ridge"} {
		if v := size(get(key)); v != "" {
			slots = append(slots, key+": "+v)
		}
	}
	if len(slots) > 0 {
		add("  openings_mm: {%s}", strings.Join(slots, ", "))
	}
	if len(roofLines) > 0 {
		line("roof:")
		line("%s", strings.Join(roofLines, "\n"))
	}
	positions(&b, get, now)
	return b.String()
}

// positions writes the positions that have a logger, and the loggers.
func positions(b *strings.Builder, get func(string) string, now time.Time) {
	fitted := map[string]string{}
	for _, pl := range guidedPlaces {
		if v := strings.TrimSpace(get("logger_" + pl.ID)); v != "" {
			fitted[pl.ID] = v
		}
	}
	b.WriteString("positions:\n")
	for _, pl := range guidedPlaces {
		if fitted[pl.ID] == "" {
			continue
		}
		meets := ""
		if pl.Meets != "" && fitted[pl.Meets] != "" {
			meets = ", meets: " + pl.Meets
		}
		fmt.Fprintf(b, "  - {id: %s, place: %s%s}\n", pl.ID, pl.Place, meets)
	}
	from := now.UTC().Truncate(time.Hour).Format(time.RFC3339)
	if t, err := time.Parse(time.DateOnly, get("from")); err == nil {
		from = t.Format(time.DateOnly)
	}
	accuracy := ""
	if t, h := size(get("accuracy_c")), size(get("accuracy_rh")); t != "" && h != "" {
		accuracy = fmt.Sprintf(", accuracy: {temp_c: %s, rh_pct: %s}", t, h)
	} else if t != "" {
		accuracy = fmt.Sprintf(", accuracy: {temp_c: %s}", t)
	}
	b.WriteString("loggers:\n")
	for _, pl := range guidedPlaces {
		if id := fitted[pl.ID]; id != "" {
			fmt.Fprintf(b, "  - {id: %s%s, fitted: [{position: %s, from: %s}]}\n", quotedYAML(id), accuracy, pl.ID, from)
		}
	}
}

// quotedYAML writes a string as YAML reads it: a JSON string is one.
func quotedYAML(s string) string {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil {
		return `""`
	}
	return strings.TrimSpace(b.String())
}

// size keeps what can be a number; anything else stays as it was typed, so that
// its fault is named by line. A decimal comma is taken.
func size(s string) string {
	s = strings.ReplaceAll(strings.TrimSpace(s), ",", ".")
	for _, r := range s {
		if r != '.' && r != '-' && (r < '0' || r > '9') {
			return quotedYAML(s)
		}
	}
	return s
}

// idFrom takes the name given, or makes one of the label.
func idFrom(id, label string) string {
	if id = strings.TrimSpace(id); id != "" {
		return quotedYAML(id)
	}
	var b strings.Builder
	for _, r := range strings.ToLower(label) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	out := strings.Trim(b.String(), "-")
	if len(out) > 64 {
		out = strings.Trim(out[:64], "-")
	}
	if out == "" {
		return "new-house"
	}
	return out
}
