package repair

// patience is how many evenings beyond the run a verdict outlives an evening on
// which its conditions fail while the interval still keeps off 0. Longer would
// only cost time: the answer of one evening must not depend on how long the
// program has been running.
const patience = 3

// findings are the looks behind one verdict, the latest first.
type findings struct {
	looks   []*look
	verdict Verdict
	firm    bool // the rule of successive evenings decided
}

// decide replays as many evenings as the rule needs, latest first, each fit
// starting from the next evening's optimum. The answer for a date depends on
// the readings up to it alone, so a one-shot assessment and a daemon that looked
// every evening say the same.
func (j *judge) decide(ends []int) findings {
	f := findings{verdict: TooEarly}
	if len(ends) == 0 {
		return f
	}
	at := func(i int) *look {
		for len(f.looks) <= i {
			var from *fit
			if n := len(f.looks); n > 0 {
				from = f.looks[n-1].fit
			}
			end := len(ends) - 1 - len(f.looks)
			if end < 0 {
				return nil
			}
			f.looks = append(f.looks, j.evaluate(ends[end], from, j.draws))
		}
		return f.looks[i]
	}
	last := at(0)
	if last != nil && last.fit != nil && j.terms.loftSwapBin == 0 && j.terms.voidSwapBin == 0 {
		if found := j.undeclaredSwaps(last); len(found) > 0 {
			j.allow(found)
			j.wandered = false
			f.looks = nil
			last = at(0)
		}
	}
	f.verdict = j.provisional(last)
	if last == nil || !last.open || last.straddles() {
		return f
	}
	if last.risk.low > 0 {
		if held(at, j.worked, runWorked) {
			f.verdict, f.firm = Worked, true
		}
	} else if held(at, j.worse, runWorse) {
		f.verdict, f.firm = GotWorse, true
	}
	return f
}

// held reports whether the condition held on n successive evenings of late and
// the verdict has not been withdrawn since.
func held(at func(int) *look, cond func(*look) bool, n int) bool {
	streak, misses := 0, 0
	for i := 0; ; i++ {
		l := at(i)
		if l == nil || !l.open || l.straddles() {
			return false
		}
		if cond(l) {
			if streak++; streak == n {
				return true
			}
			continue
		}
		streak = 0
		if misses++; misses > patience {
			return false
		}
	}
}

// provisional is the answer while no verdict is firm. Weather that may hardly
// have wetted the unrepaired roof shows nothing, however many nights of it.
func (j *judge) provisional(l *look) Verdict {
	if l == nil || !l.open {
		return TooEarly
	}
	if !l.fewWet() && (l.reduction.high < smallEffectPct || len(l.trial.validA) >= patienceNights) {
		return NoChangeShown
	}
	return TooEarly
}
