package commands

import (
	"context"
	"fmt"

	"dewcase/internal/door/manual"
)

// about prints how the answers are made.
func about(_ context.Context, args []string, s Streams) error {
	topic := ""
	if len(args) > 0 && args[0] != "" && args[0][0] != '-' {
		topic, args = args[0], args[1:]
	}
	if err := parse(flags("about", "[TOPIC]; without one it lists them", s), args); err != nil {
		return err
	}
	if topic == "" {
		for _, t := range manual.Topics() {
			fmt.Fprintf(s.Out, "dewcase about %-9s %s\n", t.Name, t.Title)
		}
		return nil
	}
	t, ok := manual.Find(topic)
	if !ok {
		return usageError{fmt.Sprintf("nothing is written about %q; dewcase about lists what there is", topic)}
	}
	text, err := t.Text()
	if err != nil {
		return err
	}
	_, err = fmt.Fprint(s.Out, text)
	return err
}
