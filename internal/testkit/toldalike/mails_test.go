package toldalike

import (
	"encoding/json"
	"fmt"
	"io"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"net/textproto"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/run/config"
	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/roofworlds"
	"dewcase/internal/testkit/running"
	prose "dewcase/internal/words"
)

// week counts the wet nights of the last seven in a surface's table, the nights
// observed and the hours of the wet ones; the running night once it is wet.
func (x told) week(surface string) (counts []string, hours float64) {
	rows := x.rows[surface]
	if h, _ := strconv.ParseFloat(rows[len(rows)-1]["wet_h"], 64); h < 1 {
		rows = rows[:len(rows)-1]
	}
	wet, seen := 0, 0
	for _, r := range rows[len(rows)-7:] {
		h, _ := strconv.ParseFloat(r["wet_h"], 64)
		if share, _ := strconv.ParseFloat(r["observed_share"], 64); h >= 1 || share >= 0.8 {
			seen++
		}
		if h >= 1 {
			wet++
			hours += h
		}
	}
	return []string{fmt.Sprint(wet), fmt.Sprint(seen)}, hours
}

// lastWetting is the margin of a surface's last hour, and for how many hours it has
// been wet by then, not counting an hour between.
func (x told) lastWetting(d *running.Daemon, surface string) (margin, hours float64) {
	var view struct {
		Surfaces []struct {
			Surface       string
			MarginK       struct{ Min []*float64 } `json:"margin_k"`
			CondensingMin []*float64               `json:"condensing_min"`
		}
	}
	from := url.QueryEscape(x.a.Until.Truncate(time.Hour).AddDate(0, 0, -20).Format(time.RFC3339))
	body := d.Patient("/api/cases/" + x.c.ID + "/timeline?step=3600&from=" + from)
	require.NoError(d.T, json.Unmarshal([]byte(body), &view))
	for _, s := range view.Surfaces {
		if s.Surface != surface {
			continue
		}
		for i, dry := len(s.CondensingMin)-1, 0; i >= 0 && dry < 2; i-- {
			if s.CondensingMin[i] == nil {
				continue
			}
			if margin == 0 {
				margin = *s.MarginK.Min[i]
			}
			hours += *s.CondensingMin[i] / 60
			if dry++; *s.CondensingMin[i] > 0 {
				dry = 0
			}
		}
	}
	return margin, hours
}

var (
	nightsMailed = regexp.MustCompile(`Run of wet nights, [a-z ]+ \((\w+)\): wet on (\d+) of (\d+) nights? observed ` +
		`of the last 7 nights, ` + number + ` h in all`)
	nightsAtHome = regexp.MustCompile(`Water formed ([a-z ]+) on (\d+) of the last (\d+) nights\.`)
	wetMailed    = regexp.MustCompile(`Surface wet now, [a-z ]+ \((\w+)\): margin (−?[\d.]+) K, wet for (\d+ \w+)`)
	noFigure     = regexp.MustCompile(`winter-\d+|and \d more|Written on .*? at \d\d:\d\d|before 2000|` +
		`Before anyone goes up: [^.]*\.|(?:raised|since) \w+ \d+ \w+ \d+ \d\d:\d\d|` +
		`Roofs today: \d+ in force, \d+ new, \d+ over`)
)

// letter holds each figure of a mail against the pages, and says how many it has.
func (x told) letter(d *running.Daemon, home, text string) (figures int) {
	t := d.T
	for _, m := range nightsMailed.FindAllStringSubmatch(text, -1) {
		counts, hours := x.week(m[1])
		assert.Equal(t, counts, m[2:4], "%s: the table of %s and %q", x.c.ID, m[1], m[0])
		got, _ := strconv.ParseFloat(strings.ReplaceAll(m[4], ",", ""), 64)
		_, decimals, _ := strings.Cut(m[4], ".")
		within := 0.5/float64(1+9*len(decimals)) + 0.04 // as printed, and the table's own rounding
		assert.InDelta(t, hours, got, within, "%s: the hours of the table and %q", x.c.ID, m[0])
		figures += 3
	}
	for _, m := range nightsAtHome.FindAllStringSubmatch(text, -1) {
		i := slices.IndexFunc(x.c.Positions, func(p roof.Position) bool { return prose.HomeSurface(x.c, p) == m[1] })
		require.GreaterOrEqual(t, i, 0, m[0])
		counts, _ := x.week(x.c.Positions[i].ID)
		assert.Equal(t, counts, m[2:4], "%s: the table and %q", x.c.ID, m[0])
		assert.Contains(t, home, m[0], "%s: the household's page", x.c.ID)
		figures += 2
	}
	for _, m := range wetMailed.FindAllStringSubmatch(text, -1) {
		margin, hours := x.lastWetting(d, m[1])
		assert.Equal(t, []string{prose.Signed(margin), prose.DurationHours(hours)}, m[2:], "%s: the timeline and %q",
			x.c.ID, m[0])
		figures += 2
	}
	if m := regexp.MustCompile(`run of wet nights and (\d+) more`).FindStringSubmatch(text); m != nil {
		assert.Equal(t, fmt.Sprint(len(nightsMailed.FindAllString(text, -1))-1), m[1], "%s: the subject", x.c.ID)
	}
	if m := regexp.MustCompile(`Roofs today: (\d+) in force, (\d+) new`).FindStringSubmatch(text); m != nil {
		open := strings.Count(x.pages["alerts"], "See it in the chart")
		assert.Equal(t, []string{fmt.Sprint(open), fmt.Sprint(strings.Count(text, "(new) "))}, m[1:], "%s: the summary",
			x.c.ID)
	}
	if strings.Contains(text, "some water forms in the roof at night.") {
		said := prose.Cause{Finding: x.a.Diagnosis.Finding, Strength: prose.Strength(x.a.Diagnosis.Strength),
			Repair: x.repair(), Zone: x.c.Property.Zone}
		if said.Defect() {
			assert.Contains(t, text, said.Home(), "%s: the cause", x.c.ID)
			assert.Contains(t, home, said.Home(), "%s: the cause on the household's page", x.c.ID)
			text = strings.ReplaceAll(text, said.Home(), "")
		} else {
			assert.Contains(t, text, "We cannot tell yet.", "%s: the cause", x.c.ID)
		}
		figures++
	}
	for _, known := range []*regexp.Regexp{nightsMailed, nightsAtHome, wetMailed, noFigure} {
		text = known.ReplaceAllString(text, "")
	}
	assert.NotRegexp(t, `\d`, text, "%s: a figure that nothing here compares", x.c.ID)
	return figures
}

