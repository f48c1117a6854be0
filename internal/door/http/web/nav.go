package web

// destination is one of the five places of a house's pages, with the pages
// under it.
type destination struct {
	Name  string
	Pages []subpage
	Here  bool
}

// Path is where the destination itself leads: to its first page.
func (d destination) Path() string { return d.Pages[0].Path }

// subpage is one page under a destination.
type subpage struct {
	tab  string
	Name string
	Path string
	Here bool
}

// sitemap is where each page of a house stands; a path begins at the house.
var sitemap = []struct {
	name  string
	pages []subpage
}{
	{"Answer", []subpage{{tab: "answer", Name: "In short"}, {tab: "diagnosis", Name: "Diagnosis", Path: "/diagnosis"},
		{tab: "repairs", Name: "Did it work", Path: "/repairs"}, {tab: "help", Name: "What would help", Path: "/help"},
		{tab: "physics", Name: "What it does", Path: "/physics"}}},
	{"Chart", []subpage{{tab: "chart", Name: "Any quantity", Path: "/chart"},
		{tab: "compare", Name: "Before and after", Path: "/compare"}}},
	{"House", []subpage{{tab: "positions", Name: "Loggers now", Path: "/positions"},
		{tab: "buildup", Name: "Build-up", Path: "/buildup"}, {tab: "sure", Name: "How sure", Path: "/sure"},
		{tab: "files", Name: "Files", Path: "/files"}, {tab: "file", Name: "Case file", Path: "/file"}}},
	{"People", []subpage{{tab: "people", Name: "Who reads what", Path: "/people"},
		{tab: "alerts", Name: "Alerts and messages", Path: "/alerts"}}},
	{"Report", []subpage{{tab: "report", Name: "Report", Path: "/report"}}},
}

// destinations are the places that a house has here; a page that is not served,
// or has nothing to say, is left out.
func (p *Pages) destinations(h *head, tab string) []destination {
	served := map[string]bool{"repairs": h.Repairs, "alerts": p.alerts, "people": p.alerts, "files": p.filesHere,
		"report": p.Reports}
	var out []destination
	for _, place := range sitemap {
		d := destination{Name: place.name}
		for _, s := range place.pages {
			if ok, asked := served[s.tab]; asked && !ok && s.tab != tab {
				continue
			}
			s.Here = s.tab == tab
			d.Here = d.Here || s.Here
			s.Path = "/cases/" + h.ID + s.Path
			d.Pages = append(d.Pages, s)
		}
		if len(d.Pages) > 0 {
			out = append(out, d)
		}
	}
	return out
}
