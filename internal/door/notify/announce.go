package notify

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// Description is one retained message of the open home-automation discovery
// convention, by which a program learns of a figure and where to find it: an
// entity of a device, its topic, and the template that takes its value out of the
// topic's JSON.
type Description struct {
	Name          string `json:"name"`
	UniqueID      string `json:"unique_id"`
	ObjectID      string `json:"object_id"`
	StateTopic    string `json:"state_topic"`
	ValueTemplate string `json:"value_template"`
	DeviceClass   string `json:"device_class,omitempty"`
	Unit          string `json:"unit_of_measurement,omitempty"`
	StateClass    string `json:"state_class,omitempty"`
	PayloadOn     string `json:"payload_on,omitempty"`
	PayloadOff    string `json:"payload_off,omitempty"`
	Attributes    string `json:"json_attributes_topic,omitempty"`
	Availability  string `json:"availability_topic"`
	Device        Device `json:"device"`
	Origin        Origin `json:"origin"`
}

// Device groups the entities of a house.
type Device struct {
	Identifiers  []string `json:"identifiers"`
	Name         string   `json:"name"`
	Manufacturer string   `json:"manufacturer"`
	Model        string   `json:"model"`
}

// Origin is the program that describes.
type Origin struct {
	Name    string `json:"name"`
	Version string `json:"sw_version"`
}

// Availability is the topic that says whether a daemon is there, Online or Offline,
// retained; no case can be named so. Its last will says Offline for one that died.
func Availability(clientID string) string { return TopicPrefix + "_" + objectID(clientID) }

// The words of the topic Availability.
const (
	Online  = "online"
	Offline = "offline"
)

// ownID begins the identifiers of what is ours, so that it is known when it comes
// back.
const ownID = "dewcase_"

// Ours reports whether a description with this unique_id is one of ours.
func Ours(uniqueID string) bool { return strings.HasPrefix(uniqueID, ownID) }

// objectID writes a name in the letters that the convention allows in a topic, two
// names never alike.
func objectID(name string) string {
	var b strings.Builder
	for i := range len(name) {
		switch c := name[i]; {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '-':
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "_%02x", c)
		}
	}
	return b.String()
}

// describe lists what a case announces, by topic below the prefix: whether it is
// wet, tonight's chance, whether an alert is in force, the margin of each surface
// and the dew point of each air position.
func describe(c *roof.Case, prefix, availability, version string) map[string]Description {
	out := map[string]Description{}
	node, state := "dewcase-"+c.ID, TopicPrefix+c.ID
	add := func(component, object string, d Description) {
		d.UniqueID, d.ObjectID = ownID+c.ID+"_"+object, ownID+strings.ReplaceAll(c.ID, "-", "_")+"_"+object
		d.StateTopic, d.Availability = state, availability
		label := c.Property.Label
		if label == "" {
			label = c.ID
		}
		d.Device = Device{[]string{ownID + c.ID}, label, "dewcase", "roof under observation"}
		d.Origin = Origin{"dewcase", version}
		out[strings.Join([]string{prefix, component, node, object, "config"}, "/")] = d
	}
	yesNo := Description{PayloadOn: "True", PayloadOff: "False"}
	wet, alerts := yesNo, yesNo
	wet.Name, wet.DeviceClass, wet.ValueTemplate = words.AnnouncedWet, "moisture", "{{ value_json.wet }}"
	alerts.Name, alerts.DeviceClass, alerts.Attributes = words.AnnouncedAlert, "problem", state
	alerts.ValueTemplate = "{{ value_json.alerts | length > 0 }}"
	add("binary_sensor", "wet", wet)
	add("binary_sensor", "alert", alerts)
	add("sensor", "chance_tonight", Description{Name: words.AnnouncedChance, Unit: "%", StateClass: "measurement",
		ValueTemplate: "{{ None if value_json.chance_tonight is none else (value_json.chance_tonight * 100) | round(0) }}"})
	for _, p := range c.Positions {
		value := func(key string) string { return fmt.Sprintf("{{ value_json.places['%s'].%s }}", p.ID, key) }
		switch {
		case p.Place.IsSurface() && p.Meets != "":
			add("sensor", "margin_"+objectID(p.ID), Description{Name: words.AnnouncedMargin(p), Unit: "K",
				StateClass: "measurement", ValueTemplate: value("margin_k")})
		case p.Place.IsAir():
			add("sensor", "dew_point_"+objectID(p.ID), Description{Name: words.AnnouncedDewPoint(p), Unit: "°C",
				DeviceClass: "temperature", StateClass: "measurement", ValueTemplate: value("dew_point_c")})
		}
	}
	return out
}

