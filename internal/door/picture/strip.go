package picture

import (
	"time"

	"dewcase/internal/reason/evidence"
	"dewcase/internal/words"
)

// Strip is the last nights of one surface in a single low row, for the list of
// cases.
type Strip struct {
	ID      string
	Surface string
	Zone    *time.Location
	Nights  []Night // oldest first
}

// Scene lays the strip out: a column a night, as tall as its wet hours, on a
// foot where it was near; hatched where it was not observed well enough to count.
func (t Strip) Scene() *Scene {
	const tall = 26.0
	w := WinterSheet{Surface: t.Surface, Zone: t.Zone, Nights: t.Nights}
	s := &Scene{ID: t.ID, Title: "Last nights, " + t.Surface, Desc: w.Words(), HeightPx: tall + 1,
		Span: float64(max(len(t.Nights), 1))}
	var wet, frost, near [][]Point
	var gaps [][2]int
	for i, n := range t.Nights {
		if n.State() == words.NotSeen {
			gaps = extend(gaps, i)
		}
		sum := n.Sum()
		// Twelve wet hours fill the column: longer nights of water are as bad.
		share := func(minutes float64) float64 { return tall * min(minutes/60/12, 1) }
		x, x2 := float64(i)+0.1, float64(i)+0.9
		// Near is a foot of one height, whatever its hours: a tall bar would be
		// read as water.
		if sum.AtRiskMin >= ShortMin {
			near = append(near, box(x, tall-4, x2, tall))
		}
		h, f := share(sum.CondensingMin), share(sum.FrostMin)
		if sum.CondensingMin >= 60*evidence.BrieflyWetHours {
			h = max(h, 3) // a short wet stretch must not vanish
		}
		if h > 0 {
			wet = append(wet, box(x, tall-h, x2, tall))
		}
		if f > 0 {
			frost = append(frost, box(x, tall-f, x2, tall))
		}
	}
	unseen(s, gaps, 0, tall)
	s.add(Item{Kind: Area, Class: "s-near", Courses: near}, Item{Kind: Area, Class: "s-wet", Courses: wet},
		Item{Kind: Area, Class: "s-frost", Texture: Stripe, Courses: frost},
		Item{Kind: Level, Class: "axis", X: 0, X2: s.Span, Y: tall})
	return s
}
