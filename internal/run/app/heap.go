package app

import (
	"context"
	"os"
	"runtime/debug"
	"runtime/metrics"
	"time"
)

const (
	// largeHeap is what stays of the heap from where Go's usual growth before it is
	// swept, as much again, would be memory that a small machine misses.
	largeHeap = 128 << 20
	// largeHeapPercent is by how much a large one may grow.
	largeHeapPercent = 50
	usualHeapPercent = 100 // Go's own: readings that stream in are mostly garbage
	heapLookedAt     = time.Minute
)

// heapPercent is how much a heap may grow before it is swept, of which so much stayed
// the last time.
func heapPercent(liveBytes uint64) int {
	if liveBytes > largeHeap {
		return largeHeapPercent
	}
	return usualHeapPercent
}

// tendHeap sweeps a large heap earlier, until ctx ends, unless GOGC says otherwise.
func tendHeap(ctx context.Context) {
	if os.Getenv("GOGC") != "" {
		return
	}
	live := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	percent := usualHeapPercent
	tick := time.NewTicker(heapLookedAt)
	defer tick.Stop()
	for {
		metrics.Read(live)
		if now := heapPercent(live[0].Value.Uint64()); now != percent {
			percent = now
			debug.SetGCPercent(percent)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}
