package drawing

import (
	"dewcase/internal/door/picture"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/words"
)

// stripPoints is how many points of a course a picture is given.
const stripPoints = 1500

// Strips are what follows from a surface's margin: water, mould, timber.
func Strips(surfaces []assessment.SurfacePhysics, surface string) []picture.Quiet {
	var out []picture.Quiet
	for _, s := range surfaces {
		if s.Surface != surface {
			continue
		}
		if len(s.Film) > 0 {
			c := picture.Course{}
			for _, p := range s.Film {
				c.AtMS, c.Value, c.Joined = append(c.AtMS, p.AtMS), append(c.Value, p.MassGM2), append(c.Joined, p.Joined)
			}
			out = append(out, picture.Quiet{Words: "water on the surface, g/m²", Course: c, Top: 10, Filled: true})
		}
		if s.Mould != nil && len(s.Mould.Course) > 0 {
			c := picture.Course{}
			for _, p := range s.Mould.Course {
				c.AtMS, c.Value, c.Joined = append(c.AtMS, p.AtMS), append(c.Value, p.Index), append(c.Joined, true)
			}
			out = append(out, picture.Quiet{Words: words.MouldStrip, Course: c.Thin(stripPoints), Top: 6, Rungs: 6,
				Filled: true})
		}
		wood, what := s.Wood, "wood moisture measured, %"
		if wood == nil {
			wood, what = s.Timber, "wood moisture estimated, %"
		}
		if wood != nil && len(wood.Course) > 0 {
			c := picture.Course{}
			for i, p := range wood.Course {
				joined := i+1 < len(wood.Course) && wood.Course[i+1].Joined
				c.AtMS, c.Value, c.Joined = append(c.AtMS, p.AtMS), append(c.Value, p.MCPct), append(c.Joined, joined)
			}
			out = append(out, picture.Quiet{Words: what, Course: c.Thin(stripPoints), Top: 30, Mark: 20})
		}
	}
	return out
}

// Share is one candidate with what the evidence gives it.
type Share struct {
	Words   string
	Support float64 // 0..1
}

// Shares is a bar a candidate, all adding up to one; the first leads.
func Shares(id string, shares []Share) *picture.Scene {
	const tall = 34.0
	s := &picture.Scene{ID: id, Title: "Support of each cause", Span: 1, HeightPx: float64(len(shares))*tall + 4}
	for i, c := range shares {
		y := float64(i) * tall
		class := "s-near"
		if i == 0 {
			class = "s-wet"
		}
		s.Items = append(s.Items, picture.Item{Kind: picture.Label, Class: "track-title", Text: c.Words, X: 0, Y: y + 14},
			picture.Item{Kind: picture.Box, Class: "bar-ground", X: 0, X2: 1, Y: y + 19, Y2: y + 28},
			picture.Item{Kind: picture.Box, Class: class, X: 0, X2: c.Support, Y: y + 19, Y2: y + 28},
			picture.Item{Kind: picture.Label, Class: "tick", Text: words.Of100(c.Support), X: 0, Y: y + 28, DX: -6,
				Anchor: picture.End})
		s.Desc += c.Words + ": " + words.Share(c.Support) + ". "
	}
	return s
}
