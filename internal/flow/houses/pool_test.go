package houses_test

import (
	"encoding/json"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/houses"
	"dewcase/internal/roof"
)

// However the houses are divided, the instances' counts add up to those of one that
// keeps all, also after they went through JSON.
func TestCountsOfInstancesAddUpToThoseOfOne(t *testing.T) {
	for seed := range uint64(30) {
		r := rand.New(rand.NewPCG(seed, 2))
		whole := houses.NewCounter(now)
		parts := []*houses.Counter{houses.NewCounter(now), houses.NewCounter(now), houses.NewCounter(now)}
		for n := range r.IntN(200) {
			one := random(r, n)
			again := one
			whole.Add(&one)
			parts[r.IntN(len(parts))].Add(&again)
		}
		var all []houses.Instance
		for _, p := range parts {
			said, err := json.Marshal(p.Figures())
			require.NoError(t, err)
			var f houses.Figures
			require.NoError(t, json.Unmarshal(said, &f))
			all = append(all, houses.Instance{Name: "a", Figures: &f})
		}
		pooled := houses.Pool(append(all, houses.Instance{Name: "silent", Failed: "it is away"}))
		want := whole.Figures()
		want.Wettest, want.Unhelped, want.LongestSilent = nil, nil, nil
		assert.Equal(t, want, pooled.Figures)
		assert.Equal(t, 1, pooled.Missing)
	}
}

func TestPooledCountsAreAsOfTheOldest(t *testing.T) {
	old, young := houses.NewCounter(now.Add(-time.Hour)).Figures(), houses.NewCounter(now).Figures()
	p := houses.Pool([]houses.Instance{{Figures: &young}, {Figures: &old}, {}})
	assert.Equal(t, now.Add(-time.Hour), p.Figures.At)
	assert.Equal(t, map[roof.HouseNeed]int{}, p.Figures.Needs)
}
