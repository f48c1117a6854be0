package casefile

import (
	"strings"

	"dewcase/internal/roof"
)

// WithPlanned is a case file with other work planned, all else as somebody wrote it,
// comments and all. The zero value takes the plan out. What comes of a file that
// is laid out otherwise than line by line is for Parse to refuse.
func WithPlanned(file string, p roof.Planned) string {
	var out []string
	within := false
	for _, line := range strings.Split(strings.TrimRight(file, "\n"), "\n") {
		within = strings.HasPrefix(line, plannedKey) || within && (strings.TrimSpace(line) == "" || line[0] == ' ')
		if !within {
			out = append(out, line)
		}
	}
	out = append(out, (&met{}).write(func(s *section) {
		s.inline("planned", func(s *section) { s.planned(&p) })
	})...)
	return strings.Join(out, "\n") + "\n"
}

const plannedKey = "planned:"
