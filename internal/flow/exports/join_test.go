package exports

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

// A history of changes writes each quantity when it changes. Within the stated time
// they are one reading, whatever the order of the rows; without it none is moved.
func TestHalvesOfAHistoryOfChangesJoinWithinTheStatedTime(t *testing.T) {
	rows := []string{
		"sensor.k7_loft_temperature,4.3,2026-11-25T06:00:00Z",
		"sensor.k7_loft_humidity,96.0,2026-11-25T06:00:40Z",
		"sensor.k7_loft_temperature,4.5,2026-11-25T06:01:00Z", // its humidity was told, and is not told again
		"sensor.k7_loft_humidity,95.0,2026-11-25T06:10:00Z",
		"sensor.k7_loft_temperature,4.9,2026-11-25T06:11:30Z", // 90 s, at the limit
		"sensor.k7_loft_temperature,5.1,2026-11-25T06:20:00Z",
		"sensor.k7_loft_humidity,94.0,2026-11-25T06:21:31Z", // a second over it
		"sensor.k7_void_humidity,99.0,2026-11-25T06:00:10Z",
	}
	read := func(rows []string, pair time.Duration) (out []string) {
		text := "entity_id,state,last_changed\n" + strings.Join(rows, "\n") + "\n"
		p, err := Look(textOf("a.csv", []byte(text)), Answers{TempUnit: "C", Pair: pair}, House{Zone: "UTC"})
		require.NoError(t, err)
		sum, err := p.Read(now, func(r roof.Reading, line int) error {
			var v []string
			for q := range roof.Quantity(roof.QuantityCount) {
				if x, ok := r.Values.Get(q); ok {
					v = append(v, fmt.Sprint(x))
				}
			}
			out = append(out, r.Logger+" "+r.At.Format("15:04:05")+" "+strings.Join(v, " "))
			return nil
		})
		require.NoError(t, err)
		assert.Equal(t, len(rows), sum.Good, "every row is good")
		return out
	}
	assert.Len(t, read(rows, 0), len(rows))
	want := []string{"k7-loft 06:00:00 4.3 96", "k7-loft 06:01:00 4.5", "k7-loft 06:10:00 4.9 95", "k7-loft 06:20:00 5.1",
		"k7-loft 06:21:31 94", "k7-void 06:00:10 99"}
	for range 5 {
		assert.Equal(t, want, read(rows, 90*time.Second))
		rand.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	}
}
