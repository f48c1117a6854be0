package web

import (
	"context"
	"math"
	"net/http"
	"slices"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/curves"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// compareBody is the page of before and after, one over the other.
type compareBody struct {
	Sentence    string
	Surface     string
	Picks       []zoom
	Clock       *picture.Scene
	Nights      [2]int
	Added       *picture.Scene
	AddedH      [2]float64 // measured, without the repair
	Scatters    []*picture.Scene
	Winters     *picture.Scene
	WinterWords string
	Twin        *picture.Scene
	TwinWords   string
	TwinLink    string
	NoRepair    bool
	Why         string // why no nights are compared
}

// compare draws the time before a repair and after it over one another.
func (p *Pages) compare(w http.ResponseWriter, r *http.Request) {
	h, a, ok := p.asked(w, r, "compare")
	if !ok {
		return
	}
	v := readChart(h, a, r.URL.Query())
	b := compareBody{Surface: words.Surface(h.Case, v.surface), NoRepair: !h.Repairs}
	h.choose(h.Case, a, v.surface.ID)
	if err := p.fillCompare(r.Context(), h, a, v, r.URL.Query().Get("of"), &b); err != nil {
		p.fail(w, r, err)
		return
	}
	if b.Sentence == "" {
		b.Sentence = "Before and after, one over the other"
	}
	p.render(w, r, http.StatusOK, "compare", page{Title: "Before and after, " + h.Label, Case: h, Tab: "compare",
		Body: b})
}

// mostCompared bounds the nights that are compared: two years and a quarter of
// hours are one answer.
const mostCompared = 820 * 24 * time.Hour

func (p *Pages) fillCompare(ctx context.Context, h *head, a assessment.Answer, v chartView, of string,
	b *compareBody) error {
	hourly := func(keys []curves.Key, from, until time.Time) (curves.View, error) {
		if until.Sub(from) > mostCompared {
			from = until.Add(-mostCompared)
		}
		return p.Record.Curves(ctx, h.ID, keys, from, until, time.Hour.Milliseconds())
	}
	k := b.choose(h, v.surface, of)
	if k.Position == "" {
		b.Why = "No surface is in the case file."
		return nil
	}
	if err := b.twin(h, v, hourly); err != nil {
		return err
	}
	if err := b.winters(h, k, hourly); err != nil {
		return err
	}
	i := slices.IndexFunc(a.Repairs, func(r assessment.Repair) bool { return r.Surface == v.surface.ID })
	for n := range a.Repairs { // the latest
		if a.Repairs[n].Surface == v.surface.ID && a.Repairs[n].At.After(a.Repairs[i].At) {
			i = n
		}
	}
	if i < 0 {
		b.Why = "No repair of this surface can be judged yet."
		return nil
	}
	res := a.Repairs[i].Result
	before, after := res.LikeNights()
	b.Nights = [2]int{len(before), len(after)}
	keys := append([]curves.Key{k}, scatterKeys(h.Case, v.surface)...)
	cols, err := hourly(keys, h.From, h.Until)
	if err != nil {
		return err
	}
	clock, lows, means := drawing.OnOneClock(cols, before, after, h.Zone, res.At)
	if !math.IsNaN(means[0] + means[1]) {
		b.Clock = clock.Scene()
		figures := means
		if k.Quantity == curves.MarginK {
			figures = lows
		}
		b.Sentence = words.NightCourse{Quantity: words.Curve(k.Quantity.Key()), Unit: k.Quantity.Unit(),
			Where: drawing.Where(h.Case, k.Position), Lowest: k.Quantity == curves.MarginK, Before: figures[0],
			After: figures[1], Nights: b.Nights,
			Decimals: k.Quantity.Shown()}.String()
	} else {
		b.Why = "Too few nights of like weather lie on both sides of the repair."
	}
	if len(res.Course) > 1 {
		c, with, without := drawing.AddedUp(res, h.Zone)
		b.Added, b.AddedH = c.Scene(), [2]float64{with, without}
	}
	b.scatter(cols, res)
	return nil
}

// choose offers what can be laid over one another, and picks one.
func (b *compareBody) choose(h *head, surface roof.Position, of string) (chosen curves.Key) {
	var offered []curves.Key
	for _, id := range []string{surface.ID, surface.Meets} {
		if p, ok := h.Case.Position(id); ok {
			for _, q := range []curves.Quantity{curves.MarginK, curves.TempC, curves.RHPct, curves.VapourPa, curves.ExcessPa} {
				if k := (curves.Key{Position: id, Quantity: q}); slices.Contains(curves.Offered(h.Case, p), q) &&
					(p.Place.IsAir() || q != curves.RHPct) {
					offered = append(offered, k)
				}
			}
		}
	}
	for _, k := range offered {
		if chosen.Position == "" || k.String() == of {
			chosen = k
		}
	}
	for _, k := range offered {
		b.Picks = append(b.Picks, zoom{Words: drawing.CurveName(h.Case, k), Chosen: k == chosen,
			Link: "/cases/" + h.ID + "/compare?surface=" + surface.ID + "&of=" + k.String()})
	}
	return chosen
}

// scatterKeys are the loft's and the house's excess, the margin, the covering and
// outdoor air; a key of no position where there is none.
func scatterKeys(c *roof.Case, surface roof.Position) []curves.Key {
	first := func(place roof.Place, q curves.Quantity) curves.Key {
		if at := c.At(place); len(at) > 0 {
			return curves.Key{Position: at[0].ID, Quantity: q}
		}
		return curves.Key{Quantity: q}
	}
	return []curves.Key{first(indoors, curves.ExcessPa), first(loft, curves.ExcessPa),
		{Position: surface.ID, Quantity: curves.MarginK}}
}

// scatter sets the loft's excess against the house's, and the margin against the
// undercooling.
func (b *compareBody) scatter(v curves.View, res repair.Result) {
	add := func(s picture.Scatter) {
		if len(s.Dots) >= 2*3 {
			b.Scatters = append(b.Scatters, s.Scene())
		}
	}
	add(picture.Scatter{ID: "excess", Title: "Loft against house", XWords: "house over outdoors, night mean, Pa",
		YWords: "loft over outdoors, Pa", Dots: drawing.NightDots(res.Nights, drawing.OfNight(v, 1, false),
			drawing.OfNight(v, 2, false))})
	add(picture.Scatter{ID: "sky", Title: "Margin against undercooling",
		XWords: "undercooling of the covering, K", YWords: "lowest margin, K",
		Dots: drawing.NightDots(res.Nights, func(n repair.NightUse) (float64, bool) {
			return n.ClearK, n.ClearK != 0 && !math.IsNaN(n.ClearK)
		}, drawing.OfNight(v, 3, true))})
}

// winters lays the last sixty days over the same days a year before, where the
// record is long enough.
func (b *compareBody) winters(h *head, k curves.Key,
	hourly func([]curves.Key, time.Time, time.Time) (curves.View, error)) error {
	until := h.Until
	from := until.AddDate(0, 0, -60)
	if h.From.After(from.AddDate(-1, 0, 0)) {
		return nil
	}
	now, err := hourly([]curves.Key{k}, from, until)
	if err != nil {
		return err
	}
	past, err := hourly([]curves.Key{k}, from.AddDate(-1, 0, 0), until.AddDate(-1, 0, 0))
	if err != nil {
		return err
	}
	b.Winters = drawing.TwoWinters(h.Case, now, past, from, until).Scene()
	b.WinterWords = drawing.CurveName(h.Case, k)
	return nil
}

// twin sets a surface beside one of its kind that the work left alone.
func (b *compareBody) twin(h *head, v chartView,
	hourly func([]curves.Key, time.Time, time.Time) (curves.View, error)) error {
	if h.Case.IsUntouched(v.surface) || v.surface.Meets == "" {
		return nil
	}
	for _, s := range h.Case.At(v.surface.Place) {
		if !h.Case.IsUntouched(s) || s.Meets == "" {
			continue
		}
		w := v
		w.Keys = []curves.Key{{Position: v.surface.ID, Quantity: curves.MarginK}, {Position: s.ID,
			Quantity: curves.MarginK}}
		w.from, w.until, w.Lay, w.Marks, w.Axes = h.From, h.Until, drawing.ByUnit, nil, nil
		cols, err := hourly(w.Keys, w.from, w.until)
		if err != nil {
			return err
		}
		c := drawing.Nightly(h.Case, cols, time.UnixMilli(cols.FromMS), w.until)
		c.ID = "twin"
		b.Twin, b.TwinWords, b.TwinLink = c.Scene(), words.Surface(h.Case, s), chartLink(h.ID, "chart", w)+"#margin"
		return nil
	}
	return nil
}
