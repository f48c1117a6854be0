package assessment

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"dewcase/internal/cause"
	"dewcase/internal/roof"
	"dewcase/internal/series"
)

func TestSupportSumsToOneAsPrinted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		weights := rapid.SliceOfN(rapid.Float64Range(0, 1), 7, 7).Draw(t, "weights")
		f := cause.Finding{}
		total := 1e-9
		for _, w := range weights {
			total += w
		}
		for i, w := range weights {
			if i == 0 {
				w += 1e-9
			}
			f.Causes = append(f.Causes, cause.Support{Support: w / total})
		}
		sum := 0.0
		for _, c := range diagnosis(f).Causes {
			sum += c.Support
		}
		assert.InDelta(t, 1, sum, 1e-12)
	})
}

// A figure that is null because a probe stood still says so.
func TestReadingsKeptOutAreNamedBesideTheSurface(t *testing.T) {
	set := &series.Set{Case: &roof.Case{Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir}, {ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}}}}
	set.Courses = []series.Course{{Position: set.Case.Positions[0], Excluded: 200, Flagged: map[roof.Flags]int{roof.FlagFlatLine: 200, roof.FlagJump: 3}}, {Position: set.Case.Positions[1]}}
	notes := measured(set).Surfaces[0].Notes
	assert.Contains(t, notes, "readings at void kept out of hours: 200, because the logger showed no movement at all for 8 h while its neighbours moved")
	assert.Len(t, notes, 2)
}
