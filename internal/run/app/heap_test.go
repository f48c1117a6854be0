package app

import (
	"runtime/metrics"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestALargeHeapIsSweptEarlier(t *testing.T) {
	require.Equal(t, usualHeapPercent, heapPercent(40<<20))
	require.Equal(t, largeHeapPercent, heapPercent(400<<20))
	live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(live)
	require.Equal(t, metrics.KindUint64, live[0].Value.Kind(), "the runtime tells what stays of the heap")
}
