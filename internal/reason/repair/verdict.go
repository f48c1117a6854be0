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
	firm    bool   // the rule of successive evenings decided
	house   *joint // it decided for all surfaces of the loft together
}

// holds says that the conditions of the verdict held i evenings ago.
func (f findings) holds(j *judge, i int) bool {
	if f.house != nil {
		return f.house.j.worked(f.house.at(i))
	}
	return j.worked(f.looks[i]) || j.worse(f.looks[i])
}

// evenings replays the looks at one surface, latest first, each fit starting from
// the next evening's optimum. The answer for a date depends on the readings up to
// it alone, so a one-shot assessment and a daemon that looked every evening say
// the same.
type evenings struct {
	j     *judge
	ends  []int
	looks []*look
}

// at is the look i evenings ago; nil before the first.
func (e *evenings) at(i int) *look {
	for len(e.looks) <= i {
		var from *fit
		n := len(e.looks)
		if n > 0 {
			from = e.looks[n-1].fit
		}
		if n >= len(e.ends) {
			return nil
		}
		e.looks = append(e.looks, e.j.evaluate(e.ends[len(e.ends)-1-n], from, e.j.draws))
	}
	return e.looks[i]
}

// decide replays as many evenings as the rule needs.
func (e *evenings) decide() findings {
	f := findings{verdict: TooEarly}
	j := e.j
	last := e.at(0)
	if last != nil && last.fit != nil && j.terms.loftSwapBin == 0 && j.terms.voidSwapBin == 0 {
		if found := j.undeclaredSwaps(last); len(found) > 0 {
			j.allow(found)
			j.wandered = false
			e.looks = nil
			last = e.at(0)
		}
	}
	f.verdict = j.provisional(last)
	if last != nil && last.open && !last.straddles() {
		if last.risk.pct > 0 {
			if held(e.at, j.worked, runWorked) {
				f.verdict, f.firm = Worked, true
			}
		} else if held(e.at, j.worse, runWorse) {
			f.verdict, f.firm = GotWorse, true
		}
	}
	f.looks = e.looks
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
