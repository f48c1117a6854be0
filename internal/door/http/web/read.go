package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

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
	House  *head
	Forms  []readForm
	Unread int // kept messages that nothing reads
}

// readForm is one mapping, or those of one announcement, with what it makes of the
// messages that came.
type readForm struct {
	N               int // counts the forms of a page
	Name            string
	Text            string // the mappings as the configuration writes them
	Topics          []string
	Messages, Taken int
	Fields          []fieldRow
	Zone            []option // of local times; none where there are none
	Dates           []option // how dates are written, where that is doubtful
	Loggers         []loggerRow
	Spots           []spot
	First           time.Time // of the readings
	Aside           []payload.Key
	Unread          []string // what looks like a time and is not read as one
	Faults          []string
	Rejected        string // why the first message is not read
}

// option is one answer of a select.
type option struct {
	Value, Words string
	Chosen       bool
}

// fieldRow is one value that a mapping reads.
type fieldRow struct {
	Index            int
	Name             string // under which its unit is asked
	Quantity         string
	At               string // pointer or segment
	Probe            string
	Key              payload.Key
	Units            []option
	Doubtful, Chosen bool
}

// loggerRow is one logger that a mapping gives.
type loggerRow struct {
	Name     string
	Readings int
	Last     roof.Reading
	Place    string // chosen
	Fitted   string // where it hangs already
}

// unitWords are the units as people write them.
var unitWords = map[payload.Unit]string{payload.Celsius: "°C", payload.Fahrenheit: "°F", payload.Kelvin: "K",
	payload.Percent: "per cent", payload.Fraction: "a fraction, 0 to 1", payload.Millimetre: "mm",
	payload.MetreSecond: "m/s", payload.KilometreHour: "km/h", payload.WattMetre2: "W/m²"}

