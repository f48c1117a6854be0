package web

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"dewcase/internal/flow/announced"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Reading is what a person decided: these mappings read for the case from now on,
// what they bring hangs there, and the kept messages are taken.
type Reading struct {
	Case     string
	Mappings []payload.Mapping
	Placings []casefile.Placing
	Kept     bool
	By       string
}

// readBody is the page on which messages that nothing reads become readings.
type readBody struct {
	House     *head
	Forms     []readForm
	Unread    int        // kept messages that nothing reads
	Senseless []topicRow // of which nothing can be proposed
}

// read shows what the messages that nothing reads could become of one house.
func (p *Pages) read(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	h, err := p.head(ctx, r.URL.Query().Get("case"))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	messages, err := p.inbox.Unread(ctx)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	b := readBody{House: h, Unread: len(messages)}
	if key := r.URL.Query().Get("offer"); key != "" {
		offers, _ := p.inbox.Offers()
		i := slices.IndexFunc(offers, func(o announced.Offer) bool { return o.Key == key })
		if i < 0 {
			p.NotFound(w, r)
			return
		}
		f := readForm{Name: offers[i].Name}
		f.fill(h, offers[i].Mappings(h.ID, freeLogger(h.Case, offers[i].Logger())), messages, nil)
		b.Forms = append(b.Forms, f)
	} else {
		for i, proposal := range payload.Propose(h.ID, h.Case.Property.Timezone, messages) {
			f := readForm{N: i, Name: proposal.Mapping.Topic, Topics: proposal.Topics}
			f.fill(h, []payload.Mapping{proposal.Mapping}, messages, proposal.Keys)
			for _, k := range proposal.TimesUnread() {
				f.Unread = append(f.Unread, words.Sentence(words.MessageTimeUnread(k.Pointer, k.Example)))
			}
			b.Forms = append(b.Forms, f)
		}
		read := map[string]bool{}
		for i := range b.Forms {
			b.Forms[i].Open = len(b.Forms) <= 2 || i == 0
			for _, t := range b.Forms[i].Topics {
				read[t] = true
			}
		}
		b.Senseless = slices.DeleteFunc(topicsOf(messages), func(t topicRow) bool { return read[t.Topic] })
	}
	p.showRead(w, r, http.StatusOK, b)
}

func (p *Pages) showRead(w http.ResponseWriter, r *http.Request, status int, b readBody) {
	p.render(w, r, status, "read", page{Title: "Read messages for " + b.House.Label, Tab: "messages", Zone: b.House.Zone,
		Body: b})
}

// freeLogger is a name that no logger of the case has.
func freeLogger(c *roof.Case, name string) string {
	for n, base := 2, name; ; n++ {
		if _, taken := c.Logger(name); !taken {
			return name
		}
		name = fmt.Sprintf("%s-%d", base[:min(len(base), 60)], n)
	}
}

// answered puts a form's answers into its mappings, and says what is still open.
func answered(all []payload.Mapping, form url.Values) (open []string) {
	i := 0
	eachField(all, func(f *payload.Field, _ string) {
		chosen, there := form["unit."+strconv.Itoa(i)]
		if i++; !there {
			if chosen, there = form["unit."+f.Quantity.String()]; !there {
				return
			}
		}
		if chosen[0] == leftAside {
			f.Unit = leftAside
			return
		}
		unit, scale, _ := strings.Cut(chosen[0], " ")
		if unit == "" {
			ask := fmt.Sprintf("Say in which unit the %s is.", words.Quantity(f.Quantity.String()))
			if !slices.Contains(open, ask) {
				open = append(open, ask)
			}
			return
		}
		f.Unit = payload.Unit(unit)
		if x, err := strconv.ParseFloat(scale, 64); err == nil {
			if f.Scale = x; x == 1 {
				f.Scale = 0
			}
		}
	})
	for m := range all {
		aside := func(f payload.Field) bool { return f.Unit == leftAside }
		all[m].Fields = slices.DeleteFunc(all[m].Fields, aside)
		for i := range all[m].Probes {
			all[m].Probes[i].Fields = slices.DeleteFunc(all[m].Probes[i].Fields, aside)
		}
		if all[m].Form != payload.SenMLForm {
			all[m].Probes = slices.DeleteFunc(all[m].Probes, func(p payload.Probe) bool { return len(p.Fields) == 0 })
		}
	}
	for m := range all {
		t := all[m].Time
		if t == nil || t.Form != "layout" {
			continue
		}
		for key, into := range map[string]*string{"zone": &t.Zone, "dates": &t.Layout} {
			switch chosen, there := form[key]; {
			case there && chosen[0] == "":
				open = append(open, map[string]string{"zone": "Say by which clock the times are written.",
					"dates": "Say whether day or month comes first."}[key])
			case there:
				*into = chosen[0]
			}
		}
	}
	slices.Sort(open)
	return open
}

