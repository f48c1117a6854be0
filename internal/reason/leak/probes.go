package leak

import "dewcase/internal/words"

// Probes is what wood read at the wet spot settles, measured on the boards of the
// package comment (TestProbes): more water than the air gives, before any work, and
// a leak that was stopped.
func Probes() words.Probes {
	return words.Probes{Boards: 400, Shown: words.Rate{N: 362, Pct: 90, Low: 87, High: 93}, DryShown: 3, Dry: 800,
		Stopped: words.Rate{N: 268, Pct: 67, Low: 62, High: 71},
		ByHand:  words.Rate{N: 238, Pct: 60, Low: 55, High: 64}, Days: 60}
}