// unitChoices are the units that a person can choose between for a quantity.
func unitChoices(q roof.Quantity) []payload.Unit {
	switch q {
	case roof.TempC:
		return []payload.Unit{payload.Celsius, payload.Fahrenheit, payload.Kelvin}
	case roof.RHPct, roof.BatteryPct, roof.WoodPct:
		return []payload.Unit{payload.Percent, payload.Fraction}
	case roof.WindMS:
		return []payload.Unit{payload.MetreSecond, payload.KilometreHour}
	}
	return nil
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

// fill lays mappings out as a form. Of what is doubtful by its key nothing is
// chosen beforehand.
func (f *readForm) fill(h *head, all []payload.Mapping, messages []payload.Message, keys []payload.Key) {
	f.Text, f.Spots = payload.WriteMappings(all), spots(h.Case)
	used := map[string]bool{}
	eachField(all, func(field *payload.Field, probe string) {
		row := fieldRow{Index: len(f.Fields), Quantity: field.Quantity.String(), At: cmp.Or(field.Pointer, field.Segment),
			Probe: probe}
		for _, k := range keys {
			if k.Pointer == payload.KeyOf(*field) {
				row.Key, row.Doubtful, used[k.Pointer] = k, k.Doubtful(), true
			}
		}
		scales := []float64{cmp.Or(field.Scale, 1)}
		if slices.Contains(row.Key.By, payload.ByScale) {
			scales = []float64{0.1, 0.01, 1}
		}
		for _, u := range unitChoices(field.Quantity) {
			for _, s := range scales {
				o := option{Value: unitValue(u, s), Words: unitWords[u], Chosen: !row.Doubtful && u == field.Unit}
				switch s {
				case 0.1:
					o.Words = "tenths of " + o.Words
				case 0.01:
					o.Words = "hundredths of " + o.Words
				}
				row.Units = append(row.Units, o)
			}
		}
		row.Name = strconv.Itoa(row.Index)
		if row.Doubtful {
			row.ask(f.Fields)
		}
		row.Chosen = slices.ContainsFunc(row.Units, func(o option) bool { return o.Chosen })
		f.Fields = append(f.Fields, row)
	})
	var clock payload.Key
	for _, k := range keys {
		switch {
		case used[k.Pointer]:
		case k.Role == payload.TimeRole:
			clock = k
		default:
			f.Aside = append(f.Aside, k)
		}
	}
	f.clock(all, h, clock)
	f.preview(h, all, messages)
}

// ask has a person say the unit, once for all fields of the quantity.
func (row *fieldRow) ask(before []fieldRow) {
	row.Name, row.Doubtful, row.Chosen = row.Quantity, true, false
	for u := range row.Units {
		row.Units[u].Chosen = false
	}
	if slices.ContainsFunc(before, func(other fieldRow) bool { return other.Name == row.Name }) {
		row.Units = nil
	}
}

// clock asks what only a person can know of a local time.
func (f *readForm) clock(all []payload.Mapping, h *head, k payload.Key) {
	for _, m := range all {
		if m.Time == nil || m.Time.Form != "layout" || strings.HasSuffix(m.Time.Layout, "Z") {
			continue
		}
		said, own := !k.Doubtful(), h.Case.Property.Timezone
		f.Zone = []option{{own, "the house’s own, " + own, said && m.Time.Zone == own},
			{"UTC", "UTC, the same all year", said && m.Time.Zone == "UTC"}}
		swap := strings.NewReplacer("DD", "MM", "MM", "DD").Replace(m.Time.Layout)
		if strings.Contains(m.Time.Layout, "/") && !strings.HasPrefix(m.Time.Layout, "Y") {
			said = said || !slices.Contains(k.By, payload.DatesUnclear)
			f.Dates = []option{{m.Time.Layout, m.Time.Layout, said}, {swap, swap, false}}
		}
	}
}

// preview says what mappings make of the messages that came.
func (f *readForm) preview(h *head, all []payload.Mapping, messages []payload.Message) {
	became, err := payload.Become(all, messages)
	if err != nil {
		f.Faults = append(f.Faults, strings.Split(err.Error(), "\n")...)
		return
	}
	at := map[string]int{}
	row := func(name string) *loggerRow {
		i, ok := at[name]
		if !ok {
			i = len(f.Loggers)
			at[name] = i
			f.Loggers = append(f.Loggers, loggerRow{Name: name})
			if l, ok := h.Case.Logger(name); ok {
				for _, fit := range l.Fitted {
					if fit.To.IsZero() {
						f.Loggers[i].Fitted = fit.Position
					}
				}
			}
		}
		return &f.Loggers[i]
	}
	for _, m := range all {
		if m.Logger != "" {
			row(m.Logger)
		}
	}
	for _, b := range became {
		if b.Mapping < 0 {
			continue
		}
		f.Messages++
		if len(b.Readings) > 0 {
			f.Taken++
		} else if len(b.Rejects) > 0 && f.Rejected == "" {
			f.Rejected = b.Rejects[0].Detail
		}
		for _, x := range b.Readings {
			l := row(x.Logger)
			if l.Readings++; !x.At.Before(l.Last.At) {
				l.Last = x
			}
			if f.First.IsZero() || x.At.Before(f.First) {
				f.First = x.At
			}
		}
	}
	slices.SortStableFunc(f.Loggers, func(a, b loggerRow) int { return cmp.Compare(a.Name, b.Name) })
}

// eachField calls do for every field of mappings, with the probe that it is of.
func eachField(all []payload.Mapping, do func(f *payload.Field, probe string)) {
	for m := range all {
		for i := range all[m].Fields {
			do(&all[m].Fields[i], "")
		}
		for p := range all[m].Probes {
			for i := range all[m].Probes[p].Fields {
				do(&all[m].Probes[p].Fields[i], cmp.Or(all[m].Probes[p].Logger, all[m].Probes[p].Suffix))
			}
		}
	}
}

func unitValue(u payload.Unit, scale float64) string {
	return string(u) + " " + strconv.FormatFloat(scale, 'g', -1, 64)
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
	for i, l := range f.Loggers {
		value := r.PostFormValue("place." + l.Name)
		f.Loggers[i].Place = value
		if pl, ok := placing(h.Case, l.Name, value, from); ok {
			order.Placings = append(order.Placings, pl)
		}
	}
	order.Placings = apartFrom(order.Placings)
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
	status := http.StatusOK
	if len(f.Faults) > 0 {
		status = http.StatusUnprocessableEntity
	}
	p.showRead(w, r, status, readBody{House: h, Forms: []readForm{f}, Unread: len(messages)})
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

// unreadTopics lists the topics of kept messages that nothing reads, the busiest
// first.
func (p *Pages) unreadTopics(ctx context.Context) (out []topicRow, err error) {
	messages, err := p.inbox.Unread(ctx)
	at := map[string]int{}
	for _, m := range messages {
		i, ok := at[m.Topic]
		if !ok {
			i = len(out)
			at[m.Topic] = i
			out = append(out, topicRow{Topic: m.Topic})
		}
		out[i].Count++
		if !m.Arrived.Before(out[i].Last) {
			out[i].Last, out[i].Payload = m.Arrived, m.Payload
		}
	}
	slices.SortStableFunc(out, func(a, b topicRow) int { return b.Count - a.Count })
	return out, err
}

// valuesWords lists what a reading holds: 4.3 °C, 89 %RH, battery 83.
func valuesWords(r roof.Reading) string {
	var out []string
	for _, q := range []struct{ key, unit string }{{"temp_c", " °C"}, {"rh_pct", " %RH"}} {
		if x := measuredCell(r, q.key); x != "–" {
			out = append(out, x+q.unit)
		}
	}
	if more := furtherCell(r); more != "" {
		out = append(out, more)
	}
	return strings.Join(out, ", ")
}

// topicRow is one topic that nothing reads.
type topicRow struct {
	Topic   string
	Count   int
	Last    time.Time
	Payload []byte
}
