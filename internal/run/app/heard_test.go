package app_test

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/patience"
	"dewcase/internal/testkit/running"
)

// What was heard is listed until a case file knows it, and not a day longer.
func TestANameThatWasHeardIsCrossedOffOnceACaseFileKnowsIt(t *testing.T) {
	d := running.Start(t, nil)
	heard := func() []string {
		_, body := d.Ask("GET", "/api/heard", "")
		var rows []struct{ Case, Logger string }
		require.NoError(t, json.Unmarshal([]byte(body), &rows), body)
		out := []string{}
		for _, r := range rows {
			out = append(out, r.Case+"/"+r.Logger)
		}
		return out
	}
	for _, logger := range []string{"k1", "k9"} {
		d.Publish("dewcase/larch-3/"+logger, `{"temp_c":4}`, false)
	}
	patience.Until(t, "the list is written, behind ingest", func() bool { return len(heard()) == 2 })
	d.Ask("PUT", "/api/cases/larch-3/file", house, "Content-Type", "application/yaml")
	assert.Equal(t, []string{"larch-3/k9"}, heard())
	_, page := d.Ask("GET", "/messages", "")
	assert.Contains(t, page, "k9")
	assert.NotContains(t, page, "<td>k1</td>")
	d.Ask("PUT", "/api/cases/larch-3/file", strings.Replace(house, "id: k2", "id: k9", 1), "Content-Type",
		"application/yaml")
	assert.Empty(t, heard())
}
