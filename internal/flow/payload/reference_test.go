package payload

import (
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"dewcase/internal/roof"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const referenceFile = "../../../deploy/REFERENCE.md"

// shape is one example of the reference.
type shape struct {
	name, mappings string
	messages       []Message
	want           []string // of each message, as it stands there
	lines          []string // the messages as they are written
}

// shapesOf reads the examples of the reference's section on messages.
func shapesOf(t testing.TB, text string) (out []shape) {
	_, section, ok := strings.Cut(text, "\n## Messages in other forms\n")
	require.True(t, ok)
	section, _, _ = strings.Cut(section, "\n## ")
	for _, part := range strings.Split(section, "\n### ")[1:] {
		name, rest, _ := strings.Cut(part, "\n")
		blocks := regexp.MustCompile("(?s)```yaml\nmappings:\n(.*?)```\n```text\n(.*?)```\n").FindStringSubmatch(rest)
		if blocks == nil {
			continue
		}
		s := shape{name: name, mappings: blocks[1]}
		for line := range strings.Lines(blocks[2]) {
			if strings.HasPrefix(line, "→ ") {
				s.want[len(s.want)-1] += line
				continue
			}
			s.lines = append(s.lines, line)
			topic, body, ok := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
			require.True(t, ok, line)
			s.messages = append(s.messages, Message{Topic: topic, Payload: written(t, body),
				Arrived: time.Date(2026, 1, 14, 6, 20, 5+len(s.messages), 0, time.UTC)})
			s.want = append(s.want, "")
		}
		out = append(out, s)
	}
	return out
}

func arrows(caseID string, b Became) string {
	var out strings.Builder
	for line := range strings.Lines(outcome(caseID, b.Readings, b.Rejects)) {
		out.WriteString("→ " + line)
	}
	return out.String()
}

// TestEachExampleOfTheReferenceBecomesWhatItSays reads the document that people
// write their mappings by.
func TestEachExampleOfTheReferenceBecomesWhatItSays(t *testing.T) {
	data, err := os.ReadFile(referenceFile)
	require.NoError(t, err)
	text := string(data)
	shapes := shapesOf(t, text)
	require.GreaterOrEqual(t, len(shapes), 15)
	for _, s := range shapes {
		t.Run(s.name, func(t *testing.T) {
			mappings, faults := ReadMappings("REFERENCE.md", []byte(s.mappings))
			require.Empty(t, faults)
			became, err := Become(mappings, s.messages)
			require.NoError(t, err)
			before, after := "", ""
			for i, b := range became {
				before += s.lines[i] + s.want[i]
				after += s.lines[i] + arrows(b.Case, b)
				assert.Empty(t, b.Rejects, "an example shows what works")
			}
			if *update {
				text = strings.Replace(text, "```text\n"+before+"```", "```text\n"+after+"```", 1)
				return
			}
			assert.Equal(t, after, before)
		})
	}
	if *update {
		require.NoError(t, os.WriteFile(referenceFile, []byte(text), 0o644))
	}
}

// TestTheReferenceListsEveryKeyOfAMapping holds its tables against the reader.
func TestTheReferenceListsEveryKeyOfAMapping(t *testing.T) {
	data, err := os.ReadFile(referenceFile)
	require.NoError(t, err)
	_, section, _ := strings.Cut(string(data), "\n## Messages in other forms\n")
	section, _, _ = strings.Cut(section, "\n### ")
	source, err := os.ReadFile("mapping_read.go")
	require.NoError(t, err)
	lists := regexp.MustCompile(`(?s)\.Map\(("[^)]*)\)`).FindAllStringSubmatch(string(source), -1)
	require.Len(t, lists, 4, "a mapping, its time, a probe, a field")
	for _, list := range lists {
		for _, key := range regexp.MustCompile(`"([a-z_]+)"`).FindAllStringSubmatch(list[1], -1) {
			assert.Contains(t, section, "`"+key[1]+"`")
		}
	}
	for _, form := range formNames() {
		assert.Contains(t, section, "`"+form+"`")
	}
	for _, row := range regexp.MustCompile("(?m)^\\| `([a-z_]+)` \\|").FindAllStringSubmatch(section, -1) {
		assert.Contains(t, string(source), `"`+row[1]+`"`, "no key that is none")
	}
}

// TestTheShapesAreProposedFromTheirMessages: of the reference's examples a person
// needs to write a mapping for none, or for what only they know.
func TestTheShapesAreProposedFromTheirMessages(t *testing.T) {
	data, err := os.ReadFile(referenceFile)
	require.NoError(t, err)
	for _, s := range shapesOf(t, string(data)) {
		t.Run(s.name, func(t *testing.T) {
			mappings, faults := ReadMappings("REFERENCE.md", []byte(s.mappings))
			require.Empty(t, faults)
			want, err := Become(mappings, s.messages)
			require.NoError(t, err)
			var all []Mapping
			for _, p := range Propose("larch-3", "Europe/Berlin", s.messages) {
				all = append(all, p.Mapping)
			}
			got, err := Become(all, s.messages)
			require.NoError(t, err)
			for i := range want {
				assert.Empty(t, got[i].Rejects)
				if mappings[0].OnlyListed && len(want[i].Readings) == 0 {
					continue // whose devices are neighbours' only a person knows
				}
				assert.ElementsMatch(t, measuredIn(want[i]), measuredIn(got[i]), "%s\n%s", s.lines[i], WriteMappings(all))
			}
		})
	}
}

// measuredIn are the readings of a message without the loggers' names, which a
// person gives.
func measuredIn(b Became) (out []string) {
	for _, r := range b.Readings {
		r.Logger = ""
		out = append(out, outcome("", []roof.Reading{r}, nil))
	}
	return out
}