// takeRead looks again at a form's mapping, or puts it in force.
func (p *Pages) takeRead(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	r.Body = http.MaxBytesReader(w, r.Body, 1<<20)
	if err := r.ParseForm(); err != nil {
		p.fail(w, r, fmt.Errorf("%w", roof.ErrNotFound))
		return
	}
	h, err := p.head(ctx, r.PostFormValue("case"))
	if err != nil {
		p.fail(w, r, err)
		return
	}
	messages, err := p.inbox.Unread(ctx)
	if err != nil {
		p.fail(w, r, err)
		return
	}
	f := readForm{Name: r.PostFormValue("name"), Text: r.PostFormValue("text"), Spots: spots(h.Case)}
	all, faults := payload.ReadMappings("mapping", []byte(strings.ReplaceAll(f.Text, "\r\n", "\n")))
	var open []string
	if len(faults) == 0 {
		open = answered(all, r.PostForm)
		f.fill(h, all, messages, nil)
	}
	f.Faults = append(f.Faults, append(faults.Lines(10), open...)...)
	for i := range f.Fields { // what is open stays open
		row := &f.Fields[i]
		if v, there := r.PostForm["unit."+row.Quantity]; there && v[0] == "" {
			row.ask(f.Fields[:i])
		}
	}
	f.count()
	for key, options := range map[string][]option{"zone": f.Zone, "dates": f.Dates} {
		for i := range options {
			options[i].Chosen = options[i].Chosen && r.PostFormValue(key) != ""
		}
	}
	order := Reading{Case: h.ID, Mappings: all, Kept: r.PostFormValue("kept") == "yes", By: p.who(r)}
	from := p.Now()
	if r.PostFormValue("since") == "first" && !f.First.IsZero() {
		from = f.First
	}
	gone := map[string]bool{}
	for i, l := range f.Loggers {
		value := r.PostFormValue("place." + l.Name)
		if f.Loggers[i].Place = value; value == leftAside && l.CanGo {
			gone[l.Name] = true
		}
		if pl, ok := placing(h.Case, l.Name, value, from); ok {
			order.Placings = append(order.Placings, pl)
		}
	}
	order.Placings = apartFrom(order.Placings)
	if len(gone) > 0 {
		listOnly(&all[0], f.Loggers, gone)
		f.Text = payload.WriteMappings(all)
	}
	if r.PostFormValue("do") == "take" && len(f.Faults) == 0 {
		s, err := p.inbox.Read(ctx, order)
		if errors.As(err, &faults) {
			f.Faults = faults.Lines(10)
		} else if err != nil {
			p.fail(w, r, err)
			return
		} else {
			http.Redirect(w, r, "/cases/"+h.ID+"/positions?"+url.Values{"read": {f.Name}, "took": {h.ID},
				"stored": {fmt.Sprint(s.Stored + s.Merged)}, "there": {fmt.Sprint(s.Duplicates)},
				"aside": {fmt.Sprint(s.Conflicts)}}.Encode(), http.StatusSeeOther)
			return
		}
	}
	f.Open = true
	status := http.StatusOK
	if len(f.Faults) > 0 {
		status = http.StatusUnprocessableEntity
	}
	p.showRead(w, r, status, readBody{House: h, Forms: []readForm{f}, Unread: len(messages)})
}

// listOnly has a mapping read no other loggers than those that stay.
func listOnly(m *payload.Mapping, loggers []loggerRow, gone map[string]bool) {
	written := map[string]string{}
	for raw, name := range m.Loggers {
		written[name] = raw
	}
	m.OnlyListed, m.Loggers = true, map[string]string{}
	for _, l := range loggers {
		if !gone[l.Name] {
			m.Loggers[cmp.Or(written[l.Name], l.Name)] = l.Name
		}
	}
}

// apartFrom gives each of several new positions of one place an id of its own.
func apartFrom(all []casefile.Placing) []casefile.Placing {
	seen := map[string]int{}
	for i := range all {
		if all[i].Place == "" {
			continue
		}
		if seen[all[i].Position]++; seen[all[i].Position] > 1 {
			all[i].Position = fmt.Sprintf("%s-%d", all[i].Position, seen[all[i].Position])
		}
	}
	return all
}
