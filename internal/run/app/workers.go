package app

import (
	"runtime"

	"golang.org/x/sync/errgroup"
)

// SideBySide has each processor take the next piece of work.
func SideBySide(n int, do func(i int)) {
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range n {
		g.Go(func() error {
			do(i)
			return nil
		})
	}
	_ = g.Wait() // no piece returns an error
}
