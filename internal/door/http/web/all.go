package web

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"slices"

	"dewcase/internal/flow/houses"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// allBody is all houses in figures.
type allBody struct {
	houses.Figures
	Sentence                string
	Look                    []countRow // what needs a person
	Sweat, Repaired, Silent string
	Nights                  []nightsRow
	Causes                  []countRow // of those that sweat
	Verdicts                []countRow
	Wettest, Unhelped       []HouseSummary
	SilentLongest           []silentRow
	Ages                    []countRow
	Elsewhere               []Moved
	Several                 bool // instances are configured
	Instances               []instanceRow
	Over                    string // how many of them
}

// instanceRow is what one of several instances counted.
type instanceRow struct {
	houses.Instance
	Said string // of its figures
}

// countRow is a number of houses, with the list of them.
type countRow struct {
	Words, Link string
	N           int
	Pct         float64 // of the largest, for the bar
}

// nightsRow is how many houses had how many wet nights.
type nightsRow struct {
	Week, Month   string // how many of 7, of 30
	NWeek, NMonth int
	Pct, PctMonth float64
}

// silentRow is a house with the loggers that say nothing.
type silentRow struct {
	HouseSummary
	Who   string
	Since roof.ListedHouse
}

// Moved is a house that another instance keeps now.
type Moved struct {
	ID, Label, To string
	On            string // the day, in words
}

// all shows all houses in figures.
func (p *Pages) all(w http.ResponseWriter, r *http.Request) {
	pooled := p.Pooled != nil && r.URL.Query().Get("of") == "instances"
	var f houses.Figures
	var of map[string]HouseSummary
	var all houses.Pooled
	var err error
	if pooled {
		all, err = p.Pooled(r.Context())
		f = all.Figures
	} else {
		f, of, err = p.HouseList().Figures(r.Context())
	}
	if err != nil {
		p.fail(w, r, err)
		return
	}
	b := allBody{Figures: f, Sentence: housesSentence(roof.HouseQuery{}, f.Houses, f.Houses, f.NeedALook),
		Several: p.Pooled != nil}
	if pooled {
		b.Over = words.InstancesPooled(all.Missing, len(all.Instances))
	}
	for _, x := range all.Instances {
		var said words.Counted
		if x.Figures != nil {
			said = words.Counted{Houses: x.Figures.Houses, NeedALook: x.Figures.NeedALook, Sweating: x.Figures.Sweating,
				At: x.Figures.At}
		}
		b.Instances = append(b.Instances, instanceRow{x, words.InstanceCounted(said, x.Failed)})
	}
	for _, k := range roof.HouseNeeds() {
		b.Look = append(b.Look, countRow{Words: words.HouseNeed(k), Link: "/?needs=" + url.QueryEscape(string(k)),
			N: f.Needs[k]})
	}
	b.Sweat = words.HousesSweat(f.Sweating, f.Week.Observed(), f.Houses)
	b.Nights = manyNights(f)
	for _, k := range append(cause.Named(), cause.Undetermined, "") {
		b.Causes = append(b.Causes, countRow{Words: words.Finding(string(k)), N: f.SweatingBy[string(k)]})
	}
	n := func(v repair.Verdict) int { return f.Repairs[string(v)] }
	b.Repaired = words.HousesRepaired(n(repair.Worked), n(repair.NoChangeShown), n(repair.GotWorse), n(repair.TooEarly))
	for _, v := range []repair.Verdict{repair.GotWorse, repair.NoChangeShown, repair.Worked, repair.TooEarly, ""} {
		b.Verdicts = append(b.Verdicts, countRow{Words: words.RepairsHold(string(v)),
			Link: "/?verdict=" + url.QueryEscape(cmp.Or(string(v), noRepair)), N: n(v)})
	}
	b.Silent = words.HousesSilent(f.Needs[roof.NeedAllSilent], f.Needs[roof.NeedSomeSilent])
	b.Ages = []countRow{{Words: "in the last hour", N: f.Summaries.Hour}, {Words: "in the last day", N: f.Summaries.Day},
		{Words: "longer ago", N: f.Summaries.Older}, {Words: "not summed up yet", N: f.Summaries.None}}
	for _, rows := range [][]countRow{b.Look, b.Causes, b.Verdicts, b.Ages} {
		bars(rows)
		for i := range rows {
			if pooled {
				rows[i].Link = "" // each instance lists its own
			}
		}
	}
	some := func(r countRow) bool { return r.N == 0 }
	b.Look, b.Causes = slices.DeleteFunc(b.Look, some), slices.DeleteFunc(b.Causes, some)
	slices.SortStableFunc(b.Causes, func(x, y countRow) int { return cmp.Compare(y.N, x.N) })
	b.Wettest, b.Unhelped = those(f.Wettest, of), those(f.Unhelped, of)
	for _, h := range those(f.LongestSilent, of) {
		b.SilentLongest = append(b.SilentLongest, silentRow{h, words.Upper(silentWords(h.Silent(f.At))), h.Listed()})
	}
	if p.Away != nil && !pooled {
		b.Elsewhere = p.Away()
	}
	p.render(w, r, http.StatusOK, "all", page{Title: "All houses", Tab: "all", Body: b})
}

// those are summaries by their ids, in that order.
func those(ids []string, of map[string]HouseSummary) (out []HouseSummary) {
	for _, id := range ids {
		if h, ok := of[id]; ok {
			out = append(out, h)
		}
	}
	return out
}

// bars sets the rows' bars to the largest.
func bars(rows []countRow) {
	most := 1
	for _, r := range rows {
		most = max(most, r.N)
	}
	for i, r := range rows {
		rows[i].Pct = 100 * float64(r.N) / float64(most)
	}
}

func manyNights(f houses.Figures) []nightsRow {
	rows := []nightsRow{{"5 to 7", "18 to 30", f.Week.Most, f.Month.Most, 0, 0},
		{"3 or 4", "9 to 17", f.Week.Many, f.Month.Many, 0, 0}, {"1 or 2", "1 to 8", f.Week.Few, f.Month.Few, 0, 0},
		{"none", "none", f.Week.None, f.Month.None, 0, 0},
		{"not observed", "not observed", f.Week.Unwatched, f.Month.Unwatched, 0, 0}}
	most := 1
	for _, r := range rows {
		most = max(most, r.NWeek, r.NMonth)
	}
	for i, r := range rows {
		rows[i].Pct, rows[i].PctMonth = 100*float64(r.NWeek)/float64(most), 100*float64(r.NMonth)/float64(most)
	}
	return rows
}

// HouseList is the list of houses: as it is kept, or made when it is asked for.
func (p *Pages) HouseList() HouseList {
	if p.Houses != nil {
		return p.Houses
	}
	return listed{p}
}

// Figures sums every house up.
func (l listed) Figures(ctx context.Context) (houses.Figures, map[string]HouseSummary, error) {
	q := roof.HouseQuery{Now: l.p.Now(), Limit: len(l.p.Cases.All())}
	rows, _, _, _, err := l.Houses(ctx, q)
	c, of := houses.NewCounter(q.Now), map[string]HouseSummary{}
	for _, h := range rows {
		of[h.ID] = h
		one := h.Listed()
		c.Add(&one)
	}
	return c.Figures(), of, err
}
