package roofworlds_test

import (
	"bytes"
	"iter"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// files turns a measured winter into the two files that a consultant brings.
func files(t testing.TB, m *roofsim.Measured) (caseYAML, readingsCSV []byte) {
	t.Helper()
	caseYAML, err := casefile.Format(m.Case)
	require.NoError(t, err)
	var out bytes.Buffer
	n, err := csvreadings.Write(&out, each(m.Readings))
	require.NoError(t, err)
	require.Equal(t, len(m.Readings), n)
	return caseYAML, out.Bytes()
}

func each(readings []roof.Reading) iter.Seq2[roof.Reading, error] {
	return func(yield func(roof.Reading, error) bool) {
		for _, r := range readings {
			if !yield(r, nil) {
				return
			}
		}
	}
}

func TestASimulatedWinterIsAGoodCaseAndReadingsFile(t *testing.T) {
	for i, cause := range roofworlds.Causes() {
		w := roofworlds.Draw(uint64(40+i), cause)
		eaves, sealed := 25.0, 0.2
		winter := roofsim.Run(w, roofsim.Options{Days: 12,
			Repairs: []roofsim.Repair{{At: w.Start.AddDate(0, 0, 6), VoidEavesMM: &eaves, CeilingLeakFactor: sealed}}})
		m := roofworlds.Kit{Interval: 30 * time.Minute, SecondSlope: true, Faults: roofworlds.RoughFaults(),
			Blur:  roofworlds.Blur{UnknownShare: 0.3, WrongShare: 0.2},
			Swaps: []roofsim.Swap{{Position: "void", At: w.Start.AddDate(0, 0, 6), Declared: true}}}.Measure(winter, uint64(i))
		yaml, csv := files(t, m)
		c, faults := casefile.Parse("case.yaml", yaml)
		require.Empty(t, faults, "%s\n%s", cause, yaml)
		assert.Equal(t, m.Case.ID, c.ID)
		assert.Equal(t, m.Case.Positions, c.Positions)
		assert.Equal(t, m.Case.Events[0].Treats, c.Events[0].Treats)
		kept := 0
		_, err := csvreadings.Read("readings.csv", bytes.NewReader(csv), winter.Start.AddDate(0, 1, 0),
			func(roof.Reading, int) error { kept++; return nil })
		require.NoError(t, err)
		assert.Equal(t, len(m.Readings), kept, cause)
	}
}
