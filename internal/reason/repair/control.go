package repair

import "dewcase/internal/words"

// control judges an untouched place of the same kind by the same rule. It can
// only take a verdict away: the two slopes share the loft's air, so that a
// subtraction would take away real effect and sharpen nothing (on unrepaired
// roofs the errors of two slopes hang together by less than a half).
func (a *assessor) control(r *Result, i int, fromMS, untilMS int64, j *judge, f findings) {
	id, ok := a.untouched(r)
	if !ok {
		return
	}
	e := a.repairs[i]
	cr := Credit{VoidVentilation: !j.s.onLoft, LoftVentilation: j.s.onLoft, Ceiling: j.s.onLoft}
	o, err := a.judge(e, id, fromMS, untilMS, cr)
	c := &Control{Surface: id, Air: a.set.Course(id).Position.Meets, Verdict: TooEarly}
	r.Control = c
	if err != nil {
		c.Text = "the untouched place " + id + " cannot be judged: it lacks " + err.Error()
		return
	}
	back := evenings{j: o, ends: o.ends()}
	if len(back.ends) == 0 {
		c.Text = "the untouched place " + id + " has no whole night after the repair"
		return
	}
	var last *look
	if f.firm {
		g := back.decide()
		c.Verdict, last = g.verdict, g.looks[0]
	} else {
		last = back.at(0)
		c.Verdict = o.provisional(last)
	}
	if last == nil || !last.open {
		c.Text = "the untouched place " + id + " cannot be judged yet"
		if last != nil && last.needs != "" {
			c.Text += "; it needs " + last.needs
		}
		return
	}
	c.AtRisk = last.risk.given()
	c.Text = last.risk.said(words.RiskHours+" at the untouched place "+id).Clause().String() +
		"; it shares the loft's air and is expected to dry somewhat as well"
	if f.firm && c.Verdict == f.verdict {
		c.Vetoes = true
		r.Verdict = NoChangeShown
		r.Reason = "the untouched place changed as well, so that the change cannot be put down to the work"
	}
}

// untouched finds a surface of the same kind that the repair left untouched.
func (a *assessor) untouched(r *Result) (string, bool) {
	own := a.set.Course(r.Surface).Position
	air := a.set.Course(r.Air).Position
	for _, p := range a.set.Case.Surfaces() {
		if p.ID == own.ID || p.Meets == "" || p.Meets == own.Meets {
			continue
		}
		m, ok := a.set.Case.Position(p.Meets)
		if ok && m.Place == air.Place && p.Place == own.Place && a.set.Case.IsUntouched(p) {
			return p.ID, true
		}
	}
	return "", false
}
