package casefile_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/roof"
)

func TestAPlanIsPutIntoAFileAndNothingElseIsTouched(t *testing.T) {
	mm := func(x float64) *float64 { return &x }
	plan := roof.Planned{Work: "loft_vented", Opened: roof.Openings{LoftEavesMM: mm(25), LoftRidgeMM: mm(0)}}
	const line = "planned: {work: loft_vented, loft_eaves: 25, loft_ridge: 0}\n"
	const rest = "case: elder-7 # a house\nproperty:\n  # of the surveyor\n  timezone: Europe/London\n"
	for name, c := range map[string]struct{ file, want string }{
		"none yet":          {rest, rest + line},
		"on one line":       {rest + "planned: {work: void_vented}\n", rest + line},
		"laid out, amidst":  {"planned:\n  work: void_vented\n\n  void_eaves: 25\n" + rest, rest + line},
		"no line feed last": {strings.TrimSuffix(rest, "\n"), rest + line},
	} {
		got := casefile.WithPlanned(c.file, plan)
		assert.Equal(t, c.want, got, name)
		x, faults := casefile.Parse("case.yaml", []byte(got))
		require.NoError(t, faults.Err(), name)
		assert.Equal(t, plan, x.Planned, name)
		assert.Equal(t, rest, casefile.WithPlanned(got, roof.Planned{}), "%s: taken out again", name)
	}
	oneLine := casefile.WithPlanned("{case: elder-7, property: {timezone: UTC}}\n", plan)
	_, faults := casefile.Parse("case.yaml", []byte(oneLine))
	assert.NotEmpty(t, faults, "a file on one line is refused, not broken")
	_, faults = casefile.Parse("case.yaml", []byte(rest+"planned: {void_eaves: 900}\n"))
	require.Len(t, faults, 1)
	assert.Equal(t, "planned.void_eaves", faults[0].Key)
}
