package buildup

import (
	"fmt"
)

func anyNot(list []Finding, v Verdict) bool {
	for _, f := range list {
		if f.Verdict != v {
			return true
		}
	}
	return false
}

// overall joins the rules that decide how vapour leaves.
func (k *check) overall() (Verdict, string) {
	v := Sound
	for _, f := range k.out {
		if !f.Vapour {
			continue
		}
		switch f.Verdict {
		case Fault:
			return Fault, "On paper this roof keeps vapour in: " + f.What
		case Ask:
			v = Ask
		}
	}
	if v == Ask {
		return Ask, "On paper this roof cannot be judged yet: " + k.questions()
	}
	return Sound, "On paper this build is sound: vapour has a way out."
}

// others counts the faults that do not decide how vapour leaves.
func (k *check) others() int {
	n := 0
	for _, f := range k.out {
		if f.Verdict == Fault && !f.Vapour {
			n++
		}
	}
	return n
}

func (k *check) questions() string {
	n, first := 0, ""
	for _, f := range k.out {
		if f.Vapour && f.Verdict == Ask {
			if n == 0 {
				first = f.What
			}
			n++
		}
	}
	if n > 1 {
		return fmt.Sprintf("%s Look at %d more below.", first, n-1)
	}
	return first
}
