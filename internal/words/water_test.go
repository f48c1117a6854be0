package words_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/words"
)

func TestWaterIsToldBeforeARepairAndSince(t *testing.T) {
	repair, peak := time.Date(2026, 10, 2, 11, 0, 0, 0, time.UTC), time.Date(2026, 12, 1, 6, 0, 0, 0, time.UTC)
	w := words.Film{Where: "under the covering", PeakGM2: 62.3, PeakAt: peak, FormedGM2: 1900, DrippedGM2: 0.3,
		FilmH:   1741,
		FromGM2: 1, Nights: 40, Of: 58, DryByNoon: 30, WetAtNoon: 8, DryingH: hours(2.88)}
	assert.Equal(t, "Up to 62 g/m² of water lay under the covering at once; on 40 of 58 nights 1 g/m² or more formed, "+
		"a film that can be wiped off.", w.Most())
	assert.Equal(t, "1,900 g/m² formed in all and at most 62 g/m² lay at once (1 December 2026 06:00). 0 g/m² "+
		"dripped off. "+
		"A film lay for 1,741 h.", w.Amounts())
	assert.Equal(t, "On 40 of 58 nights 1 g/m² or more formed, a film that can be wiped off. It was gone by noon "+
		"after 30 of "+
		"them and still there after 8; noon was not observed after 2. Half of the films were dry within 2.9 h of "+
		"their peak.", w.Mornings())
	w.RepairBefore = repair
	assert.Equal(t, "Before the repair of 2 October 2026, up to 62 g/m² of water lay under the covering at once; "+
		"on 40 of "+
		"58 nights 1 g/m² or more formed, a film that can be wiped off.", w.Most())
	none := words.Film{Where: "on the timber", FromGM2: 1, Of: 12, RepairSince: repair}
	assert.Equal(t, "Since the repair of 2 October 2026, no night brought 1 g/m² of water or more on the timber.",
		none.Most())
	assert.Equal(t, "On 0 of 12 nights 1 g/m² or more formed, a film that can be wiped off.", none.Mornings())
}

func TestAClassOfWetnessCanBeReadWithoutTheStandard(t *testing.T) {
	assert.Equal(t, "class 4 of 5 (3 to 5)", words.TowClass("tau4", "tau3", "tau5"))
	assert.Equal(t, "class 2 of 5", words.TowClass("tau2", "tau2", "tau2"))
	assert.Equal(t, "class not known of 5", words.TowClass("", "", ""))
}
