package web

import (
	"net/http"
	"slices"
	"strings"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// physicsBody is the page of what the water does.
type physicsBody struct {
	Sentence string
	HasMass  bool // some water was worked out
	Surfaces []physicsSurface
	Physics  assessment.PhysicsAnswer
	Classes  []classRow
}

type physicsSurface struct {
	assessment.SurfaceEffects
	Words   string
	Picture *picture.Scene
	Spans   []physicsSpan // one, or before the latest repair and since
}

// physicsSpan is what the dampness did over one span.
type physicsSpan struct {
	Film                 *words.Film // nil where there is no balance
	When                 string      // "" is the whole record
	Most                 string      // link to the night of most water
	Melts                []meltRow   // the latest, newest last
	AllMelts             int
	Timber, WoodMeasured *assessment.TimberMoisture
	Fixings              *assessment.Corrosion
	Remark               bool // the fixings' remark is not said above
}

type meltRow struct {
	assessment.Melt
	Link string
}

type classRow struct {
	Place, Excess, Supply string
}

// maxMelts is how many thaws are listed.
const maxMelts = 8

func (p *Pages) physics(w http.ResponseWriter, r *http.Request) {
	h, a, ok := p.asked(w, r, "physics")
	if !ok {
		return
	}
	b := physicsBody{Physics: a.Physics}
	for k, s := range a.Physics.Surfaces {
		pos, _ := h.Case.Position(s.Surface)
		row := physicsSurface{SurfaceEffects: s, Words: words.Surface(h.Case, pos)}
		if q := drawing.Strips(a.Behind.Surfaces, s.Surface); len(q) > 0 {
			row.Picture = courses(h, row.Words, s.Surface, q)
		}
		spans := []assessment.EffectSpan{{Condensate: s.Condensate, Timber: s.Timber, Wood: s.Wood, Fixings: s.Fixings}}
		if len(s.Spans) > 0 {
			spans = s.Spans
		}
		films := a.Films(h.Case, k)
		for n, x := range spans {
			span := physicsSpan{Timber: x.Timber, WoodMeasured: x.Wood, Fixings: x.Fixings,
				Remark: n == 0 || spans[0].Fixings == nil || x.Fixings != nil && x.Fixings.Remark != spans[0].Fixings.Remark}
			if x.Condensate != nil {
				span.Film, span.When = &films[n], films[n].When()
				span.water(h, pos, x.Condensate)
				b.HasMass = b.HasMass || x.Condensate.PeakGM2 > 0
			}
			row.Spans = append(row.Spans, span)
		}
		b.Surfaces = append(b.Surfaces, row)
	}
	turn := drawing.Turn(h.Case, a)
	slices.SortStableFunc(b.Surfaces, func(x, y physicsSurface) int { return turn(x.Surface) - turn(y.Surface) })
	b.Sentence = physicsSentence(b.Surfaces)
	if a.Physics.House != nil {
		for _, e := range a.Physics.House.Excesses {
			row := classRow{Place: e.Place, Excess: words.Whole(e.MeanPa), Supply: words.Signed(e.SupplyGM3)}
			if pos, ok := h.Case.Position(e.Place); ok {
				row.Place = words.Position(pos)
			}
			if e.UncPa > 0 {
				row.Excess += " ± " + words.Whole(2*e.UncPa)
			}
			b.Classes = append(b.Classes, row)
		}
	}
	p.render(w, r, http.StatusOK, "physics",
		page{Title: "What the water does, " + h.Label, Case: h, Tab: "physics", Body: b})
}

// water links the night of most water and the latest thaws to the timeline.
func (s *physicsSpan) water(h *head, pos roof.Position, f *assessment.Film) {
	v := view{surface: pos}
	link := func(at time.Time) string { return v.link(h.ID, at.Add(-18*time.Hour), at.Add(6*time.Hour)) + "#margin" }
	if f.PeakAt != nil {
		s.Most = link(*f.PeakAt)
	}
	s.AllMelts = len(f.Melts)
	for _, m := range f.Melts[max(0, len(f.Melts)-maxMelts):] {
		s.Melts = append(s.Melts, meltRow{m, link(m.At)})
	}
}

// physicsSentence leads with the surface that held most water, before a repair
// and since.
func physicsSentence(s []physicsSurface) string {
	best, most := -1, -1.0
	for i := range s {
		if c := s[i].Condensate; c != nil && c.PeakGM2 > most {
			best, most = i, c.PeakGM2
		}
	}
	if best < 0 {
		return "How much water lay on the surfaces could not be worked out."
	}
	var said []string
	for _, x := range s[best].Spans {
		said = append(said, x.Film.Most())
	}
	return strings.Join(said, " ")
}

// courses draws what follows from the margin over the whole record.
func courses(h *head, where, id string, q []picture.Quiet) *picture.Scene {
	step := drawing.StepFor(h.Until.Sub(h.From))
	m := picture.MarginChart{ID: "courses-" + id, Surface: where, Zone: h.Zone, From: h.From, Until: h.Until, Step: step,
		Strips: q, Events: h.Events}
	if !h.Until.After(h.From) {
		return nil // one reading has no course
	}
	for t := h.From; step > 0 && t.Before(h.Until); t = t.Add(step) {
		m.Time = append(m.Time, t)
	}
	return m.Courses()
}
