package web

import (
	"fmt"
	"net/http"
	"slices"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
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
	Words     string
	Picture   *picture.Scene
	Melts     []meltRow // the heaviest, newest last
	MoreMelts int

	MorningsUnseen int // wetted nights whose noon was not observed
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
	for _, s := range a.Physics.Surfaces {
		pos, _ := h.Case.Position(s.Surface)
		row := physicsSurface{SurfaceEffects: s, Words: words.Surface(h.Case, pos)}
		if q := drawing.Strips(a.Behind.Surfaces, s.Surface); len(q) > 0 {
			row.Picture = courses(h, row.Words, s.Surface, q)
		}
		if c := s.Condensate; c != nil {
			b.HasMass = b.HasMass || c.PeakGM2 > 0
			row.MorningsUnseen = max(c.NightsWetted-c.MorningsDried-c.MorningsWet, 0)
		}
		if s.Condensate != nil {
			for i, m := range s.Condensate.Melts {
				if i < len(s.Condensate.Melts)-maxMelts {
					row.MoreMelts++
					continue
				}
				v := view{surface: pos}
				row.Melts = append(row.Melts, meltRow{m, v.link(h.ID, m.At.Add(-18*time.Hour), m.At.Add(6*time.Hour)) + "#margin"})
			}
		}
		b.Surfaces = append(b.Surfaces, row)
	}
	turn := drawing.Turn(h.Case, a)
	slices.SortStableFunc(b.Surfaces, func(x, y physicsSurface) int { return turn(x.Surface) - turn(y.Surface) })
	b.Sentence = physicsSentence(b.Surfaces)
	if a.Physics.House != nil {
		for _, e := range a.Physics.House.Excesses {
			row := classRow{Place: e.Place, Excess: fmt.Sprintf("%.0f", e.MeanPa), Supply: words.Signed(e.SupplyGM3)}
			if pos, ok := h.Case.Position(e.Place); ok {
				row.Place = words.Position(pos)
			}
			if e.UncPa > 0 {
				row.Excess += fmt.Sprintf(" ± %.0f", 2*e.UncPa)
			}
			b.Classes = append(b.Classes, row)
		}
	}
	p.render(w, r, http.StatusOK, "physics",
		page{Title: "What the water does, " + h.Label, Case: h, Tab: "physics", Body: b})
}

// physicsSentence leads with the surface that held most water.
func physicsSentence(s []physicsSurface) string {
	best := -1
	for i := range s {
		if c := s[i].Condensate; c != nil && (best < 0 || c.PeakGM2 > s[best].Condensate.PeakGM2) {
			best = i
		}
	}
	if best < 0 {
		return "How much water lay on the surfaces could not be worked out."
	}
	c := s[best].Condensate
	if c.NightsWetted == 0 {
		return "No surface gathered enough water to count as wetted."
	}
	out := fmt.Sprintf("Up to %.0f g/m² of water lay %s; it was wetted on %s", c.PeakGM2, s[best].Words,
		words.Count(c.NightsWetted, "night"))
	switch known := c.MorningsDried + c.MorningsWet; {
	case known == 0:
	case c.MorningsWet == 0:
		out += " and dry again by noon each time"
	default:
		out += fmt.Sprintf(" and still wet at noon after %d of them", c.MorningsWet)
	}
	return out + "."
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
