package casefile

import (
	"strings"
	"time"

	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

// section is one mapping of a case file. The same lines read it and write it:
// each names a key, what may stand there and where in the case it belongs.
type section struct {
	*met
	task  task
	keys  []string       // named so far
	m     strictyaml.Map // being read
	lines []string       // being written, a key with its value each
}

// met is what keys further down the file are read by.
type met struct {
	zone  *time.Location
	place map[string]roof.Place // of each position, known by id; "" when its place is faulty
}

type task uint8

const (
	naming task = iota // the keys alone, which are needed before any is read
	reading
	writing
)

func (k *met) read(n strictyaml.Node, visit func(*section)) {
	names := &section{met: k}
	visit(names)
	visit(&section{met: k, task: reading, m: n.Map(names.keys...)})
}

func (k *met) write(visit func(*section)) []string {
	s := &section{met: k, task: writing}
	visit(s)
	return s.lines
}

// key is one with a value of its own: read takes it out of the file, and
// written is how it stands there, "" for nothing. A remedy makes a key that must
// be there.
func (s *section) key(key, remedy, written string, read func(strictyaml.Node)) {
	s.keys = append(s.keys, key)
	switch {
	case s.task == reading && remedy != "":
		read(s.m.Need(key, remedy))
	case s.task == reading:
		read(s.m.Get(key))
	case s.task == writing && written != "":
		s.lines = append(s.lines, key+": "+written)
	}
}

// inline is a mapping that is written on one line.
func (s *section) inline(key string, visit func(*section)) {
	written := ""
	if s.task == writing {
		if lines := s.write(visit); len(lines) > 0 {
			written = braced(lines)
		}
	}
	s.key(key, "", written, func(n strictyaml.Node) { s.read(n, visit) })
}

func braced(lines []string) string { return "{" + strings.Join(lines, ", ") + "}" }

// block is a mapping with a line for each of its keys.
func (s *section) block(key, remedy string, visit func(*section)) {
	s.key(key, remedy, "", func(n strictyaml.Node) { s.read(n, visit) })
	if s.task != writing {
		return
	}
	for i, line := range s.write(visit) {
		if i == 0 {
			s.lines = append(s.lines, key+":")
		}
		s.lines = append(s.lines, "  "+line)
	}
}

// list is a sequence of mappings, each on one line or, laid out, on many.
func list[T any](s *section, key string, laidOut bool, all *[]T, visit func(*section, *T)) {
	s.key(key, "", "", func(n strictyaml.Node) {
		for _, entry := range n.List() {
			var one T
			s.read(entry, func(s *section) { visit(s, &one) })
			*all = append(*all, one)
		}
	})
	if s.task != writing {
		return
	}
	for i := range *all {
		if i == 0 {
			s.lines = append(s.lines, key+":")
		}
		lines := s.write(func(s *section) { visit(s, &(*all)[i]) })
		if !laidOut {
			lines = []string{braced(lines)}
		}
		dash := "  - "
		for _, line := range lines {
			s.lines, dash = append(s.lines, dash+line), "    "
		}
	}
}

// number is one that may be unknown, which is nil.
func (s *section) number(key string, to **float64, low, high float64) {
	written := ""
	if *to != nil {
		written = decimal(**to)
	}
	s.key(key, "", written, func(n strictyaml.Node) {
		if n.Is("unknown") {
			return
		}
		if x, ok := n.Number(low, high); ok {
			*to = &x
		}
	})
}

// given is a number whose zero means that it was not given.
func (s *section) given(key string, to *float64, low, high float64) {
	s.key(key, "", given(*to), func(n strictyaml.Node) {
		if x, ok := n.Number(low, high); ok {
			*to = x
		}
	})
}

// word is one of a few; unknown and a missing key are "".
func (s *section) word(key string, to *string, allowed ...string) {
	s.key(key, "", text(*to), func(n strictyaml.Node) {
		if *to, _ = n.Word(append(allowed, "unknown")...); *to == "unknown" {
			*to = ""
		}
	})
}

// one is one of a few words that must be there.
func one[T ~string](s *section, key, remedy string, to *T, allowed ...string) {
	s.key(key, remedy, text(string(*to)), func(n strictyaml.Node) {
		w, _ := n.Word(allowed...)
		*to = T(w)
	})
}

func (s *section) answer(key string, to *roof.Answer) {
	s.key(key, "", string(*to), func(n strictyaml.Node) {
		if n.Is("unknown") {
			return
		}
		if yes, ok := n.YesNo(); ok && yes {
			*to = roof.Yes
		} else if ok {
			*to = roof.No
		}
	})
}

func (s *section) label(key string, to *string, limit int) {
	s.key(key, "", text(*to), func(n strictyaml.Node) { *to = label(n, limit) })
}

func (s *section) instant(key, remedy string, to *time.Time) {
	s.key(key, remedy, instant(*to), func(n strictyaml.Node) { *to, _ = s.timeAt(n) })
}

// words are texts of a kind, each read by one.
func words[T ~string](s *section, key string, to *[]T, read func(strictyaml.Node) (string, bool)) {
	quoted := make([]string, len(*to))
	for i, w := range *to {
		quoted[i] = text(string(w))
	}
	written := ""
	if len(quoted) > 0 {
		written = "[" + strings.Join(quoted, ", ") + "]"
	}
	s.key(key, "", written, func(n strictyaml.Node) {
		for _, entry := range n.List() {
			if w, ok := read(entry); ok {
				*to = append(*to, T(w))
			}
		}
	})
}
