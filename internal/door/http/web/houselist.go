package web

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// houseRow is one house of the list as it is shown.
type houseRow struct {
	HouseSummary
	Strip     *picture.Scene
	Attention []string // what needs a person, most pressing
}

// row lays a summary out as it stands at a time.
func (h HouseSummary) row(now time.Time) houseRow {
	r := houseRow{HouseSummary: h}
	if len(h.Nights) > 0 {
		strip := picture.Strip{ID: "strip-" + h.ID, Surface: h.Surface, Zone: h.Zone}
		for _, n := range h.Nights {
			strip.Nights = append(strip.Nights, n.night())
		}
		r.Strip = strip.Scene()
	}
	needs := slices.Clone(h.Needs)
	if silent := h.Silent(now); len(silent) > 0 {
		needs = append(needs, Need{roof.SilentWeight, roof.NeedSomeSilent, silentWords(silent)})
	}
	slices.SortStableFunc(needs, func(a, b Need) int { return cmp.Compare(b.Weight, a.Weight) })
	for _, n := range needs {
		r.Attention = append(r.Attention, n.What)
	}
	return r
}

// housesBody is the list of houses.
type housesBody struct {
	Sentence         string
	Rows             []houseRow
	All, Found       int
	First            int // number of the first row shown, from 1
	Search           string
	Narrowed         bool // not all houses are asked for
	Selects          []listSelect
	Earlier, Further string // addresses of the pages before and after, "" without one
}

// LastShown is the number of the last row shown.
func (b housesBody) LastShown() int { return b.First + len(b.Rows) - 1 }

// Strips says that a row shows a strip, which the list then explains.
func (b housesBody) Strips() bool {
	return slices.ContainsFunc(b.Rows, func(r houseRow) bool { return r.Strip != nil })
}

// listSelect is one way to narrow or sort the list, by the key of the address.
type listSelect struct {
	Key, Words string
	Choices    []listChoice
}

// listChoice is one choice of it; "" is what stands where the address says nothing.
type listChoice struct {
	Value, Words string
	Chosen       bool
}

// listSelects are the ways, each with all of its choices. What the address asks for
// and is none of them counts as not asked.
func listSelects(ask url.Values) []listSelect {
	causes := []listChoice{{Words: "any"}}
	for _, c := range []cause.Cause{cause.UnventedBattenVoid, cause.CeilingLeakage, cause.BlockedVentilation,
		cause.WaterIngress, cause.ConstructionMoist, cause.NightSkyCooling, cause.NoneFound, cause.Undetermined} {
		causes = append(causes, listChoice{Value: string(c), Words: words.CauseName(string(c))})
	}
	verdicts := []listChoice{{Words: "any"}}
	for _, v := range []repair.Verdict{repair.Worked, repair.NoChangeShown, repair.GotWorse, repair.TooEarly} {
		verdicts = append(verdicts, listChoice{Value: string(v), Words: words.VerdictKind(v).String()})
	}
	verdicts = append(verdicts, listChoice{Value: noRepair, Words: "no repair judged"})
	needs := []listChoice{{Words: "or not"}}
	for _, k := range append([]roof.HouseNeed{roof.NeedsLook, roof.NeedsSilent, roof.NeedsAlert, roof.Sweating},
		roof.HouseNeeds()...) {
		needs = append(needs, listChoice{Value: string(k), Words: words.HouseNeed(k)})
	}
	out := []listSelect{{"cause", "Cause", causes}, {"verdict", "Did the repair work", verdicts},
		{"needs", "Needs a look", needs},
		{"sort", "Sort by", []listChoice{{Words: "most pressing"}, {Value: string(roof.ByName), Words: "name"},
			{Value: string(roof.ByWet), Words: "most wet nights"},
			{Value: string(roof.ByTrend), Words: "getting wetter"},
			{Value: string(roof.ByHeard), Words: "longest unheard"}}}}
	for _, s := range out {
		at := max(0, slices.IndexFunc(s.Choices, func(c listChoice) bool { return c.Value == ask.Get(s.Key) }))
		s.Choices[at].Chosen = true
	}
	return out
}

// noRepair is how an address asks for houses without a verdict.
const noRepair = "none"

// chosen is the value that a select stands at.
func (s listSelect) chosen() string {
	return s.Choices[slices.IndexFunc(s.Choices, func(c listChoice) bool { return c.Chosen })].Value
}

// houseQuery reads what an address of the list asks for.
func houseQuery(ask url.Values, now time.Time) (roof.HouseQuery, []listSelect) {
	q := roof.HouseQuery{Search: strings.TrimSpace(ask.Get("q")), Limit: housesOnAPage, Now: now}
	selects := listSelects(ask)
	switch c := selects[0].chosen(); cause.Cause(c) {
	case "":
	case cause.Undetermined:
		q.Findings = []string{c, ""} // not told, or not worked out
	default:
		q.Findings = []string{c}
	}
	switch v := selects[1].chosen(); v {
	case "":
	case noRepair:
		q.Verdicts = []string{""}
	default:
		q.Verdicts = []string{v}
	}
	q.Need, q.Order = roof.HouseNeed(selects[2].chosen()), roof.HouseOrder(selects[3].chosen())
	if n, err := strconv.Atoi(ask.Get("page")); err == nil && n > 1 && n < 1<<20 {
		q.Offset = (n - 1) * housesOnAPage
	}
	return q, selects
}

