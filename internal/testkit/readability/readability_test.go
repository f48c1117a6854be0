package readability

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestSyllablesOfKnownWords(t *testing.T) { // counted by hand
	for word, want := range map[string]int{"roof": 1, "water": 2, "night": 1, "formed": 1, "loft": 1, "ceiling": 2,
		"electrician": 4, "tonight": 2, "table": 2, "wetted": 2, "12": 1} {
		assert.Equal(t, want, Syllables(word), word)
	}
}

func TestGradeTellsPlainFromHard(t *testing.T) {
	assert.Less(t, Grade("Water forms under the slates. Keep the hatch shut."), 4.0)
	assert.Greater(t, Grade("Interstitial condensation accumulates predominantly underneath impermeable coverings."), 15.0)
}
