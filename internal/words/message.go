package words

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// MappingName names a mapping by its number among those of the configuration, or of
// a house, from 1.
func MappingName(house string, number int, topic string) string {
	if house != "" {
		return fmt.Sprintf("mapping %d of house %s (%s)", number, house, topic)
	}
	return fmt.Sprintf("mapping %d (%s)", number, topic)
}

// MessageTaker says what takes a message: the native topic, or the mapping of a name.
func MessageTaker(mapping string) string {
	if mapping == "" {
		return "read as it comes"
	}
	return "read by " + mapping
}

// MessageLeftAside says that a mapping takes a message and makes nothing of it.
func MessageLeftAside(mapping string) string { return "nothing: " + mapping + " leaves it aside" }

// MessageRival says that another mapping would read the message too, and does not.
func MessageRival(mapping, taker string) string {
	return mapping + " would read it too, but comes after " + taker
}

// MessageReading writes what a message became: house, logger, time, quantities
// and what is doubtful.
func MessageReading(caseID string, r roof.Reading) string {
	var values []string
	for q := range roof.Quantity(roof.QuantityCount) {
		if x, ok := r.Values.Get(q); ok {
			values = append(values, q.String()+" "+strconv.FormatFloat(x, 'f', -1, 64))
		}
	}
	out := fmt.Sprintf("a reading of house %s, logger %s, at %s: %s", caseID, r.Logger,
		r.At.UTC().Format(time.RFC3339Nano), strings.Join(values, ", "))
	if names := r.Flags.Names(); len(names) > 0 {
		out += " (" + strings.ReplaceAll(strings.Join(names, ", "), "_", " ") + ")"
	}
	return out
}

// MessageWaits is said of a message that a mapping reads and that is no reading yet.
const MessageWaits = "no reading by itself yet: a half that waits for its other one, an empty or a retained message"

// MessageUntaken says of a value that it looks like a quantity and is not read, on
// the native topic or by a mapping.
func MessageUntaken(native bool, pointer, example string, q roof.Quantity) string {
	where := "stands under probes: in the mapping"
	if native {
		where = "is sent as a logger of its own, on a topic with its name"
	}
	return fmt.Sprintf("not read: %s is %s, which looks like %s; a further probe %s", pointer, example, q, where)
}

// MessageNothing is said of a message that is meant for no reading, by a mapping's
// conditions or as one to ignore.
const MessageNothing = "nothing: the mappings leave it aside"

// MessageShadow says that a mapping gets no message, or hardly one, as an earlier
// one is tried first; whole: none at all.
func MessageShadow(mapping, by string, whole bool) string {
	what := "only messages in which that one finds no value"
	if whole {
		what = "no message"
	}
	return fmt.Sprintf("%s comes after %s and gets %s; put it first, or give the earlier one a where or present", mapping,
		by, what)
}

// MessageTimeUnread says that a key looks like a time, and that nothing reads it.
func MessageTimeUnread(pointer, example string) string {
	return fmt.Sprintf("%s, such as “%s”, looks like a time and is not read as one: it is written in an unknown way, or "+
		"far from the arrival; readings get their time of arrival", pointer, example)
}

// WouldBe says what values are in the unit of our quantity, behind the unit that a person
// can choose.
func WouldBe(quantity string, low, high float64) string {
	sign := map[string]string{"temp_c": " °C", "rh_pct": " %", "battery_pct": " %", "wood_pct": " %", "wind_ms": " m/s",
		"rain_mm": " mm", "sun_w_m2": " W/m²"}[quantity]
	if a, b := Fixed(low, 1), Fixed(high, 1); a != b {
		return ": " + a + " to " + b + sign
	}
	return ": " + Fixed(low, 1) + sign
}

// MessageSenseless says why nothing can be proposed of a message, as far as its
// beginning tells.
func MessageSenseless(payload string) string {
	text := strings.TrimSpace(payload)
	switch {
	case strings.HasPrefix(text, "<"):
		return "XML is not read; let the gateway send JSON or text such as t=4.3 h=92"
	case strings.HasPrefix(text, "{"), strings.HasPrefix(text, "["):
		return "nothing in it is named like a temperature, a humidity or another quantity that is read"
	case len(text) > 0 && strings.Trim(text, "0123456789.,;|+-: \t") == "":
		return "numbers without names: no level of the topic says what they measure"
	}
	return "it is neither JSON, SenML, line protocol nor text that names its values, such as t=4.3 h=92"
}

// MessageProposal introduces a mapping that would read a message, of which doubtful
// keys are a person's to confirm.
func MessageProposal(doubtful []string) string {
	out := "a mapping that would read it"
	if len(doubtful) > 0 {
		out += "; look at what is said of " + strings.Join(doubtful, ", ") + ", which the message does not tell"
	}
	return out + ":"
}

var rejections = map[string]string{"not_finite": "value that is no finite number",
	"temp_out_of_range": "temperature that cannot be (under −90 or over 100 °C)",
	"rh_out_of_range":   "humidity that cannot be (under 0 or over 105 %RH)", "no_quantity": "no quantity that is known",
	"time_too_old": "time before 2000", "time_ahead": "time more than a day ahead", "bad_time": "time that cannot be read",
	"bad_value": "value that is no number", "bad_payload": "form of message that is not known",
	"too_large": "message too large", "bad_topic": "topic that names no case and logger",
	"unknown_case": "case that is not known", "too_many_loggers": "more loggers than a case may have",
	"retained_without_time": "kept message without a time", "unpaired": "bare number whose partner did not come",
	"bad_logger": "logger’s name with letters not allowed", "bad_row": "row of a file that cannot be read",
	"unsupported_format": "form of file that is not read", "forbidden": "sender that may not write here"}

// Rejected says in a few words why a reading was refused: time that cannot be read.
func Rejected(reason string) string {
	if said := rejections[reason]; said != "" {
		return said
	}
	return Key(reason)
}
