package commands

import (
	"bytes"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The reference's table of commands names every command, and no flag that is not there.
func TestTheReferenceListsEveryCommandAndNoFlagThatIsNot(t *testing.T) {
	reference, err := os.ReadFile("../../../deploy/REFERENCE.md")
	require.NoError(t, err)
	_, section, found := strings.Cut(string(reference), "\n## Commands\n")
	require.True(t, found)
	section, _, _ = strings.Cut(section, "\n## ")
	var told []string
	for _, m := range regexp.MustCompile("`dewcase ([a-z]+)([^`]*)`").FindAllStringSubmatch(section, -1) {
		told = append(told, m[1])
		var help bytes.Buffer
		require.Equal(t, OK, Run(t.Context(), []string{m[1], "-h"}, Streams{In: &bytes.Buffer{}, Out: &help, Err: &help}),
			m[1])
		for _, flag := range regexp.MustCompile(`(?:^|[\s\[])(-[a-z][a-z-]*)`).FindAllStringSubmatch(m[2], -1) {
			assert.Regexp(t, `(?m)^  `+flag[1]+`\b`, help.String(), "dewcase %s has no flag %s", m[1], flag[1])
		}
	}
	var there []string
	for _, c := range all() {
		there = append(there, c.name)
	}
	slices.Sort(told)
	slices.Sort(there)
	assert.Equal(t, there, slices.Compact(told))
}

func TestEachWayOfEndingHasItsExitStatus(t *testing.T) {
	for name, c := range map[string]struct {
		args   []string
		status int
		says   string
	}{
		"nothing asked":    {nil, Usage, "dewcase COMMAND"},
		"help":             {[]string{"help"}, OK, "dewcase COMMAND"},
		"no such command":  {[]string{"prove"}, Usage, `no command "prove"`},
		"no such flag":     {[]string{"check", "-fast"}, Usage, "-fast"},
		"a stray argument": {[]string{"version", "now"}, Usage, `takes no argument "now"`},
		"a flag missing":   {[]string{"backup"}, Usage, "backup needs -to"},
		"no time":          {[]string{"assess", "-case", "c", "-readings", "r", "-until", ""}, Usage, `-until ""`},
		"no time of a report": {[]string{"report", "-case", "c", "-readings", "r", "-to", "r.pdf", "-until", ""}, Usage,
			`-until ""`},
		"no file": {[]string{"assess", "-case", "/nowhere/c.yaml", "-readings", "r"}, Unusable,
			"/nowhere/c.yaml:1: file: cannot be read: no such file"},
		"no store": {[]string{"check", "-data", "/nowhere"}, Unusable, "/nowhere"},
	} {
		t.Run(name, func(t *testing.T) {
			var out, said bytes.Buffer
			assert.Equal(t, c.status, Run(t.Context(), c.args, Streams{In: &bytes.Buffer{}, Out: &out, Err: &said}))
			assert.Contains(t, said.String(), c.says)
			assert.Empty(t, out.String(), "standard output holds answers only")
		})
	}
}
