package payload

import (
	"slices"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// timeWords name a time of measurement, the better first; common practice.
var timeWords = []string{"time", "timestamp", "ts", "datetime", "measured", "zeit", "zeitstempel", "zeitpunkt",
	"messzeit", "horodatage", "heure", "fecha", "hora", "data", "ora", "tid", "tidpunkt", "tidspunkt", "tijd", "tijdstip",
	"aika", "cas", "czas", "date", "dateutc", "datum", "dato", "uhrzeit", "seen", "changed", "updated", "received", "at",
	"epoch", "utc", "t", "dt"}

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
		if apart := f.clockApart(keys); apart != nil {
			return apart
		}
		if best, clock = f.clockByForm(keys); best == nil {
			return nil
		}
	}
	best.Role, best.Like = TimeRole, false
	return &clock
}

// constantWords name times that are not of a measurement.
var constantWords = []string{"boot", "start", "started", "since", "install", "installed", "next", "first", "uptime",
	"up", "expires", "built", "build", "firmware"}

// maxLate is how long after a measurement a message is taken to have come when the zone
// of its local time is looked for.
const maxLate = 10 * time.Minute

// zoneOf says in which zone local times are read: UTC where their key says so, else the
// house's, which a person must confirm. Where either it or UTC agrees with when all
// messages came, and the other does not, that one is proposed.
func (f *family) zoneOf(m *Mapping, clock *Clock, keys []*gathered, house string) {
	clock.Zone = house
	for _, g := range keys {
		if g.Role != TimeRole {
			continue
		}
		if slices.ContainsFunc(words(g.Pointer[strings.LastIndexByte(g.Pointer, '/')+1:]), func(w string) bool {
			return strings.HasSuffix(w, "utc") || w == "gmt"
		}) {
			clock.Zone = "UTC"
			g.By = slices.DeleteFunc(g.By, func(r Reason) bool { return r == ZoneUnknown })
			continue
		}
		if house == "" {
			continue
		}
		own, utc := f.agrees(m, *clock, house), f.agrees(m, *clock, "UTC")
		if own != utc {
			if g.By = append(g.By, ZoneFits); utc {
				clock.Zone = "UTC"
			}
		}
	}
}

// agrees reports whether the times of all messages, read in a zone, are those of their
// arrival or shortly before.
func (f *family) agrees(m *Mapping, c Clock, zone string) bool {
	c.Zone = zone
	ready, faults := compile(Mapping{Topic: "x", Case: "x", Logger: "x", Fields: []Field{{Unit: Celsius, Pointer: "/x"}},
		Time: &c})
	if len(faults) > 0 {
		return false
	}
	some := false
	for _, one := range f.all {
		parts := []value{one.root}
		if m.Each != "" {
			parts = f.parts(m, one)
		}
		for _, e := range parts {
			at, own, bad := ready.clock.read(one.root, e, one.Arrived)
			if bad != nil || own && (one.Arrived.Sub(at) > maxLate || at.Sub(one.Arrived) > time.Minute) {
				return false
			}
			some = some || own
		}
	}
	return some
}

// clockByForm finds a key of whatever name whose values are times near their arrival
// and change from message to message.
func (f *family) clockByForm(keys []*gathered) (*gathered, Clock) {
	for _, g := range keys {
		if g.Role != NoRole || g.Like || !g.Changes || g.last.kind != textKind && g.last.kind != numberKind ||
			slices.ContainsFunc(words(g.Pointer), func(w string) bool { return slices.Contains(constantWords, w) }) {
			continue
		}
		arrived := f.all[len(f.all)-1].Arrived
		c, by, ok := clockOf(g.last.text, g.last.kind, arrived)
		first, _, firstOK := clockOf(g.first.text, g.first.kind, arrived)
		if ok && firstOK && c.Form == first.Form && (c.Layout == "" || strings.Contains(c.Layout, "YYYY")) {
			g.By = append(g.By, by)
			c.Pointer = g.Pointer
			return g, c
		}
	}
	return nil, Clock{}
}

// clockApart finds a date and a time of day at keys of their own; nil where there
// are none.
func (f *family) clockApart(keys []*gathered) *Clock {
	for _, day := range keys {
		for _, hour := range keys {
			if day == hour || day.last.kind != textKind || hour.last.kind != textKind || day.Role != NoRole ||
				hour.Role != NoRole || !strings.Contains(hour.last.text, ":") {
				continue
			}
			c, by, ok := clockOf(day.last.text+" "+hour.last.text, textKind, f.all[len(f.all)-1].Arrived)
			if !ok {
				continue
			}
			c.Pointer, c.Date = hour.Pointer, day.Pointer
			for _, g := range []*gathered{day, hour} {
				g.Role, g.Like, g.By = TimeRole, false, append(g.By, by)
			}
			return &c
		}
	}
	return nil
}

// layouts are times as they are written without the T, zone or colon of RFC 3339;
// common practice.
var layouts = func() (out []string) {
	for _, date := range []string{"YYYY-MM-DD", "YYYY/MM/DD", "DD.MM.YYYY", "DD/MM/YYYY", "MM/DD/YYYY", "DD-MM-YYYY",
		"DD.MM.YY", "DD/MM/YY", "MM/DD/YY", "YY-MM-DD", "DD-MM-YY"} {
		for _, between := range []string{" ", "T", ", "} {
			for _, clock := range []string{"hh:mm:ss", "hh:mm", "hh:mm:ss AM", "hh:mm AM", "hh:mm:ssZ", "hh:mmZ"} {
				out = append(out, date+between+clock)
			}
		}
	}
	return out
}()

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
		written, offset, _ := goLayout(layout)
		written, text := written, strings.ToUpper(strings.TrimSpace(text))
		at, err := time.Parse(written, text)
		if offset {
			var there bool
			if at, there = withOffset(written, text); there && near(at) {
				return Clock{Form: "layout", Layout: layout}, ByForm, true
			}
			continue
		}
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
