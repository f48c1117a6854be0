package announced

import (
	"cmp"
	"regexp"
	"slices"
	"strings"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

// Offer is one logger that sensors announced: a temperature with the humidity and
// battery that belong to it, or a humidity alone.
type Offer struct {
	Key     string // tells it from the others
	Name    string // for people
	Sensors []Sensor
}

// Offers groups sensors into loggers, by name. Of a device with one temperature all
// are one logger; of one with several, what has the same name but for the words of
// the quantity goes together.
func Offers(sensors []Sensor) []Offer {
	sensors = slices.Clone(sensors)
	slices.SortFunc(sensors, func(a, b Sensor) int { return cmp.Compare(a.Topic, b.Topic) })
	probes := map[string]int{}
	for _, s := range sensors {
		if s.Quantity == roof.TempC {
			probes[s.device()]++
		}
	}
	by := map[string]*Offer{}
	for _, s := range sensors {
		key, name := s.device(), cmp.Or(s.DeviceName, s.Name, s.StateTopic)
		if probes[key] > 1 {
			stem := stemOf(cmp.Or(s.ID, s.Topic))
			key += "\x00" + stem
			name += ", " + cmp.Or(strings.Trim(stemOf(s.Name), " "), stem)
		}
		o := by[key]
		if o == nil {
			o = &Offer{Key: key, Name: name}
			by[key] = o
		}
		if !slices.ContainsFunc(o.Sensors, func(x Sensor) bool { return x.Quantity == s.Quantity }) {
			o.Sensors = append(o.Sensors, s)
		}
	}
	var out []Offer
	for _, o := range by {
		if slices.ContainsFunc(o.Sensors, func(s Sensor) bool { return s.Quantity != roof.BatteryPct }) {
			out = append(out, *o)
		}
	}
	slices.SortFunc(out, func(a, b Offer) int {
		return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Key, b.Key))
	})
	return out
}

func (s Sensor) device() string { return cmp.Or(s.Device, s.StateTopic) }

// quantityWords are what names say of the quantity.
var quantityWords = regexp.MustCompile(`(?i)(relative)?[ _-]*(temperature|temp|humidity|hum|rh|battery|batt)[ _-]*`)

func stemOf(name string) string { return strings.ToLower(quantityWords.ReplaceAllString(name, " ")) }

// Logger proposes a name for the logger of an offer.
func (o Offer) Logger() string {
	name := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '-', r == '_', r == '.':
			return r
		case r >= 'A' && r <= 'Z':
			return r
		}
		return '-'
	}, o.Name)
	for strings.Contains(name, "--") {
		name = strings.ReplaceAll(name, "--", "-")
	}
	name = strings.Trim(name[:min(len(name), 64)], "-.")
	return cmp.Or(name, "announced")
}

// Mappings are those by which an offer becomes a logger of a case: one a topic.
// Retained values are left aside, as how old they are is not known.
func (o Offer) Mappings(caseID, logger string) (out []payload.Mapping) {
	for _, s := range o.Sensors {
		f := payload.Field{Quantity: s.Quantity, Unit: s.Unit, Pointer: s.Pointer, Text: true}
		form := payload.JSONForm
		if s.Pointer == "" {
			form, f.Text = payload.NumberForm, false // all of it is text
		}
		at := slices.IndexFunc(out, func(m payload.Mapping) bool { return m.Topic == s.StateTopic && m.Form == form })
		if at >= 0 && form == payload.JSONForm {
			out[at].Fields = append(out[at].Fields, f)
			continue
		}
		out = append(out, payload.Mapping{Topic: s.StateTopic, Case: caseID, Logger: logger, Form: form,
			Fields: []payload.Field{f}, Retained: "ignore"})
	}
	return out
}
