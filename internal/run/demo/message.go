package demo

import (
	"slices"
	"strconv"
	"time"

	"dewcase/internal/roof"
)

// message is one thing to publish.
type message struct {
	due      time.Time // when it may be sent; the past for history
	topic    string
	readings []roof.Reading // encoded when sent
	raw      []byte         // sent as it is: what a faulty logger says
}

// catchUpReadings is how many readings a logger that was out of reach packs
// into one message: at most 125 bytes each, under 64 KiB together.
const catchUpReadings = 500

// history lays out everything measured before a moment as catch-up batches, in
// time order over all loggers, so that the timeline grows evenly, with a few
// messages that no program can use, some repeated ones and a logger that the
// case does not know.
func (h *house) history(until time.Time) []message {
	var out []message
	for _, list := range h.loggers {
		end, _ := slices.BinarySearchFunc(list, until, func(r roof.Reading, t time.Time) int { return r.At.Compare(t) })
		for from := 0; from < end; from += catchUpReadings {
			part := list[from:min(from+catchUpReadings, end)]
			out = append(out, message{due: part[0].At, topic: topic(h.id, part[0].Logger), readings: part})
		}
	}
	slices.SortStableFunc(out, func(a, b message) int { return a.due.Compare(b.due) })
	// A logger that missed its acknowledgement says the same again.
	for k := 20; k < len(out); k += 45 {
		out = slices.Insert(out, k+2, out[k])
	}
	for k, body := range nonsense {
		at := (k + 1) * len(out) / (len(nonsense) + 2)
		out = slices.Insert(out, at, message{due: out[at].due, topic: topic(h.id, "k2-loft"), raw: []byte(body)})
	}
	out = append(out, h.stranger(until)...)
	return out
}

// nonsense is what loggers send when something is wrong with them.
var nonsense = []string{
	`{"time":"2026-13-41T06:10:00Z","temp_c":4.3,"rh_pct":92}`,
	`{"temp_c":"warm","rh_pct":"damp"}`,
	`{"time":"2026-01-14T06:10:00Z","temp_c":-127,"rh_pct":140}`,
	`{"time":"2026-01-14T06:1`,
	`ERR sensor bus`,
}

// stranger is a spare logger that somebody switched on and no case file names.
func (h *house) stranger(until time.Time) []message {
	var list []roof.Reading
	for k := range 12 {
		var v roof.Values
		v.Set(roof.TempC, 17.5+0.1*float64(k%3))
		v.Set(roof.RHPct, 55)
		list = append(list, roof.Reading{Logger: "spare-9", At: until.Add(-time.Duration(12-k) * 10 * time.Minute),
			Values: v})
	}
	return []message{
		{due: until, topic: topic(h.id, "spare-9"), readings: list},
		{due: until, topic: topic("old-boathouse", "k1"), readings: list[:1]}, // a case that nobody opened
	}
}

// live lays out what is measured from a moment on: one message a reading, a
// repeat now and then, and stretches in which a logger is out of reach and
// catches up afterwards.
func (h *house) live(from time.Time) []message {
	var out []message
	for n, list := range h.loggers {
		start, _ := slices.BinarySearchFunc(list, from, func(r roof.Reading, t time.Time) int { return r.At.Compare(t) })
		for k := start; k < len(list); k++ {
			name := topic(h.id, list[k].Logger)
			if (k+131*n)%173 == 0 { // out of reach for a dozen readings
				end := min(k+12, len(list))
				out = append(out, message{due: list[end-1].At, topic: name, readings: list[k:end]})
				k = end - 1
				continue
			}
			m := message{due: list[k].At, topic: name, readings: list[k : k+1]}
			out = append(out, m)
			if (k+57*n)%97 == 0 {
				out = append(out, m)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b message) int { return a.due.Compare(b.due) })
	return out
}

func topic(caseID, logger string) string { return "dewcase/" + caseID + "/" + logger }

// payload encodes a message: an object for one reading, an array for more.
func (m *message) payload() []byte {
	if m.raw != nil {
		return m.raw
	}
	if len(m.readings) == 1 {
		return appendReading(nil, m.readings[0])
	}
	b := make([]byte, 0, 100*len(m.readings))
	for i, r := range m.readings {
		b = append(b, "[,"[min(i, 1)])
		b = appendReading(b, r)
	}
	return append(b, ']')
}

func appendReading(b []byte, r roof.Reading) []byte {
	b = append(b, `{"time":"`...)
	b = r.At.UTC().AppendFormat(b, time.RFC3339)
	b = append(b, '"')
	for q := range roof.Quantity(roof.QuantityCount) {
		if x, ok := r.Values.Get(q); ok {
			b = append(b, `,"`...)
			b = append(b, q.String()...)
			b = append(b, `":`...)
			b = strconv.AppendFloat(b, x, 'f', -1, 64)
		}
	}
	return append(b, '}')
}
