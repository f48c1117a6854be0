package assessment

// House is what the surfaces of one repair show together, told at the first of
// them; "" elsewhere and where nothing is told.
func (a *Assessment) House(i int) string {
	h := a.Repairs[i].House
	if h == nil || i > 0 && a.Repairs[i-1].House == h {
		return ""
	}
	return h.Reason
}
