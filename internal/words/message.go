package words

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// MessageTaker says what takes a message: the native topic where mapping is 0, or
// the mapping of that number, counted from 1, with its topic.
func MessageTaker(mapping int, topic string) string {
	if mapping == 0 {
		return "read as it comes"
	}
	return fmt.Sprintf("read by mapping %d, of topic %s", mapping, topic)
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
// one is tried first; whole: none at all. Mappings are counted from 1.
func MessageShadow(mapping int, topic string, by int, byTopic string, whole bool) string {
	what := "only messages in which that one finds no value"
	if whole {
		what = "no message"
	}
	return fmt.Sprintf("mapping %d (%s) comes after mapping %d (%s) and gets %s; put it first, or give mapping %d "+
		"a where or present", mapping, topic, by, byTopic, what, by)
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
