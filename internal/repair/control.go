package repair

func (a *assessor) control(r *Result, i int, fromMS, untilMS int64) {
	// The untouched place joins next; until then the answer carries none.
}
