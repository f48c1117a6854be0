package faulttest

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/patience"
)

// Row 53: a configuration that is half written stops a start with the line named
// and touches nothing; a running daemon goes on with what it read.
func TestAHalfWrittenConfigurationIsRefusedByLineAndChangesNothing(t *testing.T) {
	dir := t.TempDir()
	conf, data := filepath.Join(dir, "dewcase.yaml"), filepath.Join(dir, "data")
	write := func(text string) { require.NoError(t, os.WriteFile(conf, []byte(text), 0o600)) }
	good := "data: " + data + "\nhttp:\n  listen: 127.0.0.1:0\nmqtt:\n  listen: 127.0.0.1:0\n  max_loggers: 20\n"
	write(good)
	d := crashtest.Serve(t, data, "-config", conf)
	newHouse(d)
	write(good[:len(good)-17])
	c, err := client(t, d.MQTT, "logger", "", "")
	require.NoError(t, err)
	require.True(t, send(c, "dewcase/larch-3/k1", body(0), patience.Long), "it goes on with what it read")
	require.Zero(t, d.Stop(), d.Log())

	before := tree(t, data)
	for name, c := range map[string]struct{ text, want string }{
		"cut off in a key":   {good[:len(good)-9], ":6: "},
		"cut off in a value": {good + "mappings:\n  - {topic: 'a/{logger}', case: \"la", ":8:"},
		"a bad unit": {good + "mappings:\n  - topic: a/{logger}\n    case: larch-3\n    fields:\n      - " +
			"{quantity: temp_c, pointer: /t, unit: K9}\n", ":11: mappings[0].fields[0].unit"},
		"an unknown key":         {strings.Replace(good, "max_loggers", "max_logers", 1), ":6: mqtt.max_logers"},
		"a tab":                  {"http:\n\tlisten: 127.0.0.1:0\n", ":2:"},
		"two of a key":           {good + "data: /elsewhere\n", ":7:"},
		"another document after": {good + "---\ndata: /elsewhere\n", ":"},
		"not text":               {"\xff\xfe\x00d", ":1:"},
		"a certificate alone":    {strings.Replace(good, "http:\n", "http:\n  cert_file: c.pem\n", 1), ":2: http"},
	} {
		t.Run(name, func(t *testing.T) {
			write(c.text)
			out, status := crashtest.Run(t, "serve", "-config", conf)
			require.Equal(t, 1, status, out)
			require.Contains(t, out, "dewcase.yaml"+c.want)
			require.NotContains(t, out, "goroutine ")
		})
	}
	require.Equal(t, before, tree(t, data), "the data folder is as it was")

	// The same for a case file over HTTP: the old one stays.
	write(good)
	d = crashtest.Serve(t, data, "-config", conf)
	kept := string(d.Do(http.MethodGet, "/api/cases/larch-3/file", nil, 200))
	for n := len(house) - 1; n > 0; n -= 29 {
		answer := string(d.Do(http.MethodPut, "/api/cases/larch-3/file", strings.NewReader(house[:n]+"\n  }{"), 422))
		require.Regexp(t, `:\d+: `, answer)
	}
	require.Equal(t, kept, string(d.Do(http.MethodGet, "/api/cases/larch-3/file", nil, 200)))
}
