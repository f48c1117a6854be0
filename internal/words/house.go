package words

// House is what the surfaces of one roof show together after work on the loft
// that they share.
type House struct {
	Surfaces []string
	Risk     Change
	Worked   bool
	Evenings int
	// Taken is why a verdict on one of the surfaces was taken back; "" where none was.
	Taken string
}

// String is the answer for the house as a clause.
func (h House) String() string {
	said := h.Risk.Untold()
	switch {
	case h.Worked:
		said = h.Risk.Moved(h.Evenings)
	case h.Taken != "":
		said = h.Risk.Clause().String() + ", but " + h.Taken
	}
	return List(h.Surfaces) + " together: " + said
}
