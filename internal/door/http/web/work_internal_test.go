package web

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

// A page that sends somebody to look says what to beware of; what two surfaces
// share is told once.
func TestWhatTheWorkChangedIsToldOnceWithItsCautions(t *testing.T) {
	at := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	loft := words.Exchange{What: "loft_ventilation", Kind: words.Changed, At: at}
	void := words.Exchange{What: "void_ventilation", Kind: words.ExchangeUnshown, At: at}
	other := void
	other.Place, other.Kind = "the batten void (void-2)", words.ExchangeEarly
	var b repairsBody
	b.tell([]words.Exchange{loft})
	assert.Empty(t, b.Cautions)
	b.tell([]words.Exchange{loft, void})
	b.tell([]words.Exchange{void, other})
	assert.Equal(t, []words.Exchange{loft, void, other}, b.Changed)
	assert.NotEmpty(t, b.Cautions)
}
