package payload

import (
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write what comes out as what is wanted")

const goldens = "../../../testdata/payloads"

// TestEachFormBecomesWhatItsGoldenSays reads every payload form of testdata.
func TestEachFormBecomesWhatItsGoldenSays(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(goldens, "*.txtar"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			archive, err := txtar.ParseFile(file)
			require.NoError(t, err)
			part := map[string]string{}
			for _, f := range archive.Files {
				part[f.Name] = string(f.Data)
			}
			d := decoder(t, part["mappings.yaml"])
			var got strings.Builder
			for line := range strings.Lines(part["messages"]) {
				line = strings.TrimSuffix(line, "\n")
				m := message(t, line)
				got.WriteString("> " + line + "\n" + outcome(d.Decode(m)))
			}
			if *update {
				for i := range archive.Files {
					if archive.Files[i].Name == "want" {
						archive.Files[i].Data = []byte(got.String())
					}
				}
				require.NoError(t, os.WriteFile(file, txtar.Format(archive), 0o644))
				return
			}
			assert.Equal(t, part["want"], got.String())
		})
	}
}

// decoder builds a decoder from mappings as they stand in a configuration.
func decoder(t testing.TB, text string, options ...Option) *Decoder {
	t.Helper()
	var mappings []Mapping
	if strings.TrimSpace(text) != "[]" {
		doc := strictyaml.Parse("mappings.yaml", []byte(text), 1<<20)
		for _, n := range doc.Root().List() {
			mappings = append(mappings, ReadMapping(n))
		}
		require.Empty(t, doc.Faults())
	}
	d, err := New(mappings, options...)
	require.NoError(t, err)
	return d
}

func message(t testing.TB, line string) Message {
	t.Helper()
	clock, rest, ok := strings.Cut(line, " ")
	require.True(t, ok, line)
	at, err := time.Parse("2006-01-02 15:04:05", "2026-01-14 "+clock)
	require.NoError(t, err)
	m := Message{Arrived: at}
	if after, ok := strings.CutPrefix(rest, "retained "); ok {
		m.Retained, rest = true, after
	}
	topic, body, ok := strings.Cut(rest, " :: ")
	require.True(t, ok, line)
	m.Topic, m.Payload = topic, written(t, body)
	return m
}

// written is a payload as examples write it: 0x and hexadecimal digits for bytes, \n
// for a new line.
func written(t testing.TB, body string) []byte {
	t.Helper()
	if digits, ok := strings.CutPrefix(body, "0x"); ok && len(digits)%2 == 0 {
		out, err := hex.DecodeString(digits)
		require.NoError(t, err)
		return out
	}
	return []byte(strings.ReplaceAll(body, `\n`, "\n"))
}

func outcome(caseID string, readings []roof.Reading, rejects []roof.Reject) string {
	var b strings.Builder
	for _, r := range readings {
		fmt.Fprintf(&b, "reading %s/%s %s", caseID, r.Logger, r.At.Format(time.RFC3339Nano))
		for q := range roof.Quantity(roof.QuantityCount) {
			if x, ok := r.Values.Get(q); ok {
				fmt.Fprintf(&b, " %s=%v", q, x)
			}
		}
		if r.Flags != 0 {
			fmt.Fprintf(&b, " (%s)", strings.Join(r.Flags.Names(), ", "))
		}
		b.WriteByte('\n')
	}
	for _, r := range rejects {
		fmt.Fprintf(&b, "reject %s: %s\n", r.Reason, r.Detail)
	}
	if b.Len() == 0 {
		return "nothing\n"
	}
	return b.String()
}

// readAll reads mappings whatever they are.
func readAll(text string) (mappings []Mapping, faults roof.Faults) {
	doc := strictyaml.Parse("mappings.yaml", []byte(text), 1<<20)
	for _, n := range doc.Root().List() {
		mappings = append(mappings, ReadMapping(n))
	}
	return mappings, doc.Faults()
}
