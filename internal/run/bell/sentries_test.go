package bell

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// Readings that tell nothing new cost a house no look; the hour, a reading that
// does, and a change of the case file do.
func TestAHouseIsLookedAtWhenThereIsSomethingToSee(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := live(t, nil, "larch-3")
		dryHour := func(shift float64) {
			for _, x := range []struct {
				logger      string
				tempC, rhPc float64
			}{{"k1", 6, 70}, {"k2", 5, 70}, {"k3", 5 + shift, 0}, {"k4", 4, 80}} {
				r := roof.Reading{Logger: x.logger, At: time.Now(), Arrived: time.Now()}
				r.Values.Set(roof.TempC, x.tempC+0.01*float64(time.Now().Minute()%7))
				if x.rhPc > 0 {
					r.Values.Set(roof.RHPct, x.rhPc)
				}
				s.log.store(t, s.Bell, "larch-3", r)
			}
		}
		for range 24 { // two hours of a reading each five minutes
			dryHour(0)
			time.Sleep(5 * time.Minute)
		}
		synctest.Wait()
		before := s.Examined()
		assert.LessOrEqual(t, before, int64(5), "of 96 readings")
		dryHour(0)
		time.Sleep(10 * time.Second)
		synctest.Wait()
		assert.Equal(t, before, s.Examined())
		dryHour(-9) // water forms at -0.3 degC
		time.Sleep(10 * time.Second)
		synctest.Wait()
		assert.Greater(t, s.Examined(), before)
		time.Sleep(30 * time.Minute)
		synctest.Wait()
		before = s.Examined()
		s.Cases.(*town).put(t, leaky) // the same file written again is another case to look at
		time.Sleep(lookEvery + time.Second)
		synctest.Wait()
		assert.Greater(t, s.Examined(), before)
		assert.Less(t, s.Behind(), time.Minute)
	})
}

// A house that is made before its loggers report is assessed again with their first
// readings, and until then no daily summary counts it as dry.
func TestAHouseMadeBeforeItsReadingsIsAssessedWithThem(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := live(t, nil, "larch-3")
		time.Sleep(10 * time.Minute)
		synctest.Wait()
		assessed := s.Assessed()
		assert.Equal(t, int64(1), assessed, "without readings")
		r := roof.Reading{Logger: "k1", At: time.Now(), Arrived: time.Now()}
		r.Values.Set(roof.TempC, 6)
		s.log.store(t, s.Bell, "larch-3", r)
		assert.True(t, s.sentries.unassessed("larch-3"))
		time.Sleep(30 * time.Second)
		synctest.Wait()
		assert.Equal(t, assessed+1, s.Assessed())
		assert.False(t, s.sentries.unassessed("larch-3"))
		time.Sleep(time.Hour)
		synctest.Wait()
		assert.Equal(t, assessed+1, s.Assessed(), "and no more before its noon")
	})
}

// Only some houses' books are at hand; the others lose nothing by it.
func TestBooksThatAreNotNeededArePutAway(t *testing.T) {
	b := newBell(t, func(*ReachOptions, *Options) {})
	first, err := b.hold(t.Context(), "house-0")
	require.NoError(t, err)
	first.book.Alerts = []*alert.Alert{{ID: "x", Condition: alert.SurfaceWet, State: alert.Acknowledged, AckBy: "ann"}}
	require.NoError(t, b.save(t.Context(), "house-0", first))
	first.mu.Unlock()
	for n := 1; n <= 2*maxBooks; n++ {
		h, err := b.hold(t.Context(), fmt.Sprint("house-", n))
		require.NoError(t, err)
		h.mu.Unlock()
	}
	assert.LessOrEqual(t, b.books.Load(), int64(maxBooks))
	assert.Nil(t, first.book)
	again, err := b.hold(t.Context(), "house-0")
	require.NoError(t, err)
	defer again.mu.Unlock()
	require.Len(t, again.book.Alerts, 1)
	assert.Equal(t, "ann", again.book.Alerts[0].AckBy)
}
