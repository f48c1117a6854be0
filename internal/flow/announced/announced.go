// Package announced reads what sensors say of themselves by the open
// home-automation discovery convention, and turns it into mappings.
//
// A bridge publishes one retained JSON message a quantity, on the topic
// <prefix>/sensor/[<node>/]<object>/config: what is measured (device_class), its
// unit, the topic of its values (state_topic), where in them it stands
// (value_template) and of which device it is. The convention has short forms of
// the keys, and ~ for a part of topics that repeats; both are read. Templates are
// programs; of them only {{ value_json.name }} and {{ value }} are taken.
package announced

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

// Sensor is one quantity that a sensor announced.
type Sensor struct {
	Topic      string // of the announcement
	ID         string // its unique_id
	Device     string // identifies what it is part of; "" where it is part of nothing
	DeviceName string
	Name       string
	StateTopic string
	Pointer    string // into the JSON of the state topic; "" where the payload is one bare value
	Quantity   roof.Quantity
	Unit       payload.Unit
}

// ErrOther is wrapped by Read where a description is none of a quantity that is
// read here.
var ErrOther = errors.New("neither temperature nor humidity")

// description are the keys that are read, each with its short form.
type description struct {
	Name          string `json:"name"`
	UniqueID      string `json:"unique_id"`
	UniqID        string `json:"uniq_id"`
	StateTopic    string `json:"state_topic"`
	StatT         string `json:"stat_t"`
	ValueTemplate string `json:"value_template"`
	ValTpl        string `json:"val_tpl"`
	DeviceClass   string `json:"device_class"`
	DevCla        string `json:"dev_cla"`
	Unit          string `json:"unit_of_measurement"`
	UnitOfMeas    string `json:"unit_of_meas"`
	Base          string `json:"~"`
	Device        device `json:"device"`
	Dev           device `json:"dev"`
}

type device struct {
	Identifiers names  `json:"identifiers"`
	IDs         names  `json:"ids"`
	Name        string `json:"name"`
}

// names are one name or a list of them.
type names []string

// UnmarshalJSON reads either form.
func (n *names) UnmarshalJSON(b []byte) error {
	var one string
	if json.Unmarshal(b, &one) == nil {
		*n = names{one}
		return nil
	}
	return json.Unmarshal(b, (*[]string)(n))
}

// Filters are the topic filters of the announcements below a prefix.
func Filters(prefix string) []string {
	return []string{prefix + "/sensor/+/config", prefix + "/sensor/+/+/config"}
}

// On reports whether a topic is one of an announcement, of any component.
func On(prefix, topic string) bool {
	rest, below := strings.CutPrefix(topic, prefix+"/")
	levels := strings.Split(rest, "/")
	return below && (len(levels) == 3 || len(levels) == 4) && levels[len(levels)-1] == "config"
}

// template takes a value out of JSON by its name, or by a path of names.
var (
	template = regexp.MustCompile(`^\{\{-?\s*value_json((?:\.\w+|\[\s*(?:'[^']*'|"[^"]*")\s*\])+)\s*-?\}\}$`)
	step     = regexp.MustCompile(`\.(\w+)|\[\s*(?:'([^']*)'|"([^"]*)")\s*\]`)
	bare     = regexp.MustCompile(`^(\{\{-?\s*value\s*-?\}\})?$`)
)

const maxBytes = 16 << 10

// Read reads one announcement. An error says why it cannot be taken.
func Read(prefix, topic string, body []byte) (Sensor, error) {
	s := Sensor{Topic: topic}
	var d description
	if !strings.HasPrefix(topic, prefix+"/sensor/") {
		return s, ErrOther
	}
	if len(body) > maxBytes {
		return s, fmt.Errorf("the description is %d bytes; at most %d are read", len(body), maxBytes)
	}
	if err := json.Unmarshal(body, &d); err != nil {
		return s, fmt.Errorf("the description is not JSON as the convention has it: %w", err)
	}
	either := func(long, short string) string {
		if long != "" {
			return long
		}
		return short
	}
	switch class := either(d.DeviceClass, d.DevCla); class {
	case "temperature":
		s.Quantity = roof.TempC
	case "humidity":
		s.Quantity = roof.RHPct
	case "battery":
		s.Quantity = roof.BatteryPct
	default:
		return s, ErrOther
	}
	var ok bool
	unit := either(d.Unit, d.UnitOfMeas)
	if s.Unit, ok = units[s.Quantity][unit]; !ok {
		return s, fmt.Errorf("its unit is %q; °C, °F, K or %% can be read", unit)
	}
	s.Name, s.ID = d.Name, either(d.UniqueID, d.UniqID)
	for _, dev := range []device{d.Device, d.Dev} {
		for _, id := range slices.Concat(dev.Identifiers, dev.IDs) {
			s.Device = either(s.Device, id)
		}
		s.DeviceName = either(s.DeviceName, dev.Name)
	}
	s.StateTopic = expand(either(d.StateTopic, d.StatT), d.Base)
	if s.StateTopic == "" || strings.ContainsAny(s.StateTopic, "+#{}") || strings.HasPrefix(s.StateTopic, "$") {
		return s, fmt.Errorf("its state_topic %q is none that a value comes on", s.StateTopic)
	}
	t := strings.TrimSpace(either(d.ValueTemplate, d.ValTpl))
	if bare.MatchString(t) {
		return s, nil
	}
	path := template.FindStringSubmatch(t)
	if path == nil {
		return s, fmt.Errorf("its value_template %.80q computes; only {{ value_json.name }} is read: map the topic %s by "+
			"hand", t, s.StateTopic)
	}
	for _, m := range step.FindAllStringSubmatch(path[1], -1) {
		s.Pointer += "/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(either(m[1], either(m[2], m[3])))
	}
	return s, nil
}

// expand puts the base in place of ~ at either end of a topic.
func expand(topic, base string) string {
	if base == "" {
		return topic
	}
	if rest, ok := strings.CutPrefix(topic, "~"); ok {
		return base + rest
	}
	if rest, ok := strings.CutSuffix(topic, "~"); ok {
		return rest + base
	}
	return topic
}

// units are the words for units that descriptions use.
var units = map[roof.Quantity]map[string]payload.Unit{
	roof.TempC: {"°C": payload.Celsius, "C": payload.Celsius, "°F": payload.Fahrenheit, "F": payload.Fahrenheit,
		"K": payload.Kelvin},
	roof.RHPct:      {"%": payload.Percent},
	roof.BatteryPct: {"%": payload.Percent},
}
