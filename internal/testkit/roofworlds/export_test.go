//go:build trials

package roofworlds_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/testkit/roofworlds"
)

// TestExport writes simulated winters as folders of case.yaml, readings.csv and
// truth.txt, for `dewcase assess` to be judged on from outside:
//
//	DEWCASE_EXPORT=DIR DEWCASE_TRIALS=3 go test -tags trials -run TestExport ./internal/testkit/roofworlds
func TestExport(t *testing.T) {
	dir := os.Getenv("DEWCASE_EXPORT")
	require.NotEmpty(t, dir, "DEWCASE_EXPORT names the folder to write to")
	number := func(name string, or int) int {
		if n, err := strconv.Atoi(os.Getenv(name)); err == nil {
			return n
		}
		return or
	}
	each, seed := number("DEWCASE_TRIALS", 3), number("DEWCASE_SEED", 1)
	for i, cause := range roofworlds.Causes() {
		for k := range each {
			w, truth, ok := roofworlds.SecondKind.DrawProven(uint64(seed+1000*i+k), cause, 120)
			require.True(t, ok, cause)
			m := roofworlds.Kit{Interval: 10 * time.Minute, Faults: roofsim.FieldFaults()}.Measure(
				roofsim.Run(w, roofsim.Options{Days: 120}), w.Seed)
			yaml, csv := files(t, m)
			to := filepath.Join(dir, fmt.Sprintf("%s-%d", cause, k))
			require.NoError(t, os.MkdirAll(to, 0o755))
			require.NoError(t, os.WriteFile(filepath.Join(to, "case.yaml"), yaml, 0o644))
			require.NoError(t, os.WriteFile(filepath.Join(to, "readings.csv"), csv, 0o644))
			require.NoError(t, os.WriteFile(filepath.Join(to, "truth.txt"),
				fmt.Appendf(nil, "right: %v\n%+v\n", roofworlds.Findings(cause), truth), 0o644))
		}
	}
}