// Announcer keeps the descriptions of every case at the broker, and takes back
// those of cases and positions that are gone, also after a restart: what was
// announced is kept before it is.
type Announcer struct {
	AnnouncerOptions
	mu   sync.Mutex
	kept []string // topics that a broker may hold; nil: not read yet
	said map[string]published
}

// AnnouncerOptions are what it stands on; all are needed.
type AnnouncerOptions struct {
	Publish func(topic string, payload []byte, retained bool) error
	State   interface {
		State(ctx context.Context, kind, key string) ([]byte, error)
		PutState(ctx context.Context, kind, key string, blob []byte) error
	}
	Prefix, ClientID, Version string
}

// kindAnnounced is the kind of state that announced topics are kept as.
const kindAnnounced = "announced"

// NewAnnouncer makes one; it announces nothing yet.
func NewAnnouncer(o AnnouncerOptions) *Announcer {
	return &Announcer{AnnouncerOptions: o, said: map[string]published{}}
}

// Announce says that the daemon is there, describes these cases, and takes
// everything else back; off, it takes all back. A failure is tried again at the
// next call.
func (a *Announcer) Announce(ctx context.Context, on bool, cases []*roof.Case, now time.Time) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if err := a.recall(ctx); err != nil {
		return err
	}
	wanted := map[string]string{}
	if on {
		wanted[Availability(a.ClientID)] = Online
		for _, c := range cases {
			for topic, d := range describe(c, a.Prefix, Availability(a.ClientID), a.Version) {
				body, err := json.Marshal(d)
				if err != nil {
					return fmt.Errorf("describing %s: %w", topic, err)
				}
				wanted[topic] = string(body)
			}
		}
	}
	all := slices.Compact(slices.Sorted(slices.Values(slices.Concat(a.kept, slices.Collect(maps.Keys(wanted))))))
	if err := a.keep(ctx, all); err != nil {
		return err
	}
	for _, topic := range all {
		if err := a.say(topic, wanted[topic], now); err != nil {
			return err // all stay on the list; the others would wait as long for a broker that is away
		}
	}
	return a.keep(ctx, slices.Sorted(maps.Keys(wanted)))
}

// say publishes a message where it is not what the topic says; "" takes it back.
func (a *Announcer) say(topic, body string, now time.Time) error {
	if before := a.said[topic]; body != "" && before.said == body && now.Sub(before.at) < sayAgain {
		return nil
	}
	if err := a.Publish(topic, []byte(body), true); err != nil {
		return fmt.Errorf("announcing %s: %w", topic, err)
	}
	a.said[topic] = published{body, now}
	return nil
}

func (a *Announcer) recall(ctx context.Context) error {
	if a.kept != nil {
		return nil
	}
	blob, err := a.State.State(ctx, kindAnnounced, "topics")
	if errors.Is(err, roof.ErrNotFound) {
		a.kept = []string{}
		return nil
	}
	if err == nil {
		err = json.Unmarshal(blob, &a.kept)
	}
	if err != nil {
		return fmt.Errorf("reading what was announced: %w", err)
	}
	return nil
}

func (a *Announcer) keep(ctx context.Context, topics []string) error {
	if slices.Equal(a.kept, topics) {
		return nil
	}
	blob, err := json.Marshal(topics)
	if err == nil {
		err = a.State.PutState(ctx, kindAnnounced, "topics", blob)
	}
	if err != nil {
		return fmt.Errorf("keeping what is announced: %w", err)
	}
	a.kept = topics
	return nil
}