// narrowed says that a query does not ask for all houses.
func narrowed(q roof.HouseQuery) bool {
	return q.Search != "" || q.Findings != nil || q.Verdicts != nil || q.Need != ""
}

// housesSentence says how many houses there are, or were asked for, and how many of
// them need a person.
func housesSentence(q roof.HouseQuery, all, found, need int) string {
	kind := q
	kind.Search = ""
	switch {
	case all == 0:
		return "No house is being measured yet."
	case found == 0 && q.Search != "" && narrowed(kind):
		return "No house with “" + q.Search + "” in its name is of that kind."
	case found == 0 && q.Search != "":
		return "No house has “" + q.Search + "” in its name."
	case found == 0:
		return "No house is of that kind."
	}
	of := words.Count(all, "house")
	if narrowed(q) {
		of = fmt.Sprintf("%d of %s", found, of)
	}
	switch {
	case need == 0 && found == 1:
		return of + ", which needs no look."
	case need == 0:
		return of + ", none of which needs a look."
	case found == 1:
		return of + ", which needs a look."
	case need == found:
		return of + ", all of which need a look."
	case need == 1:
		return of + ", one of which needs a look."
	}
	return fmt.Sprintf("%s, %d of which need a look.", of, need)
}

// housesOnAPage is how many houses one page lists.
const housesOnAPage = 50

// houses lists the cases, what needs a person first.
func (p *Pages) houses(w http.ResponseWriter, r *http.Request) {
	ask := r.URL.Query()
	q, selects := houseQuery(ask, p.Now())
	b := housesBody{Search: q.Search, First: q.Offset + 1, Narrowed: narrowed(q), Selects: selects}
	rows, all, found, need, err := p.HouseList().Houses(r.Context(), q)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	for _, h := range rows {
		b.Rows = append(b.Rows, h.row(q.Now))
	}
	b.All, b.Found, b.Sentence = all, found, housesSentence(q, all, found, need)
	leaf := func(offset int) string {
		v := url.Values{"page": {strconv.Itoa(offset/housesOnAPage + 1)}}
		if q.Search != "" {
			v.Set("q", q.Search)
		}
		for _, s := range selects {
			if c := s.chosen(); c != "" {
				v.Set(s.Key, c)
			}
		}
		return "/?" + v.Encode()
	}
	if q.Offset > 0 {
		b.Earlier = leaf(max(q.Offset-housesOnAPage, 0))
	}
	if q.Offset+len(rows) < found {
		b.Further = leaf(q.Offset + housesOnAPage)
	}
	p.render(w, r, http.StatusOK, "houses", page{Title: "Houses", Tab: "houses", Body: b})
}

// listed makes the list when it is asked for, where none is kept.
type listed struct{ p *Pages }

// answersWithin is how long such a list waits for answers that are still being
// worked out, for all houses together.
const answersWithin = 4 * time.Second

func (l listed) Houses(ctx context.Context, q roof.HouseQuery) (rows []HouseSummary, all, found, need int, err error) {
	soon, enough := context.WithTimeout(ctx, answersWithin)
	defer enough()
	for _, c := range l.p.Cases.All() {
		all++
		h, err := l.p.Summarise(ctx, c.ID, func(id string) (assessment.Answer, bool) {
			return l.p.Record.AnswerSoon(soon, id)
		})
		if err != nil {
			l.p.Log.Error("a house could not be summed up", "case", c.ID, "error", err)
			h = HouseSummary{ID: c.ID, Label: cmp.Or(c.Property.Label, c.ID), Needs: []Need{{100, roof.NeedDoubt,
				"it could not be summed up; the daemon’s log says why"}}, Made: q.Now}
		}
		stands := h.Listed()
		is := func(of []string, x string) bool { return of == nil || slices.Contains(of, x) }
		if !strings.Contains(strings.ToLower(h.Label+"\n"+h.ID), strings.ToLower(q.Search)) ||
			!is(q.Findings, string(h.Finding)) || !is(q.Verdicts, string(h.Result)) ||
			!stands.Has(q.Need, q.Now) {
			continue
		}
		if rows = append(rows, h); stands.Has(roof.NeedsLook, q.Now) {
			need++
		}
	}
	weight := func(h HouseSummary) int {
		w := h.Weight()
		if len(h.Silent(q.Now)) > 0 {
			w += roof.SilentWeight
		}
		return w
	}
	slices.SortStableFunc(rows, func(a, b HouseSummary) int {
		switch q.Order {
		case roof.ByName:
			return strings.Compare(strings.ToLower(a.Label), strings.ToLower(b.Label))
		case roof.ByWet:
			return b.WetNights - a.WetNights
		case roof.ByTrend:
			return b.WetNights - b.WetBefore - a.WetNights + a.WetBefore
		case roof.ByHeard:
			return a.Last.Compare(b.Last)
		}
		return weight(b) - weight(a)
	})
	found = len(rows)
	return rows[min(q.Offset, found):min(q.Offset+q.Limit, found)], all, found, need, nil
}
