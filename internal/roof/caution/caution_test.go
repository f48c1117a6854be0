package caution

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEveryHazardOfTheTableIsCarriedWithItsStanding(t *testing.T) {
	file, err := os.Open(filepath.Join("..", "..", "..", "testdata", "tables", "safety.csv"))
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	var want []string
	for _, row := range rows[1:] {
		want = append(want, row[0])
		for _, c := range all {
			if c.Hazard == row[0] {
				assert.Equal(t, strings.HasPrefix(row[3], "read"), c.Read, "%s: %s", row[0], row[3])
			}
		}
	}
	assert.Equal(t, want, hazards())
}

func TestEveryActivityIsServedAndEveryHazardReachesOne(t *testing.T) {
	reached := map[string]bool{}
	for _, a := range activities {
		assert.NotEmpty(t, Essential(a), a)
		for _, c := range For(a) {
			reached[c.Hazard] = true
			assert.NotEmpty(t, c.Text)
			assert.NotEmpty(t, c.Source)
		}
	}
	for _, h := range hazards() {
		assert.True(t, reached[h], h)
	}
	assert.Empty(t, For())
	assert.Contains(t, Everywhere, "Local")
}

func TestWhateverClosesOrOpensAirPathsWarnsOfFluesAndBats(t *testing.T) {
	for _, a := range []Activity{CutOpenings, SealCeiling, LookInLoft} {
		var names []string
		for _, c := range Essential(a) {
			names = append(names, c.Hazard)
		}
		assert.Contains(t, names, "flues and combustion air", a)
		assert.Contains(t, names, "bats", a)
		assert.Contains(t, names, "electrics", a)
	}
}

func TestCautionsComeOnceHoweverManyActivitiesShareThem(t *testing.T) {
	seen := map[string]int{}
	for _, c := range For(activities...) {
		seen[c.Hazard]++
	}
	for h, n := range seen {
		assert.Equal(t, 1, n, h)
	}
	assert.Len(t, seen, len(hazards()))
}

var activities = []Activity{LookInLoft, LiftCover, CutOpenings, SealCeiling, FitLogger, WorkOutside}

func hazards() (names []string) {
	for _, c := range all {
		names = append(names, c.Hazard)
	}
	return names
}
