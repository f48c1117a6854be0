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

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// HouseSummary is what the list of houses shows of one, made in advance. What the
// passing of time alone changes, such as a logger falling silent, is not in it.
type HouseSummary struct {
	ID, Label string
	Zone      *time.Location
	Sentence  string
	Cause     string // what the evidence supports, in brief; "" while that is not worked out
	Verdict   string // of the latest repair, in brief; "" without one
	Finding   cause.Cause
	Result    repair.Verdict
	Surface   string     // in words, the wettest
	Nights    []NightSum // its last 30, oldest first; none where there is no surface
	WetNights int        // of the last 7
	WetBefore int        // of the 7 before
	Last      time.Time  // last reading of a fitted logger
	Needs     []Need     // what needs a person, most pressing first
	Loggers   []HouseLogger
	Made      time.Time // zero: not yet
	Behind    bool      // what it rests on has changed since
}

// NightSum is a night's minutes at one surface.
type NightSum struct {
	From, Until                                     time.Time
	ObservedMin, CondensingMin, AtRiskMin, FrostMin float64
}

// night is the same for a picture.
func (n NightSum) night() picture.Night {
	return picture.Night{From: n.From, Until: n.Until, Hours: []picture.Hour{{ObservedMin: n.ObservedMin,
		CondensingMin: n.CondensingMin, AtRiskMin: n.AtRiskMin, FrostMin: n.FrostMin}}}
}

// Need is what needs a person, and how pressing that is.
type Need struct {
	Weight int
	What   string
}

// HouseLogger is when a fitted logger was last heard and how long it may say
// nothing.
type HouseLogger struct {
	ID    string
	Last  time.Time
	Quiet time.Duration
}

// HouseList is the list of houses as it is kept.
type HouseList interface {
	// Houses gives a part of the list, in which the loggers are as last heard; all
	// is how many houses there are, found how many were searched for, and need how
	// many of these need a look.
	Houses(ctx context.Context, q roof.HouseQuery) (rows []HouseSummary, all, found, need int, err error)
}

// Weight is how pressing it is that a person looks, silent loggers aside.
func (h HouseSummary) Weight() (w int) {
	for _, n := range h.Needs {
		w += n.Weight
	}
	return w
}

// Silent are the loggers that say nothing at a time.
func (h HouseSummary) Silent(now time.Time) (ids []string) {
	for _, l := range h.Loggers {
		if now.Sub(l.Last) > l.Quiet {
			ids = append(ids, l.ID)
		}
	}
	return ids
}

// SilentFrom is when the next of its loggers counts as silent; zero never.
func (h HouseSummary) SilentFrom() (at time.Time) {
	for _, l := range h.Loggers {
		if from := l.Last.Add(l.Quiet + time.Millisecond); at.IsZero() || from.Before(at) {
			at = from
		}
	}
	return at
}

// houseRow is one house of the list as it is shown.
type houseRow struct {
	HouseSummary
	Strip     *picture.Scene
	Attention []string // what needs a person, most pressing first
	Fault     string   // why the row could not be made
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
		needs = append(needs, Need{roof.SilentWeight, silentWords(silent)})
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
	Orders           []orderChoice
	Earlier, Further string // addresses of the pages before and after, "" without one
}

// LastShown is the number of the last row shown.
func (b housesBody) LastShown() int { return b.First + len(b.Rows) - 1 }

// orderChoice is one way to sort the list.
type orderChoice struct {
	Value  roof.HouseOrder
	Words  string
	Chosen bool
}

// housesSentence says how many houses there are, or were searched for, and how
// many of them need a person.
func housesSentence(search string, all, need int) string {
	switch {
	case all == 0 && search != "":
		return "No house has “" + search + "” in its name."
	case all == 0:
		return "No house is being measured yet."
	case need == 0 && all == 1:
		return "1 house, which needs no look."
	case need == 0:
		return words.Count(all, "house") + ", none of which needs a look."
	case all == 1:
		return "1 house, which needs a look."
	case need == all:
		return words.Count(all, "house") + ", all of which need a look."
	case need == 1:
		return words.Count(all, "house") + ", one of which needs a look."
	}
	return fmt.Sprintf("%s, %d of which need a look.", words.Count(all, "house"), need)
}

