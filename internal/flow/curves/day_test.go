package curves

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestADayComesBackBitForBitAndOtherBytesAreRefused(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := day{}
		for range rapid.IntRange(0, 4).Draw(t, "keys") {
			bins := make([]Bin, 24)
			for i := range bins {
				f := func(name string) float32 { return rapid.Float32().Draw(t, name) }
				bins[i] = Bin{f("mean"), f("min"), f("max"), f("seen")}
			}
			d[Key{rapid.StringMatching("[a-z.]{0,9}").Draw(t, "position"),
				Quantity(rapid.IntRange(0, int(quantities)-1).Draw(t, "quantity"))}] = bins
		}
		b := packDay(d)
		got, err := unpackDay(b)
		require.NoError(t, err)
		require.Equal(t, d, got)
		_, err = unpackDay(b[:rapid.IntRange(0, len(b)-1).Draw(t, "cut")])
		require.Error(t, err)
		_, _ = unpackDay(rapid.SliceOf(rapid.Byte()).Draw(t, "other")) // and no panic
	})
}
