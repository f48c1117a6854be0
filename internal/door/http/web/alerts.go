package web

import (
	"context"
	"errors"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// AlertDesk answers for the consultant's alert pages.
type AlertDesk interface {
	// Alerts lists a case's alerts, or with "" every case's, those in force first.
	Alerts(ctx context.Context, caseID string) ([]AlertRow, error)
	// Letters lists what was sent of a case, or with "" of the daemon and as daily
	// summaries, and what became of it, newest first.
	Letters(ctx context.Context, caseID string) ([]LetterRow, error)
	// Channels says how the ways to reach people do.
	Channels() []ChannelRow
	Acknowledge(ctx context.Context, caseID, id, by string) error
	Snooze(ctx context.Context, caseID, id, by string, until time.Time) error
	// NewHomeLink makes a householder's link to hand on and withdraws the one made
	// so before; it is shown once, a path where no public URL is set up.
	NewHomeLink(ctx context.Context, caseID, by string) (address string, err error)
	RevokeHomeLinks(ctx context.Context, caseID string) error
	Household(ctx context.Context, caseID string) (Household, error)
	// Try sends the consultants a test by every channel.
	Try(ctx context.Context) error
	// Resume lets mails go to an address again that had asked for none.
	Resume(ctx context.Context, caseID, address string) error
}

// AlertRow is one alert on the page.
type AlertRow struct {
	Case, House string
	Zone        *time.Location
	alert.Alert
	Line     string
	Evidence string // link to the stretch of timeline
	Trouble  bool   // of the daemon itself
}

// LetterRow is one message on one channel.
type LetterRow struct {
	Channel, To, Subject, Text string
	Kind                       string
	Audience                   string
	Planned, After, Sent       time.Time
	GaveUp                     time.Time
	Tries                      int
	Error                      string
}

// ChannelRow is how one channel does.
type ChannelRow struct {
	Channel, Failing string
	Waiting          int
	Since            time.Time
	Next             time.Time // tried again
}

// Household is who of a house reads what.
type Household struct {
	LinkMade time.Time // of the link to hand on, zero for none
	LinksOff time.Time // since when mails carry no link, zero where they do
	Links    bool      // a public address is set up, so that mails can carry links
	Mail     bool      // mail is set up
	Readers  []Reader
	// Consultants are the addresses that the consultants' messages go to.
	Consultants []string
}

// Any reports whether a link of the house is in force.
func (h Household) Any() bool {
	return !h.LinkMade.IsZero() || slices.ContainsFunc(h.Readers, func(r Reader) bool { return !r.Link.IsZero() })
}

// Written reports whether somebody of the household gets mail.
func (h Household) Written() bool {
	return h.Mail && slices.ContainsFunc(h.Readers, func(r Reader) bool { return r.Stopped.IsZero() })
}

// Reader is one mail address of a household.
type Reader struct {
	Address string
	Stopped time.Time // asked for no more mails, zero where it did not
	Link    time.Time // its own link was first written to it, zero for none
}

// alertsBody is the page of alerts.
type alertsBody struct {
	Open, Done []AlertRow
	More       int // in force beside those shown
	Incidents  []roof.Incident
	Confirm    time.Time // of the newest incident, where one is not confirmed
	Letters    []LetterRow
	Channels   []ChannelRow
	Household  Household
	Link       string      // a new link, shown once
	LinkHere   bool        // it works on this machine only
	LinkBefore bool        // a link made before it was withdrawn
	GivenUp    []LetterRow // of the last week, which will not arrive
	Contractor string      // address of the page that the contractor reads
	Sentence   string
}

// Incidents are the doubts about the store itself, which stand until a person
// confirms them.
type Incidents interface {
	Incidents(ctx context.Context) ([]roof.Incident, error)
	// ConfirmIncidents confirms those noticed until a time.
	ConfirmIncidents(ctx context.Context, until time.Time, by string) error
}

// MountAlerts puts the alert pages on a router.
func (p *Pages) MountAlerts(r chi.Router, desk AlertDesk, incidents Incidents) {
	p.alerts = true
	a := alertPages{p, desk, incidents}
	r.Get("/alerts", a.all)
	r.Post("/alerts/confirm", a.confirm)
	r.Post("/alerts/try", a.try)
	r.Get("/cases/{case}/alerts", a.one)
	r.Get("/cases/{case}/people", a.people)
	r.Post("/cases/{case}/alerts/acknowledge", a.acknowledge)
	r.Post("/cases/{case}/alerts/snooze", a.snooze)
	r.Post("/cases/{case}/alerts/link", a.link)
	r.Post("/cases/{case}/alerts/unlink", a.unlink)
	r.Post("/cases/{case}/alerts/resume", a.resume)
}

type alertPages struct {
	*Pages
	desk      AlertDesk
	incidents Incidents
}

func (a alertPages) all(w http.ResponseWriter, r *http.Request) {
	rows, err := a.desk.Alerts(r.Context(), "")
	if err != nil {
		a.fail(w, r, err)
		return
	}
	b := split(rows)
	slices.SortStableFunc(b.Open, func(x, y AlertRow) int { return unseen(y) - unseen(x) })
	b.More = max(0, len(b.Open)-alertsOnAPage)
	b.Open, b.Done = b.Open[:len(b.Open)-b.More], b.Done[:min(len(b.Done), alertsOnAPage)]
	b.Channels = a.desk.Channels()
	if b.Letters, err = a.desk.Letters(r.Context(), ""); err != nil {
		a.fail(w, r, err)
		return
	}
	if b.Incidents, err = a.incidents.Incidents(r.Context()); err != nil {
		a.fail(w, r, err)
		return
	}
	if slices.ContainsFunc(b.Incidents, roof.Incident.Open) {
		b.Confirm = b.Incidents[0].At
		b.Sentence = "The store may have lost readings, and nobody has confirmed it."
	}
	a.render(w, r, http.StatusOK, "alerts", page{Title: "Alerts", Tab: "alerts", Body: b})
}

func (a alertPages) confirm(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
	until, err := time.Parse(time.RFC3339Nano, r.PostFormValue("until"))
	if err == nil {
		err = a.incidents.ConfirmIncidents(r.Context(), until, a.who(r))
	}
	if err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/alerts#store", http.StatusSeeOther)
}

// alertsOnAPage is how many alerts of all houses are shown; each house's page has
// all of its own.
const alertsOnAPage = 50

// unseen puts alerts that nobody has seen before the others.
func unseen(x AlertRow) int {
	if x.State == alert.Raised {
		return 1
	}
	return 0
}

func split(rows []AlertRow) (b alertsBody) {
	for _, x := range rows {
		if x.Open() {
			b.Open = append(b.Open, x)
		} else {
			b.Done = append(b.Done, x)
		}
	}
	switch n := len(b.Open); n {
	case 0:
		b.Sentence = "Nothing is raised."
	case 1:
		b.Sentence = "One alert is in force."
	default:
		b.Sentence = words.Count(n, "alert") + " are in force."
	}
	return b
}

// ofHouse gathers what the pages of a house's people and alerts show.
func (a alertPages) ofHouse(w http.ResponseWriter, r *http.Request) (h *head, b alertsBody, ok bool) {
	ctx := r.Context()
	h, err := a.head(ctx, chi.URLParam(r, "case"))
	var rows []AlertRow
	if err == nil {
		rows, err = a.desk.Alerts(ctx, h.ID)
	}
	b = split(rows)
	b.Channels = a.desk.Channels()
	if err == nil {
		b.Letters, err = a.desk.Letters(ctx, h.ID)
	}
	if err == nil {
		b.Household, err = a.desk.Household(ctx, h.ID)
	}
	if err != nil {
		a.fail(w, r, err)
	}
	return h, b, err == nil
}

func (a alertPages) people(w http.ResponseWriter, r *http.Request) { a.show(w, r, "", false) }

// show is the page of a house's people, with a link that was just made.
func (a alertPages) show(w http.ResponseWriter, r *http.Request, link string, before bool) {
	h, b, ok := a.ofHouse(w, r)
	if !ok {
		return
	}
	b.Link, b.LinkBefore, b.Contractor = link, before, here(r)+"/cases/"+h.ID+"/repairs"
	b.Sentence = words.Reached(b.Household.Any(), b.Household.Written())
	if link != "" {
		b.LinkHere = onlyHere(link)
		w.Header().Set("Cache-Control", "no-store")
	}
	a.render(w, r, http.StatusOK, "people", page{Title: "People, " + h.Label, Case: h, Tab: "people", Body: b})
}

func (a alertPages) one(w http.ResponseWriter, r *http.Request) {
	h, b, ok := a.ofHouse(w, r)
	if !ok {
		return
	}
	for _, l := range b.Letters {
		if !l.GaveUp.IsZero() && a.Now().Sub(l.GaveUp) < 7*24*time.Hour {
			b.GivenUp = append(b.GivenUp, l)
		}
	}
	a.render(w, r, http.StatusOK, "alerts", page{Title: "Alerts, " + h.Label, Case: h, Tab: "alerts", Body: b})
}

func (a alertPages) who(r *http.Request) string {
	if a.Who != nil {
		if who := a.Who(r.Context()); who != "" {
			return who
		}
	}
	return "consultant"
}

func (a alertPages) acknowledge(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
	a.done(w, r, "/alerts", a.desk.Acknowledge(r.Context(), chi.URLParam(r, "case"), r.PostFormValue("alert"),
		a.who(r)))
}

func (a alertPages) snooze(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
	d := 24 * time.Hour
	if r.PostFormValue("for") == "week" {
		d *= 7
	}
	a.done(w, r, "/alerts", a.desk.Snooze(r.Context(), chi.URLParam(r, "case"), r.PostFormValue("alert"), a.who(r),
		a.Now().Add(d)))
}

func (a alertPages) link(w http.ResponseWriter, r *http.Request) {
	before, err := a.desk.Household(r.Context(), chi.URLParam(r, "case"))
	if err != nil {
		a.fail(w, r, err)
		return
	}
	link, err := a.desk.NewHomeLink(r.Context(), chi.URLParam(r, "case"), a.who(r))
	if err != nil {
		a.fail(w, r, err)
		return
	}
	if strings.HasPrefix(link, "/") {
		link = here(r) + link
	}
	a.show(w, r, link, !before.LinkMade.IsZero())
}

// here is the address under which a request came.
func here(r *http.Request) string {
	if r.TLS != nil || strings.EqualFold(r.Header.Get("X-Forwarded-Proto"), "https") {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

// onlyHere reports that an address leads to the very machine it is opened on.
func onlyHere(link string) bool {
	u, err := url.Parse(link)
	if err != nil {
		return false
	}
	ip, err := netip.ParseAddr(u.Hostname())
	return u.Hostname() == "localhost" || err == nil && ip.IsLoopback()
}

func (a alertPages) resume(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
	a.done(w, r, "/people", a.desk.Resume(r.Context(), chi.URLParam(r, "case"), r.PostFormValue("address")))
}

func (a alertPages) try(w http.ResponseWriter, r *http.Request) {
	if err := a.desk.Try(r.Context()); err != nil {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/alerts#sent", http.StatusSeeOther)
}

func (a alertPages) unlink(w http.ResponseWriter, r *http.Request) {
	a.done(w, r, "/people", a.desk.RevokeHomeLinks(r.Context(), chi.URLParam(r, "case")))
}

// done goes back to the page that was acted on; an alert that is over in the
// meantime is no fault of whoever pressed the button.
func (a alertPages) done(w http.ResponseWriter, r *http.Request, back string, err error) {
	if err != nil && !errors.Is(err, alert.ErrNoAlert) {
		a.fail(w, r, err)
		return
	}
	http.Redirect(w, r, "/cases/"+url.PathEscape(chi.URLParam(r, "case"))+back, http.StatusSeeOther)
}
