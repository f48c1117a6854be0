package series

import "sort"

// leftOut reports whether a person left a reading of a position out of all
// evidence.
func (b *Builder) leftOut(position string, ms int64) bool {
	for _, x := range b.c.Excluded {
		if x.Of(position) && ms >= x.From.UnixMilli() && ms < x.To.UnixMilli() {
			return true
		}
	}
	return false
}

// part ends every observed interval that a stretch left out touches: nothing runs
// through it, however short it is.
func (b *Builder) part(r *run, position string) {
	for _, x := range b.c.Excluded {
		if !x.Of(position) {
			continue
		}
		from, to := x.From.UnixMilli(), x.To.UnixMilli()
		for _, t := range r.tracks.tracks() {
			i := sort.Search(len(t.AtMS), func(i int) bool { return t.AtMS[i] > from }) - 1
			for i = max(i, 0); i < len(t.AtMS)-1 && t.AtMS[i] < to; i++ {
				if t.AtMS[i+1] > from {
					t.Joined[i] = false
				}
			}
		}
	}
}
