package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"sort"
	"strings"
	"time"

	"dewcase/internal/flow/announced"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// messagesBody is the page of what could not be used.
type messagesBody struct {
	Sentence    string
	Done, Fault string
	Waiting     []waitingRow
	Unfitted    []unfitted
	Unmade      []unmade // houses that are heard and not here
	Discovery   *Discovery
	Topics      []topicRow // that nothing reads
	Untaken     []payload.Untaken
	Shadows     []string
	Offers      []announced.Offer
	Cannot      []string
	Houses      []spot // to choose from
	Counts      []reasonRow
	Rejects     []roof.KeptReject
	Heard       []roof.HeardName
	Older       int64 // id to go on from; 0 at the end
	Case        string
	Paged       bool // an older part of the log is asked for, or one house's
	Switched    bool // the exchange with home automation was just set
}

type reasonRow struct {
	Reason roof.Reason
	Words  string
	Count  int64
}

// reasonWords say what a reason means and what puts it right.
var reasonWords = map[roof.Reason]string{
	roof.NotFinite:      "A value is not a finite number. Look at the logger’s or gateway’s formula.",
	roof.TempOutOfRange: "A temperature under −90 or over 100 °C. A probe that is cut off often says −127 or 85.",
	roof.RHOutOfRange:   "A relative humidity under 0 or over 105 %. A fraction sent as per cent, or a failed sensor.",
	roof.NoQuantity: "None of temperature, humidity, rain, wood moisture, wind and sun was in it. Check the names in " +
		"the mapping.",
	roof.TimeTooOld:     "Dated before 2000: the logger’s clock was never set.",
	roof.TimeAhead:      "Dated more than a day ahead: the logger’s clock is wrong.",
	roof.BadTime:        "The time could not be read; RFC 3339 is wanted unless the mapping says otherwise.",
	roof.BadValue:       "A value is not a number.",
	roof.BadPayload:     "The message is not in a form that is known. Write a mapping for it in the configuration.",
	roof.TooLarge:       "The message is larger than the limit.",
	roof.BadTopic:       "The topic names no case and logger.",
	roof.UnknownCase:    "The case is not known here. Make a case of that name, or correct the topic.",
	roof.TooManyLoggers: "More unknown logger names than are kept for one case.",
	roof.RetainedNoTime: "A retained message without a time: nobody can say how old it is.",
	roof.Unpaired:       "A bare number whose partner did not come in time.",
	roof.BadLogger:      "The logger’s name has letters that are not allowed.",
	roof.BadRow:         "A row of a file could not be read.",
	roof.Unsupported:    "The file is in a form that is not read.",
	roof.Forbidden:      "The user may not publish there. Correct the topic, the logger’s user or mqtt.users_file.",
}

func (p *Pages) messages(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	b := messagesBody{Case: r.URL.Query().Get("case")}
	const limit = 100
	var before int64
	for _, c := range r.URL.Query().Get("before") {
		if c < '0' || c > '9' || before > 1<<58 {
			before = 0
			break
		}
		before = before*10 + int64(c-'0')
	}
	var err error
	if b.Rejects, err = p.Rejects.Rejects(ctx, b.Case, limit, before); err != nil {
		p.fail(w, r, err)
		return
	}
	if len(b.Rejects) == limit {
		b.Older = b.Rejects[limit-1].ID
	}
	counts, err := p.Rejects.RejectCounts(ctx)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	for reason, n := range counts {
		if n > 0 {
			b.Counts = append(b.Counts, reasonRow{reason, reasonWords[reason], n})
		}
	}
	sort.Slice(b.Counts, func(i, j int) bool {
		if b.Counts[i].Count != b.Counts[j].Count {
			return b.Counts[i].Count > b.Counts[j].Count
		}
		return b.Counts[i].Reason < b.Counts[j].Reason
	})
	if b.Heard, err = p.Rejects.Heard(ctx); err != nil {
		p.fail(w, r, err)
		return
	}
	if p.inbox != nil {
		if err := p.sort(ctx, &b); err != nil {
			p.fail(w, r, err)
			return
		}
	}
	b.Done, b.Fault = news(r.URL.Query())
	b.Paged, b.Switched = before > 0 || b.Case != "", r.URL.Query().Has("switched")
	b.Sentence = messagesSentence(b.Counts)
	p.render(w, r, http.StatusOK, "messages", page{Title: "Messages not understood", Tab: "messages", Body: b})
}

// maxUntaken bounds the values that are listed as not read.
const maxUntaken = 50

// unmade is a house that is heard and not here.
type unmade struct {
	Case    string
	Loggers []string
	Last    time.Time
}

// sort gives what was heard to where it can be taken in from: loggers to fit,
// houses to make, kept messages to take.
func (p *Pages) sort(ctx context.Context, b *messagesBody) (err error) {
	d := p.inbox.Discovery()
	b.Discovery = &d
	b.Offers, b.Cannot = p.inbox.Offers()
	untaken, shadows := p.inbox.NotRead()
	b.Untaken = untaken[:min(len(untaken), maxUntaken)]
	for _, s := range shadows {
		b.Shadows = append(b.Shadows, words.Sentence(words.MessageShadow(mappingName(s.Mapping), mappingName(s.By), s.Whole)))
	}
	if b.Topics, err = p.unreadTopics(ctx); err != nil {
		return err
	}
	for _, c := range p.Cases.All() {
		b.Houses = append(b.Houses, spot{c.ID, cmp.Or(c.Property.Label, c.ID)})
	}
	if b.Waiting, err = p.waiting(ctx, "", "messages"); err != nil {
		return err
	}
	seen, houses, left := map[string]bool{}, map[string]int{}, b.Heard[:0]
	for _, h := range b.Heard {
		c, err := p.Cases.Case(ctx, h.Case)
		switch {
		case h.Case == "" || err != nil && !errors.Is(err, roof.ErrNotFound):
			left = append(left, h)
		case err != nil:
			at, ok := houses[h.Case]
			if !ok {
				at = len(b.Unmade)
				houses[h.Case] = at
				b.Unmade = append(b.Unmade, unmade{Case: h.Case, Last: h.Last})
			}
			b.Unmade[at].Loggers = append(b.Unmade[at].Loggers, h.Logger)
		case !seen[h.Case]:
			seen[h.Case] = true
			latest, err := p.Record.Latest(ctx, h.Case)
			if err != nil {
				return err
			}
			b.Unfitted = append(b.Unfitted, unfittedOf(c, latest, "messages")...)
		}
	}
	b.Heard = left
	return nil
}

// messagesSentence says how much could not be used, and mostly why.
func messagesSentence(counts []reasonRow) string {
	var n int64
	for _, c := range counts {
		n += c.Count
	}
	why := ""
	if n > 0 {
		why = strings.ReplaceAll(string(counts[0].Reason), "_", " ")
	}
	switch {
	case n == 0:
		return "Nothing was refused."
	case n == 1:
		return "One message or row could not be used: " + why + "."
	case len(counts) == 1:
		return fmt.Sprintf("%d messages or rows could not be used: %s.", n, why)
	}
	return fmt.Sprintf("%d messages or rows could not be used; the commonest reason is %s (%d).", n, why, counts[0].Count)
}

func mappingName(p payload.Place) string { return words.MappingName(p.House, p.Number, p.Topic) }
