package commands

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/mappings"
	"dewcase/internal/flow/payload"
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
			[]string{"read by mapping 3 (yard/{logger})\n", "not read: /t2 is 2", "probes:\n    - suffix: \"-2\""}},
		"ignored": {"node/k7", `{"t":4}`, OK, []string{"nothing: mapping 1 (node/#) leaves it aside\n" +
			"mapping 2 (node/{logger}) would read it too, but comes after mapping 1 (node/#)\n"}},
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
				"give the earlier one a where or present\n", said.String())
		})
	}
}

// Mappings that were made on the pages are asked behind those of the configuration,
// also while a daemon has their folder.
func TestTryAsksTheMappingsKeptWithHouses(t *testing.T) {
	dir := t.TempDir()
	data, config := filepath.Join(dir, "data"), filepath.Join(dir, "dewcase.yaml")
	store, err := sqlite.Open(t.Context(), data, sqlite.Options{})
	require.NoError(t, err)
	defer func() { assert.NoError(t, store.Close()) }()
	book, err := mappings.Open(t.Context(), store, time.Now, func([]payload.Mapping) error { return nil })
	require.NoError(t, err)
	field := "\n  case: larch-3\n  fields: [{quantity: temp_c, pointer: /t, unit: C}]\n"
	require.NoError(t, book.Put(t.Context(), mappings.Version{Case: "larch-3", Text: "- topic: barn/{logger}" + field +
		"- topic: yard/{logger}" + field}, 0))
	require.NoError(t, os.WriteFile(config, []byte("data: data\nmappings:\n- topic: barn/+/#\n  logger: all"+
		field), 0o600))
	tried := func(args ...string) (string, string) {
		var out, said bytes.Buffer
		status := Run(t.Context(), append([]string{"try", "-payload", "-"}, args...),
			Streams{In: strings.NewReader(`{"t":4}`), Out: &out, Err: &said})
		require.Equal(t, OK, status, said.String())
		return out.String(), said.String()
	}
	out, _ := tried("-topic", "yard/k7", "-data", data)
	assert.Contains(t, out, "read by mapping 2 of house larch-3 (yard/{logger})\n")
	assert.Contains(t, out, "logger k7,")
	out, said := tried("-topic", "barn/k7", "-config", config, "-data", data)
	assert.Contains(t, out, "read by mapping 1 (barn/+/#)\nmapping 1 of house larch-3 (barn/{logger}) would read it too, "+
		"but comes after mapping 1 (barn/+/#)\n")
	assert.Contains(t, said, "mapping 1 of house larch-3 (barn/{logger}) comes after mapping 1 (barn/+/#) and gets only")
	status, _, said := ran(t, "try", "-topic", "a/b", "-payload", config, "-data", filepath.Join(dir, "none"))
	assert.Equal(t, Unusable, status)
	assert.Contains(t, said, "none: there is none: ")
}
