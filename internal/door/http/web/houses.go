package web

import (
	"context"
	"fmt"
	"net/http"
	"sort"
	"time"

	"dewcase/internal/door/drawing"
	"dewcase/internal/door/picture"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/repair"
	"dewcase/internal/words"
)

// houseRow is one house of the list.
type houseRow struct {
	ID, Label string
	Zone      *time.Location
	Sentence  string
	Cause     string // what the evidence supports, "" while that is being worked out
	Verdict   string // of the latest repair, "" without one
	Strip     *picture.Scene
	Last      time.Time // last reading of a fitted logger
	Attention []string  // what needs a person, most pressing first
	Fault     string    // why the row could not be made
	weight    int
}

// housesBody is the list of houses.
type housesBody struct {
	Sentence string
	Rows     []houseRow
}

// housesSentence says how many houses there are and how many need a person.
func housesSentence(rows []houseRow) string {
	need := 0
	for _, r := range rows {
		if len(r.Attention) > 0 || r.Fault != "" {
			need++
		}
	}
	switch {
	case len(rows) == 0:
		return "No house is being measured yet."
	case need == 0 && len(rows) == 1:
		return "1 house, which needs no look."
	case need == 0:
		return words.Count(len(rows), "house") + ", none of which needs a look."
	case len(rows) == 1:
		return "1 house, which needs a look."
	case need == len(rows):
		return words.Count(len(rows), "house") + ", all of which need a look."
	case need == 1:
		return words.Count(len(rows), "house") + ", one of which needs a look."
	}
	return fmt.Sprintf("%s, %d of which need a look.", words.Count(len(rows), "house"), need)
}

// houses lists the cases, what needs a person first.
func (p *Pages) houses(w http.ResponseWriter, r *http.Request) {
	var rows []houseRow
	soon, enough := context.WithTimeout(r.Context(), answersWithin)
	defer enough()
	for _, c := range p.Cases.All() {
		id := c.ID
		row, err := p.house(r.Context(), soon, id)
		if err != nil {
			p.Log.Error("a house could not be summed up", "case", id, "error", err)
			row = houseRow{ID: id, Label: id, Fault: "This house could not be summed up; the daemon’s log says why.",
				weight: 100}
		}
		rows = append(rows, row)
	}
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].weight > rows[j].weight })
	p.render(w, r, http.StatusOK, "houses",
		page{Title: "Houses", Tab: "houses", Body: housesBody{Sentence: housesSentence(rows), Rows: rows}})
}

// answersWithin is how long the list waits for answers that are still being
// worked out, for all houses together.
const answersWithin = 4 * time.Second

// stripNights is how many nights a house shows in the list.
const stripNights = 30

// house sums a house up; what is not assessed by the end of soon is left out.
func (p *Pages) house(ctx, soon context.Context, id string) (houseRow, error) {
	h, err := p.head(ctx, id)
	if err != nil {
		return houseRow{}, err
	}
	row := houseRow{ID: h.ID, Label: h.Label, Zone: h.Zone}
	if !h.HasRecord {
		row.Sentence = "No reading has come from a fitted logger yet."
		row.need(20, "no readings yet")
		return row, nil
	}
	row.Last = h.Until
	until := evidence.NoonAfter(evidence.Noon(h.Until, h.Zone), 1, h.Zone)
	wi := winter{evidence.NoonAfter(until, -stripNights, h.Zone), until}
	v, err := p.Record.Timeline(ctx, id, wi.From, wi.Until, evidence.SheetStep(h.Zone, wi.From, wi.Until))
	if err != nil {
		return row, err
	}
	latest, err := p.Record.Latest(ctx, id)
	if err != nil {
		return row, err
	}
	var worst picture.WinterSheet
	most := -1.0
	for _, s := range h.Case.RepresentativeSurfaces() {
		sh := drawing.Sheet(h.Case, v, s, wi.From, wi.Until, h.Zone)
		if h := picture.WetHours(sh.Nights); h > most {
			worst, most = sh, h
		}
	}
	if most < 0 {
		row.Sentence = "No surface is in the case file, so that wet hours cannot be told."
		row.need(10, "no surface in the case file")
		return row, nil
	}
	row.Sentence = lately(worst.Surface, worst.Nights)
	last7 := worst.Nights[max(0, len(worst.Nights)-7):]
	n := picture.CountNights(last7)
	var f *cause.Finding
	var verdict repair.Verdict
	if a, ok := p.Record.AnswerSoon(soon, id); ok {
		f, row.Cause = &a.Finding, a.Cause(h.Case).Brief()
		if len(a.Doubts) > 0 {
			row.Sentence = a.Doubts[0].Said
			worst.Forget()
			row.need(10, "the figures of a logger cannot be right")
		}
		if first := drawing.ResultsInOrder(h.Case, a); len(first) > 0 {
			verdict, row.Verdict = a.Repairs[first[0]].Verdict, a.Verdict(h.Case, first[0]).Brief()
		}
	}
	row.Strip = picture.Strip{ID: "strip-" + id, Surface: worst.Surface, Zone: h.Zone, Nights: worst.Nights}.Scene()
	row.attend(p.Now(), latest, n.Missed)
	row.judge(f, verdict, n.Wet)
	return row, nil
}

