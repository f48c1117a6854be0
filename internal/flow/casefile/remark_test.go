package casefile_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/roof"
)

const remarked = `case: larch-1
property: {timezone: Europe/London} # by the river
positions:
  - {id: void, place: batten_void_air}
events:
  - {at: 2026-12-20T12:00:00Z, kind: repair, what: "vents"}  # by the roofer

contacts: {consultant: [carl@example.org]}
`

func TestARemarkLeavesTheFileAsItsAuthorWroteIt(t *testing.T) {
	at := time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC)
	out, err := casefile.Remark("case.yaml", []byte(remarked),
		[]roof.Event{{At: at, Kind: roof.Note, What: "hatch open"}},
		[]roof.Excluded{{From: at, To: at.Add(6 * time.Hour), Position: "void", Reason: "logger on the bench: \"dry\""}},
		[]roof.View{{Name: "void, that day", Query: "show=void.rh&from=2027-01-05T00:00:00Z"}})
	require.NoError(t, err)
	assert.Contains(t, string(out), "# by the river")
	assert.Contains(t, string(out), "# by the roofer\n  - {at: 2027-01-05T08:00:00Z, kind: note, what: hatch open}\n")
	c, faults := casefile.Parse("case.yaml", out)
	require.Empty(t, faults)
	assert.Len(t, c.Events, 2)
	assert.Equal(t, []roof.Excluded{{From: at, To: at.Add(6 * time.Hour), Position: "void",
		Reason: "logger on the bench: \"dry\""}}, c.Excluded)
	assert.Equal(t, []roof.View{{Name: "void, that day", Query: "show=void.rh&from=2027-01-05T00:00:00Z"}}, c.Views)
	for _, bad := range []roof.Excluded{{From: at, To: at, Reason: "x"}, {From: at, To: at.Add(1)},
		{From: at, To: at.Add(time.Hour), Position: "attic", Reason: "x"}} {
		_, err = casefile.Remark("case.yaml", []byte(remarked), nil, []roof.Excluded{bad}, nil)
		require.Error(t, err, bad)
	}
}

func TestARemarkOnAnyFileAddsItAndNothingElse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyCase(t)
		file, err := casefile.Format(c)
		require.NoError(t, err)
		before, faults := casefile.Parse("", file)
		if len(faults) > 0 {
			t.Skip()
		}
		at := time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC)
		e := roof.Event{At: at, Kind: roof.Note, What: rapid.String().Draw(t, "what")}
		out, err := casefile.Remark("", file, []roof.Event{e}, nil, nil)
		if err != nil {
			return // words that no file may hold
		}
		after, faults := casefile.Parse("", out)
		require.Empty(t, faults)
		require.Len(t, after.Events, len(before.Events)+1)
		after.Events = after.Events[:len(before.Events)]
		if len(after.Events) == 0 {
			after.Events = before.Events
		}
		require.Equal(t, before, after)
	})
}
