package assessment

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/repair"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
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

// A figure that is null because a probe was stuck says so.
func TestReadingsKeptOutAreNamedBesideTheSurface(t *testing.T) {
	set := &series.Set{Case: &roof.Case{Property: roof.Property{Zone: time.UTC},
		Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir},
			{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}}}}
	set.Courses = []series.Course{{Position: set.Case.Positions[0], Excluded: 200,
		Flagged: map[roof.Flags]int{roof.FlagFlatLine: 200, roof.FlagJump: 3}}, {Position: set.Case.Positions[1]}}
	notes := measured(set).Surfaces[0].Notes
	assert.Contains(t, notes, "readings at void kept out of hours: 200, because the probe showed no movement "+
		"for 8 h while its neighbours moved")
	assert.Len(t, notes, 2)
}

// The contract: where changes is absent, what a repair is credited with is
// inferred from treats and the answer says so.
func TestAVerdictSaysWhatTheRepairIsCreditedWith(t *testing.T) {
	c := &roof.Case{Property: roof.Property{Zone: time.UTC},
		Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir},
			{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}}}
	c.Events = []roof.Event{{At: time.Unix(0, 0), Kind: roof.Repair, Treats: []string{"slate"}}}
	inferred := repair.Assess(&series.Set{Case: c}, repair.Options{})
	c.Events[0].Changes = []roof.Change{roof.VoidVentilation}
	declared := repair.Assess(&series.Set{Case: c}, repair.Options{})
	assert.Contains(t, strings.Join(inferred[0].Notes, " "), "inferred from the places it treats")
	assert.Contains(t, strings.Join(declared[0].Notes, " "), "as the event declares")
	assert.NotEmpty(t, inferred[0].Reason)
}

func TestARepairWithoutAVerdictIsNamed(t *testing.T) {
	c := &roof.Case{Property: roof.Property{Zone: time.UTC},
		Positions: []roof.Position{{ID: "void", Place: roof.BattenVoidAir}},
		Events:    []roof.Event{{At: time.Unix(0, 0), Kind: roof.Repair, What: "vents opened"}}}
	a := Of(&series.Set{Case: c})
	assert.Empty(t, a.Repairs)
	assert.Contains(t, strings.Join(a.Notes, " "), `the repair of 1 January 1970 ("vents opened") has no verdict`)
}