// sound says that a finding is no defect, or one that ends by itself.
func sound(c cause.Cause) bool {
	return c == cause.NightSkyCooling || c == cause.NoneFound || c == cause.ConstructionMoist
}

// need adds what needs a person, and how pressing that is.
func (row *houseRow) need(weight int, what string) {
	row.Attention = append(row.Attention, what)
	row.weight += weight
}

// judge says what cause and verdict ask of a person. A roof that is sound, or
// whose repair worked, asks nothing, however wet its nights: dew on a sound
// covering is no news. Nor does a repair on which it is too early to say.
func (row *houseRow) judge(f *cause.Finding, verdict repair.Verdict, wetNights int) {
	wet := wetNights >= 3
	nights := "wet on " + words.Count(wetNights, "night") + " of the last week"
	switch {
	case verdict == repair.GotWorse:
		row.need(35, "the repair made it worse")
	case verdict == repair.NoChangeShown && wet:
		row.need(30, "the repair has shown no change; "+nights)
	case verdict != "" || f != nil && sound(f.Finding):
	case f == nil && wet:
		row.need(20, nights)
	case f == nil:
	case f.Finding != cause.Undetermined:
		row.need(25, "a cause is named and no repair is on file")
	case wet:
		row.need(20, nights+", and the cause cannot be told yet")
	}
}

// attend says what of the loggers needs a person: those that fell silent, low
// batteries, nights nobody observed.
func (row *houseRow) attend(now time.Time, latest []Latest, unsure int) {
	var silent, flat []string
	for _, l := range latest {
		if l.Position == "" {
			continue
		}
		if now.Sub(l.At) > quiet(l.Usual) {
			silent = append(silent, l.Logger)
		}
		if l.BatteryPct != nil && *l.BatteryPct <= 15 {
			flat = append(flat, l.Logger)
		}
	}
	if len(silent) > 0 {
		row.need(40, silentWords(silent))
	}
	if len(flat) > 0 {
		row.need(15, "battery low: "+words.List(flat))
	}
	if unsure >= 3 {
		row.need(10, words.Count(unsure, "night")+" of the last week not observed")
	}
}

// quiet is how long a logger may say nothing before the pages call it silent:
// three usual intervals, and at least two hours, because many send in batches.
func quiet(usual time.Duration) time.Duration { return max(3*usual, 2*time.Hour) }

func silentWords(ids []string) string {
	if len(ids) == 1 {
		return "logger " + ids[0] + " is silent"
	}
	if len(ids) > 3 {
		return words.Count(len(ids), "logger") + " are silent"
	}
	return "loggers " + words.List(ids) + " are silent"
}

// loginBody is the log-in form, or with SetUp the one that sets the password.
type loginBody struct {
	Next, Fault string
	SetUp       bool
}

func (p *Pages) loginForm(w http.ResponseWriter, r *http.Request) {
	if p.LogIn == nil || !p.LogIn.Demanded() {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	p.login(w, r, http.StatusOK, ownPath(r.URL.Query().Get("next")), "")
}

func (p *Pages) login(w http.ResponseWriter, r *http.Request, status int, next, fault string) {
	title, setUp := "Log in", p.LogIn.SetUp()
	if setUp {
		title = "Set the consultant’s password"
	}
	p.render(w, r, status, "login", page{Title: title, Tab: "login", Body: loginBody{next, fault, setUp}})
}

func (p *Pages) logIn(w http.ResponseWriter, r *http.Request) {
	if p.LogIn == nil {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, 16<<10)
	next, password := ownPath(r.PostFormValue("next")), r.PostFormValue("password")
	var ok, tired bool
	wrong := "That is not the password."
	if code := r.PostFormValue("code"); code == "" {
		ok, tired = p.LogIn.LogIn(r, password)
	} else if len(password) < shortestPassword || password != r.PostFormValue("again") {
		p.login(w, r, http.StatusUnprocessableEntity, next,
			"Use at least 8 characters, the same in both fields.")
		return
	} else {
		var err error
		wrong = "That is not the code. Every start of the daemon makes a new one, and each works once."
		if ok, tired, err = p.LogIn.SetPassword(r, code, password); err != nil {
			p.fail(w, r, err)
			return
		}
	}
	switch {
	case tired:
		p.login(w, r, http.StatusTooManyRequests, next, "Too many wrong tries from this address. Wait a minute.")
	case !ok:
		p.login(w, r, http.StatusForbidden, next, wrong)
	default:
		http.Redirect(w, r, next, http.StatusSeeOther)
	}
}

// shortestPassword is what `dewcase password` asks for, too.
const shortestPassword = 8

func (p *Pages) logOut(w http.ResponseWriter, r *http.Request) {
	if p.LogIn != nil {
		if err := p.LogIn.LogOut(r); err != nil {
			p.fail(w, r, err)
			return
		}
	}
	http.Redirect(w, r, "/login", http.StatusSeeOther)
}

// ownPath keeps a redirect on this site.
func ownPath(s string) string {
	if len(s) == 0 || s[0] != '/' || len(s) > 1 && (s[1] == '/' || s[1] == '\\') {
		return "/"
	}
	for i := range len(s) {
		if s[i] < ' ' || s[i] == '\\' {
			return "/"
		}
	}
	return s
}
