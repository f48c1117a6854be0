package words

import (
	"fmt"
	"strings"
	"time"
)

// Digest is a consultant's daily summary over houses.
type Digest struct {
	InForce, New, Over int // alerts
	Houses             []DigestHouse
}

// DigestHouse is what a summary says of one house.
type DigestHouse struct {
	Label  string
	Alerts []DigestAlert
	Lost   []string // messages to the household that will not arrive
	Link   string   // to its alerts page, "" for none
}

// DigestAlert is one alert of a summary: in force, or over where Over is set.
type DigestAlert struct {
	Alert
	New        bool
	State      string    // of one that somebody has seen or keeps quiet, else ""
	QuietUntil time.Time // with State
	Over       time.Time // zero while in force
}

// Subject is the summary's subject line.
func (d Digest) Subject() string {
	return fmt.Sprintf("Roofs today: %d in force, %d new, %d over", d.InForce, d.New, d.Over)
}

// Text is the summary, a paragraph a house.
func (d Digest) Text() string {
	var parts []string
	for _, h := range d.Houses {
		lines := []string{h.Label}
		for _, a := range h.Alerts {
			lines = append(lines, "- "+a.line())
		}
		for _, l := range h.Lost {
			lines = append(lines, "- Not delivered: "+l)
		}
		if h.Link != "" {
			lines = append(lines, h.Link)
		}
		parts = append(parts, strings.Join(lines, "\n"))
	}
	return strings.Join(append(parts, "This summary comes at most once a day: when something is new or over, and on "+
		"Mondays while anything is in force."), "\n\n")
}

func (a DigestAlert) line() string {
	line := strings.TrimSuffix(a.Line(), ".")
	switch {
	case !a.Over.IsZero():
		return "Over: " + line + ", until " + at(a.Over, a.Zone, "Mon 2 Jan 15:04")
	case a.New:
		return line + " (new)"
	case a.State != "":
		return line + " (" + AlertState(a.State, a.QuietUntil, a.Zone) + ")"
	}
	return line
}

// ConsultantSubject heads a message about alerts, the first of them named.
func ConsultantSubject(first string, count int, unanswered bool) string {
	out := AlertTitle(first)
	if count > 1 {
		out += fmt.Sprintf(" and %d more", count-1)
	}
	if unanswered {
		out += ", not seen by the household"
	}
	return out
}

// ConsultantLetter is such a message: its alerts, the link to their evidence (""
// for none) and, where somebody may go up, the cautions, which rider closes.
func ConsultantLetter(lines []string, link string, cautions []string, rider string) string {
	if link != "" {
		lines = append(lines, "Evidence and what was sent: "+link)
	}
	for _, c := range cautions {
		lines = append(lines, "Before anyone goes up: "+c)
	}
	if len(cautions) > 0 {
		lines = append(lines, rider)
	}
	return strings.Join(lines, "\n\n")
}
