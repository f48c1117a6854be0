package caution_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof/caution"
)

// What no activity reached would be missing here.
func TestEveryHazardOfTheTableIsCarriedWithItsStanding(t *testing.T) {
	file, err := os.Open(filepath.Join("..", "..", "..", "testdata", "tables", "safety.csv"))
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	var want []string
	for _, row := range rows[1:] {
		want = append(want, row[0])
		for _, c := range caution.For(activities...) {
			if c.Hazard == row[0] {
				assert.Equal(t, strings.HasPrefix(row[3], "read"), c.Read, "%s: %s", row[0], row[3])
			}
		}
	}
	assert.Equal(t, want, hazards())
}

func TestEveryActivityIsServed(t *testing.T) {
	for _, a := range activities {
		assert.NotEmpty(t, caution.Essential(a), a)
		for _, c := range caution.For(a) {
			assert.NotEmpty(t, c.Text)
			assert.NotEmpty(t, c.Source)
		}
	}
	assert.Empty(t, caution.For())
	assert.Contains(t, caution.Everywhere, "Local")
}

func TestWhateverClosesOrOpensAirPathsWarnsOfFluesAndBats(t *testing.T) {
	for _, a := range []caution.Activity{caution.CutOpenings, caution.SealCeiling, caution.LookInLoft} {
		var names []string
		for _, c := range caution.Essential(a) {
			names = append(names, c.Hazard)
		}
		assert.Contains(t, names, "flues and combustion air", a)
		assert.Contains(t, names, "bats", a)
		assert.Contains(t, names, "electrics", a)
	}
}

func TestCautionsComeOnceHoweverManyActivitiesShareThem(t *testing.T) {
	seen := map[string]int{}
	for _, c := range caution.For(activities...) {
		seen[c.Hazard]++
	}
	for h, n := range seen {
		assert.Equal(t, 1, n, h)
	}
	assert.NotEmpty(t, seen)
}

var activities = []caution.Activity{caution.LookInLoft, caution.LiftCover, caution.CutOpenings,
	caution.SealCeiling, caution.FitLogger, caution.WorkOutside}

func hazards() (names []string) {
	for _, c := range caution.For(activities...) {
		names = append(names, c.Hazard)
	}
	return names
}
