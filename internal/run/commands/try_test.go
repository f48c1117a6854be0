package commands

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a message would become is the answer, on standard output, and so is why
// nothing comes of it, with a mapping that would read it.
func TestTryShowsWhatAMessageWouldBecome(t *testing.T) {
	dir := t.TempDir()
	config := filepath.Join(dir, "dewcase.yaml")
	require.NoError(t, os.WriteFile(config, []byte(`mappings:
  - {topic: node/#, form: ignore}
  - topic: node/{logger}
    case: larch-3
    fields: [{quantity: temp_c, pointer: /t, unit: C}]
  - topic: yard/{logger}
    case: larch-3
    fields: [{quantity: temp_c, pointer: /t1, unit: C}]
`), 0o600))
	for name, c := range map[string]struct {
		topic, body string
		status      int
		says        []string
	}{
		"a native message": {"dewcase/larch-3/k7", `{"time":"2026-01-14T06:20:00Z","temp_c":4.31}`, OK,
			[]string{"read as it comes\na reading of house larch-3, logger k7, at 2026-01-14T06:20:00Z: temp_c 4.31\n"}},
		"keys of other names": {"dewcase/larch-3/k7", `{"temperature":4.31}`, Unusable,
			[]string{"no_quantity: none of temp_c, rh_pct,", "what came is /temperature", "looks like temp_c"}},
		"a value that cannot be": {"dewcase/larch-3/k7", `{"rh_pct":127.5}`, Unusable, []string{"rh_out_of_range: "}},
		"by a mapping, a probe left over": {"yard/k7", `{"t1":4,"t2":2}`, OK,
			[]string{"read by mapping 3, of topic yard/{logger}\n", "not read: /t2 is 2", "probes:\n    - suffix: \"-2\""}},
		"ignored": {"node/k7", `{"t":4}`, OK, []string{"nothing: the mappings leave it aside"}},
		"no mapping": {"barn/k7", `{"temperature":4.31,"humidity":90}`, Unusable,
			[]string{"bad_topic: no mapping has this topic", "a mapping that would read it; look at what is said of " +
				"/temperature, which the message does not tell:\n- topic: \"barn/{logger}\"\n"}},
		"Sparkplug B": {"spBv1.0/g/DDATA/e/d", "\x08\x01", Unusable, []string{"unsupported_format: Sparkplug B is not read"}},
	} {
		t.Run(name, func(t *testing.T) {
			var out, said bytes.Buffer
			status := Run(t.Context(), []string{"try", "-topic", c.topic, "-payload", "-", "-config", config},
				Streams{In: strings.NewReader(c.body), Out: &out, Err: &said})
			assert.Equal(t, c.status, status, said.String())
			for _, want := range c.says {
				assert.Contains(t, out.String(), want)
			}
			assert.Equal(t, "mapping 2 (node/{logger}) comes after mapping 1 (node/#) and gets no message; put it first, or "+
				"give mapping 1 a where or present\n", said.String())
		})
	}
}
