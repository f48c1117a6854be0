package manual_test

import (
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/manual"
)

// What the program shows is what the source says, as Go's own tool reads it.
func TestTheProgramSaysWhatTheSourceSays(t *testing.T) {
	words := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	for name, pkg := range map[string]string{"cause": "reason/cause", "repair": "reason/repair",
		"predict": "reason/predict", "leak": "reason/leak", "mechanism": "reason/mechanism", "alerts": "flow/watch",
		"build-up": "reason/buildup", "openings": "reason/openings", "air": "physics/psychro",
		"trials": "physics/roofsim"} {
		topic, ok := manual.Find(name)
		require.True(t, ok, name)
		text, err := topic.Text()
		require.NoError(t, err)
		said, err := exec.Command("go", "doc", "-short=false", "dewcase/internal/"+pkg).Output()
		require.NoError(t, err)
		first := strings.SplitN(string(said), "\n\n", 2)[1] // after the package clause
		body, _, _ := strings.Cut(first, "\n\nconst ")
		for _, p := range strings.Split(body, "\n\n")[:1] {
			assert.Contains(t, words(text), words(p), name)
		}
		html, err := topic.HTML()
		require.NoError(t, err)
		assert.NotContains(t, string(html), "<script")
		assert.GreaterOrEqual(t, strings.Count(string(html), "<p>"), 1, name)
	}
	assert.Len(t, manual.Topics(), 10)
	_, ok := manual.Find("nothing")
	assert.False(t, ok)
}
