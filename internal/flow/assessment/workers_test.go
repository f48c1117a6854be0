package assessment

import (
	"encoding/json"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

func TestAnAnswerIsTheSameWhoeverWorksItOut(t *testing.T) {
	set := worked(t)
	a := Of(set)
	a.Take(Foresee(set, a, nil))
	want, err := json.Marshal(a.Assessment)
	require.NoError(t, err)
	for name, by := range map[string]roof.Workers{
		"backwards": func(n int, do func(int)) {
			for i := range n {
				do(n - 1 - i)
			}
		},
		"at once": func(n int, do func(int)) {
			var g sync.WaitGroup
			for i := range n {
				g.Go(func() { do(i) })
			}
			g.Wait()
		},
	} {
		a, ahead := Whole(by, set)
		a.Take(ahead)
		got, err := json.Marshal(a.Assessment)
		require.NoError(t, err)
		require.Equal(t, string(want), string(got), name)
	}
}
