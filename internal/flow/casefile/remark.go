package casefile

import (
	"bytes"
	"strings"

	"dewcase/internal/roof"
)

// Remark adds events, stretches left out and views to a case file, which stays as its
// author wrote it but for the new lines; where they cannot be put in line by line
// the whole file is written anew. An error is the file's faults afterwards.
func Remark(name string, file []byte, events []roof.Event, excluded []roof.Excluded,
	views []roof.View) ([]byte, error) {
	c, faults := Parse(name, file)
	if len(faults) > 0 {
		return nil, faults
	}
	lines, byLine := strings.Split(strings.TrimSuffix(strings.ReplaceAll(string(file), "\r\n", "\n"), "\n"), "\n"), true
	item := func(visit func(*section)) string { return strings.Join((&met{}).write(visit), ", ") }
	for _, e := range events {
		lines, byLine = addItem(lines, "events", item(func(s *section) { s.event(&e) }), byLine)
	}
	for _, x := range excluded {
		lines, byLine = addItem(lines, "excluded", item(func(s *section) { s.excluded(&x) }), byLine)
	}
	for _, v := range views {
		lines, byLine = addItem(lines, "views", item(func(s *section) { s.view(&v) }), byLine)
	}
	c.Views = append(c.Views, views...)
	c.Events, c.Excluded = append(c.Events, events...), append(c.Excluded, excluded...)
	whole, err := Format(c)
	if err != nil {
		return nil, err
	}
	if faults := checked(name, whole); len(faults) > 0 {
		return nil, faults
	}
	if edited := []byte(strings.Join(lines, "\n") + "\n"); byLine && bytes.Equal(normal(edited), normal(whole)) {
		return edited, nil
	}
	return whole, nil
}

func checked(name string, file []byte) roof.Faults {
	_, faults := Parse(name, file)
	return faults
}
