package web

import (
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"
	"github.com/rogpeppe/go-internal/diff"

	"dewcase/internal/roof"
)

// Bounds of what the pages show of a case file's history.
const (
	versionsListed = 10
	changeLines    = 2000 // the files themselves are at most 1 MiB each
)

// historyList is the list of versions beside the case file.
type historyList struct {
	Versions []roof.CaseVersion
	InForce  int // number of the version in force; 0 where it is not listed
	Older    int // versions before this number are left; 0 for none
}

// versionBody is the page of one version.
type versionBody struct {
	roof.CaseVersion
	Text    string
	InForce int // number of the version in force
	Before  int // number of the version before; 0 for the first
	Made    lineChange
	Since   lineChange // to the version in force
}

// lineChange is what differs between two files, line by line.
type lineChange struct {
	Lines []changedLine
	Cut   bool
}

// changedLine is one line of a comparison: "+" added, "-" taken out, " " the
// same, "@" where the stretch lies.
type changedLine struct{ Mark, Text string }

// versions lists what is kept of a case file, at most a page of it.
func (p *Pages) versions(r *http.Request, id string) (historyList, error) {
	before, err := strconv.Atoi(r.URL.Query().Get("before"))
	if err != nil || before < 1 {
		before = 0
	}
	var l historyList
	if l.Versions, err = p.Cases.History(r.Context(), id, versionsListed+1, before); err != nil {
		return l, err
	}
	if before == 0 && len(l.Versions) > 0 {
		l.InForce = l.Versions[0].Number
	}
	if len(l.Versions) > versionsListed {
		l.Versions = l.Versions[:versionsListed]
		l.Older = l.Versions[versionsListed-1].Number
	}
	return l, nil
}

// version shows one version of a case file and what it changed.
func (p *Pages) version(w http.ResponseWriter, r *http.Request) {
	ctx, id := r.Context(), chi.URLParam(r, "case")
	h, file, _, err := p.kept(ctx, id)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	number, err := strconv.Atoi(chi.URLParam(r, "version"))
	if err != nil {
		p.NotFound(w, r)
		return
	}
	newest, err := p.Cases.History(ctx, id, 1, 0)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	v, err := p.Cases.Version(ctx, id, strconv.Itoa(number))
	if errors.Is(err, roof.ErrNotFound) {
		p.NotFound(w, r)
		return
	}
	if err != nil {
		p.fail(w, r, err)
		return
	}
	b := versionBody{CaseVersion: v, Text: string(v.File)}
	if len(newest) > 0 {
		b.InForce = newest[0].Number
	}
	if v.Number > 1 {
		before, err := p.Cases.Version(ctx, id, strconv.Itoa(v.Number-1))
		if err != nil {
			p.fail(w, r, err)
			return
		}
		b.Before, b.Made = before.Number, changeOf(before.File, v.File)
	}
	b.Since = changeOf(v.File, file)
	p.render(w, r, http.StatusOK, "version",
		page{Title: "Version " + strconv.Itoa(v.Number) + " of the case file, " + h.Label, Case: h, Tab: "file", Body: b})
}

// changeOf compares two files line by line.
func changeOf(before, after []byte) (c lineChange) {
	text := strings.TrimSuffix(string(diff.Diff("before", before, "after", after)), "\n")
	if text == "" {
		return c
	}
	lines := strings.Split(text, "\n")
	for _, line := range lines[3:] { // the first three name the files
		if len(c.Lines) == changeLines {
			c.Cut = true
			break
		}
		mark, rest := line[:1], strings.TrimSuffix(line[1:], "\r")
		switch mark {
		case "@":
			rest = hunkWords(line)
		case `\`: // of a last line without its end
			mark = " "
		}
		c.Lines = append(c.Lines, changedLine{mark, rest})
	}
	return c
}

// hunkWords says where a stretch begins: "@@ -12,7 +14,9 @@" is line 14 of the
// later file, line 12 of the earlier one where nothing of it is left.
func hunkWords(head string) string {
	var at string
	for _, f := range strings.Fields(head) {
		first, count, _ := strings.Cut(strings.TrimLeft(f, "+-"), ",")
		if strings.HasPrefix(f, "-") || strings.HasPrefix(f, "+") && count != "0" {
			at = first
		}
	}
	return "line " + at
}
