package words

// House is what the surfaces of one roof show together after work on the loft
// that they share.
type House struct {
	Surfaces []string
	Risk     Change
	Worked   bool
	Evenings int
	Seconded bool // it stands by the loft's temperature too
	// Taken is why a verdict on one of the surfaces was taken back; "" where none was.
	Taken string
}

// String is the answer for the house as a clause.
func (h House) String() string {
	said := h.Risk.Untold()
	switch {
	case h.Worked:
		if said = h.Risk.Moved(h.Evenings); h.Seconded {
			said += "; " + Seconded
		}
	case h.Taken != "":
		said = h.Risk.Clause().String() + ", but " + h.Taken
	}
	return List(h.Surfaces) + " together: " + said
}

// Seconded says why a fall counts as shown though its own interval takes in none.
const Seconded = "the loft's temperature shows the change of air by itself, so that less certainty by humidity is " +
	"enough"
