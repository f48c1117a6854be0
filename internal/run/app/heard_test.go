package app_test

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What was heard is listed until a case file knows it, and not a day longer.
func TestANameThatWasHeardIsCrossedOffOnceACaseFileKnowsIt(t *testing.T) {
	d := start(t, nil)
	heard := func() []string {
		_, body := d.ask("GET", "/api/heard", "")
		var rows []struct{ Case, Logger string }
		require.NoError(t, json.Unmarshal([]byte(body), &rows), body)
		out := []string{}
		for _, r := range rows {
			out = append(out, r.Case+"/"+r.Logger)
		}
		return out
	}
	for _, logger := range []string{"k1", "k9"} {
		d.publish("dewcase/larch-3/"+logger, `{"temp_c":4}`, false)
	}
	require.Eventually(t, func() bool { return len(heard()) == 2 }, 10*time.Second, 50*time.Millisecond,
		"the list is written behind ingest")
	d.ask("PUT", "/api/cases/larch-3/file", house, "Content-Type", "application/yaml")
	assert.Equal(t, []string{"larch-3/k9"}, heard())
	_, page := d.ask("GET", "/messages", "")
	assert.Contains(t, page, "k9")
	assert.NotContains(t, page, "<td>k1</td>")
	d.ask("PUT", "/api/cases/larch-3/file", strings.Replace(house, "id: k2", "id: k9", 1), "Content-Type",
		"application/yaml")
	assert.Empty(t, heard())
}