// postman is a mail server of the test's own: it hands on the text of each mail.
func postman(t *testing.T) (port int, mails chan string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	mails = make(chan string, 20)
	take := func(conn net.Conn) {
		c := textproto.NewConn(conn)
		defer c.Close()
		for line, err := "", c.PrintfLine("220 ready"); err == nil && line != "QUIT"; err = c.PrintfLine("250 taken") {
			if line, err = c.ReadLine(); line == "DATA" {
				_ = c.PrintfLine("354 go on")
				if m, err := mail.ReadMessage(c.DotReader()); assert.NoError(t, err) {
					text, err := io.ReadAll(quotedprintable.NewReader(m.Body))
					assert.NoError(t, err)
					mails <- m.Header.Get("Subject") + ". " + strings.Join(strings.Fields(string(text)), " ")
				}
			} else if err != nil {
				return
			}
		}
	}
	go func() {
		for conn, err := l.Accept(); err == nil; conn, err = l.Accept() {
			go take(conn)
		}
	}()
	return l.Addr().(*net.TCPAddr).Port, mails
}

// Mails say what the pages say: over simulated winters of many causes, one of them
// repaired, each count, figure and cause in the letters to household and
// consultant, and in the daily summary.
func TestMailsSayWhatThePagesSay(t *testing.T) {
	for _, n := range []int{8, 11, 12, 13, 15, 18} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			t.Parallel()
			w := roofworlds.Draw(uint64(900+n), roofworlds.Causes()[n%len(roofworlds.Causes())])
			o := roofsim.Options{Days: 40}
			if open := 25.0; n == 15 {
				o.Repairs = []roofsim.Repair{{At: w.Start.AddDate(0, 0, 20).Add(11 * time.Hour), VoidEavesMM: &open,
					VoidRidgeMM: &open}}
			}
			m := roofworlds.Kit{Interval: 30 * time.Minute, CaseID: fmt.Sprintf("winter-%d", n),
				Faults: roofsim.FieldFaults()}.Measure(roofsim.Run(w, o), uint64(n))
			m.Case.Property.Label = m.Case.ID + " house"
			m.Case.Contacts = roof.Contacts{Householder: []string{"ann@example.org"},
				Consultant: []string{"carl@example.org"}}
			port, mails := postman(t)
			// The record ends in the morning of its last day but one, now.
			ends := w.Start.AddDate(0, 0, 39).Add(9 * time.Hour)
			d := running.StartAt(t, func() time.Time { return ends }, func(c *config.Config) {
				c.Alerts.SMTPHost, c.Alerts.SMTPPort, c.Alerts.SMTPTLS = "127.0.0.1", port, "none"
				c.Alerts.From = "roof@example.org"
			})
			id := d.Put(m.Case, func(yield func(roof.Reading, error) bool) {
				for _, r := range m.Readings {
					if r.At.Before(ends) && !yield(r, nil) {
						return
					}
				}
			})
			var letters []string
			next := func() string {
				select {
				case text := <-mails:
					letters = append(letters, text)
				case <-time.After(patience.Long):
					t.Fatalf("no mail in %v, after %q", patience.Long, letters)
				}
				return letters[len(letters)-1]
			}
			for !strings.HasPrefix(next(), "Roofs today") { // the summary is written when all else is
			}
			x := listen(d, id)
			for range strings.Count(x.pages["alerts"], "@example.org by mail") + 1 - len(letters) {
				next()
			}
			_, page := d.Ask("POST", "/cases/"+id+"/alerts/link", "")
			home := plain(d.Patient(regexp.MustCompile(`/home/[A-Za-z0-9_-]{43}`).FindString(page)))
			figures := 0
			for _, text := range letters {
				figures += x.letter(d, home, text)
			}
			assert.Greater(t, figures, 5, "figures that were compared")
		})
	}
}
