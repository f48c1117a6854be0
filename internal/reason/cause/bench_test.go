package cause

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A winter of six loggers: what one answer costs.
func BenchmarkFind(b *testing.B) {
	for name, step := range map[string]time.Duration{"1-minute": time.Minute, "5-minute": 5 * time.Minute} {
		b.Run(name, func(b *testing.B) {
			set := sketch{days: 150, meanC: 3, step: step}.set(b)
			b.ReportAllocs()
			for b.Loop() {
				require.Len(b, Find(set, Options{}).Causes, 7)
			}
		})
	}
}
