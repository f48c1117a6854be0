package repair

func (a *assessor) sensitivity(r *Result, j *judge, l *look, fromMS, untilMS int64) {
}
