package web_test

import (
	"encoding/csv"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The void's humidities as fractions: the hours at the covering cannot be told,
// and every page that would tell them says so first.
func TestPagesConcludeNothingFromUnitsThatCannotBe(t *testing.T) {
	sound, _ := house(t)
	h, f := ownHouse(t)
	set := f.sets["larch-end-4"]
	void := set.Course("void")
	require.NotNil(t, void)
	void.RHPct.Value, void.VapourPa.Value = slices.Clone(void.RHPct.Value), slices.Clone(void.VapourPa.Value)
	for i := range void.RHPct.Value {
		void.RHPct.Value[i] /= 100
	}
	for i := range void.VapourPa.Value {
		void.VapourPa.Value[i] /= 100
	}
	for path, want := range map[string]string{
		"/cases/larch-end-4?surface=slate": "cannot be told: the figures of a logger cannot be right",
		"/":                                "reported no humidity over",
		"/cases/larch-end-4/diagnosis":     "in per cent; if these are fractions",
		"/cases/larch-end-4/repairs":       "in per cent; if these are fractions",
	} {
		_, body, _ := get(t, sound, path)
		assert.NotContains(t, body, want, path)
		_, body, _ = get(t, h, path)
		assert.NotContains(t, body, "stayed dry", path)
		assert.NotContains(t, body, "wet under the covering on", path)
		assert.Equal(t, 1, strings.Count(body, want), "%s says it once", path)
	}
	const exhibit = "/cases/larch-end-4/nights.csv?surface=slate"
	observed := func(pages http.Handler) (share float64) {
		_, body, _ := get(t, pages, exhibit)
		rows, err := csv.NewReader(strings.NewReader(body)).ReadAll()
		require.NoError(t, err)
		for _, r := range rows[1:] {
			x, err := strconv.ParseFloat(r[6], 64)
			require.NoError(t, err)
			share += x
		}
		return share
	}
	assert.Positive(t, observed(sound))
	assert.Zero(t, observed(h), "no night of the exhibit counts as observed")
}
