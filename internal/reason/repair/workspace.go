package repair

// workspace holds the large arrays that every fit of a site needs while it runs and
// none afterwards. One goroutine judges a site.
type workspace struct {
	lanes [firstOutput]*lane
	jac   [2][paramCount][]float64
	wgt   [2][]float64
	tmp   []float64
	with  [laneGroup]*lane // of the draws
	bare  [laneGroup]*lane
}

func (s *site) workspace() *workspace {
	if s.work != nil {
		return s.work
	}
	b := &workspace{tmp: make([]float64, s.n/2+1)}
	for k := range b.lanes {
		l := newLane(s.n)
		switch k {
		case pLoftCalm, pLoftLift, pStepLift:
			l.course.loft = make([]float64, s.n)
		case pVoidCalm, pVoidLift, pStepVoid:
			l.course.void = make([]float64, s.n)
		case pWoodSun:
			l.course.wood = make([]float64, s.n)
		}
		b.lanes[k] = l
	}
	for i := range laneGroup {
		b.with[i], b.bare[i] = newLane(s.n), newLane(s.n)
		b.with[i].course, b.bare[i].course = newCourse(s.n), newCourse(s.n)
	}
	for o := range 2 {
		for k := range b.jac[o] {
			b.jac[o][k] = make([]float64, s.n/2+1)
		}
		b.wgt[o] = make([]float64, s.n/2+1)
	}
	s.work = b
	return b
}
