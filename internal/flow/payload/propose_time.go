package payload

import (
	"slices"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// timeWords name a time of measurement, the better first; common practice.
var timeWords = []string{"time", "timestamp", "ts", "datetime", "measured", "date", "seen", "changed", "updated",
	"received", "at", "epoch", "utc", "t", "dt"}

// maxAway is how far from its arrival a time may be to be taken for that of the
// measurement.
const maxAway = 48 * time.Hour

// clock finds the key that tells the time; nil where none does.
func (f *family) clock(keys []*gathered) *Clock {
	var best *gathered
	var clock Clock
	rank := len(timeWords)
	for _, g := range keys {
		if g.Role != NoRole || g.first.kind != textKind && g.first.kind != numberKind {
			continue
		}
		name := words(g.Pointer[strings.LastIndexByte(g.Pointer, '/')+1:])
		i := slices.IndexFunc(timeWords, func(w string) bool { return slices.Contains(name, w) })
		if i < 0 || i >= rank {
			continue
		}
		c, by, ok := clockOf(g.last.text, g.last.kind, f.all[len(f.all)-1].Arrived)
		if !ok {
			if by != "" {
				g.By = append(g.By, by)
			}
			continue
		}
		c.Pointer = g.Pointer
		best, clock, rank = g, c, i
		best.By = append(best.By, by)
	}
	if best == nil {
		return nil
	}
	best.Role, best.Like = TimeRole, false
	return &clock
}

// layouts are local times as they are written; common practice.
var layouts = []string{"YYYY-MM-DD hh:mm:ss", "YYYY-MM-DDThh:mm:ss", "YYYY-MM-DD hh:mm", "YYYY/MM/DD hh:mm:ss",
	"DD.MM.YYYY hh:mm:ss", "DD.MM.YYYY hh:mm", "DD/MM/YYYY hh:mm:ss", "MM/DD/YYYY hh:mm:ss"}

// clockOf tells how a time is written; by alone says why it is none.
func clockOf(text string, k kind, arrived time.Time) (c Clock, by Reason, ok bool) {
	near := func(at time.Time) bool { return at.Sub(arrived).Abs() <= maxAway }
	if at, err := roof.ParseTime(text); err == nil && k == textKind {
		return Clock{Form: "rfc3339"}, cmpReason(near(at), ByForm), near(at)
	}
	for _, form := range []struct {
		name  string
		scale int
	}{{"s", 0}, {"ms", 3}, {"us", 6}, {"ns", 9}} {
		if at, ok := unixTime(text, form.scale); ok && near(at) {
			return Clock{Form: form.name}, ByForm, true
		}
	}
	for _, layout := range layouts {
		written, _ := goLayout(layout)
		at, err := time.Parse(written, text)
		if err != nil || !near(at) {
			continue
		}
		by := ZoneUnknown
		if strings.ContainsRune(layout, '/') && at.Day() <= 12 && at.Day() != int(at.Month()) && layout[0] != 'Y' {
			by = DatesUnclear
		}
		return Clock{Form: "layout", Layout: layout}, by, true
	}
	return Clock{}, NotNear, false
}

func cmpReason(is bool, r Reason) Reason {
	if is {
		return r
	}
	return NotNear
}