// housesOnAPage is how many houses one page lists.
const housesOnAPage = 50

// houses lists the cases, what needs a person first.
func (p *Pages) houses(w http.ResponseWriter, r *http.Request) {
	ask := r.URL.Query()
	q := roof.HouseQuery{Search: strings.TrimSpace(ask.Get("q")), Order: roof.HouseOrder(ask.Get("sort")),
		Limit: housesOnAPage, Now: p.Now()}
	if n, err := strconv.Atoi(ask.Get("page")); err == nil && n > 1 && n < 1<<20 {
		q.Offset = (n - 1) * housesOnAPage
	}
	b := housesBody{Search: q.Search, First: q.Offset + 1}
	for _, o := range []orderChoice{{roof.ByNeed, "what needs a look first", false}, {roof.ByName, "name", false},
		{roof.ByWet, "most wet nights", false}, {roof.ByTrend, "wetter than the week before", false},
		{roof.ByHeard, "longest unheard", false}} {
		o.Chosen = o.Value == q.Order || q.Order == "" && o.Value == roof.ByNeed
		b.Orders = append(b.Orders, o)
	}
	list := p.Houses
	if list == nil {
		list = listed{p}
	}
	rows, all, found, need, err := list.Houses(r.Context(), q)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	for _, h := range rows {
		b.Rows = append(b.Rows, h.row(q.Now))
	}
	b.All, b.Found, b.Sentence = all, found, housesSentence(q.Search, found, need)
	leaf := func(offset int) string {
		v := url.Values{"page": {strconv.Itoa(offset/housesOnAPage + 1)}}
		for _, k := range []string{"q", "sort"} {
			if ask.Get(k) != "" {
				v.Set(k, ask.Get(k))
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
			h = HouseSummary{ID: c.ID, Label: cmp.Or(c.Property.Label, c.ID), Needs: []Need{{100,
				"it could not be summed up; the daemon’s log says why"}}, Made: q.Now}
		}
		if !strings.Contains(strings.ToLower(h.Label+"\n"+h.ID), strings.ToLower(q.Search)) {
			continue
		}
		if rows = append(rows, h); len(h.row(q.Now).Attention) > 0 {
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

// stripNights is how many nights a house shows in the list.
const stripNights = 30

// Summarise sums a house up. What is not assessed is left out.
func (p *Pages) Summarise(ctx context.Context, id string,
	answer func(id string) (assessment.Answer, bool)) (HouseSummary, error) {
	h, err := p.head(ctx, id)
	if err != nil {
		return HouseSummary{}, err
	}
	sum := HouseSummary{ID: h.ID, Label: h.Label, Zone: h.Zone, Made: p.Now()}
	if !h.HasRecord {
		sum.Sentence = "No reading has come from a fitted logger yet."
		sum.need(20, "no readings yet")
		return sum, nil
	}
	sum.Last = h.Until
	until := evidence.NoonAfter(evidence.Noon(h.Until, h.Zone), 1, h.Zone)
	wi := winter{evidence.NoonAfter(until, -stripNights, h.Zone), until}
	v, err := p.Record.Timeline(ctx, id, wi.From, wi.Until, evidence.SheetStep(h.Zone, wi.From, wi.Until))
	if err != nil {
		return sum, err
	}
	latest, err := p.Record.Latest(ctx, id)
	if err != nil {
		return sum, err
	}
	sum.hear(latest)
	var worst picture.WinterSheet
	most := -1.0
	for _, s := range h.Case.RepresentativeSurfaces() {
		sh := drawing.Sheet(h.Case, v, s, wi.From, wi.Until, h.Zone)
		if h := picture.WetHours(sh.Nights); h > most {
			worst, most = sh, h
		}
	}
	if most < 0 {
		sum.Sentence = "No surface is in the case file, so that wet hours cannot be told."
		sum.need(10, "no surface in the case file")
		return sum, nil
	}
	sum.Sentence = lately(worst.Surface, worst.Nights)
	const week = 7
	end := len(worst.Nights)
	n := picture.CountNights(worst.Nights[max(0, end-week):])
	before := picture.CountNights(worst.Nights[max(0, end-2*week):max(0, end-week)])
	var f *cause.Finding
	if a, ok := answer(id); ok {
		f, sum.Finding, sum.Cause = &a.Finding, a.Finding.Finding, a.Cause(h.Case).Brief()
		if len(a.Doubts) > 0 {
			sum.Sentence = a.Doubts[0].Said
			worst.Forget()
			sum.need(10, "the figures of a logger cannot be right")
		}
		if first := drawing.ResultsInOrder(h.Case, a); len(first) > 0 {
			sum.Result, sum.Verdict = a.Repairs[first[0]].Verdict, a.Verdict(h.Case, first[0]).Brief()
		}
	}
	sum.Surface = worst.Surface
	for _, n := range worst.Nights {
		s := n.Sum()
		sum.Nights = append(sum.Nights, NightSum{n.From, n.Until, s.ObservedMin, s.CondensingMin, s.AtRiskMin, s.FrostMin})
	}
	sum.WetNights, sum.WetBefore = n.Wet, before.Wet
	sum.missed(n.Missed)
	sum.judge(f, sum.Result, n.Wet)
	return sum, nil
}

// sound says that a finding is no defect, or one that ends by itself.
func sound(c cause.Cause) bool {
	return c == cause.NightSkyCooling || c == cause.NoneFound || c == cause.ConstructionMoist
}

// need adds what needs a person, and how pressing that is.
func (h *HouseSummary) need(weight int, what string) { h.Needs = append(h.Needs, Need{weight, what}) }

// judge says what cause and verdict ask of a person. A roof that is sound, or
// whose repair worked, asks nothing, however wet its nights: dew on a sound
// covering is no news. Nor does a repair on which it is too early to say.
func (h *HouseSummary) judge(f *cause.Finding, verdict repair.Verdict, wetNights int) {
	wet := wetNights >= 3
	nights := "wet on " + words.Count(wetNights, "night") + " of the last week"
	switch {
	case verdict == repair.GotWorse:
		h.need(35, "the repair made it worse")
	case verdict == repair.NoChangeShown && wet:
		h.need(30, "the repair has shown no change; "+nights)
	case verdict != "" || f != nil && sound(f.Finding):
	case f == nil && wet:
		h.need(20, nights)
	case f == nil:
	case f.Finding != cause.Undetermined:
		h.need(25, "a cause is named and no repair is on file")
	case wet:
		h.need(20, nights+", and the cause cannot be told yet")
	}
}

// hear takes what was heard of the fitted loggers: when they will have been silent
// for too long, and low batteries.
func (h *HouseSummary) hear(latest []Latest) {
	var flat []string
	for _, l := range latest {
		if l.Position == "" {
			continue
		}
		h.Loggers = append(h.Loggers, HouseLogger{l.Logger, l.At, quiet(l.Usual)})
		if l.BatteryPct != nil && *l.BatteryPct <= 15 {
			flat = append(flat, l.Logger)
		}
	}
	if len(flat) > 0 {
		h.need(15, "battery low: "+words.List(flat))
	}
}

// missed says that nights of the last week were not observed.
func (h *HouseSummary) missed(nights int) {
	if nights >= 3 {
		h.need(10, words.Count(nights, "night")+" of the last week not observed")
	}
}

// quiet is how long a logger may say nothing before the pages call it silent:
// three usual intervals, and at least two hours, because many send in batches.
func quiet(usual time.Duration) time.Duration { return max(3*usual, 2*time.Hour) }

func silentWords(ids []string) string {
	if len(ids) == 1 {
		return "logger " + ids[0] + " is silent"
	}
	if len(ids) > 3 {
		return words.Count(len(ids), "logger") + " are silent"
	}
	return "loggers " + words.List(ids) + " are silent"
}
