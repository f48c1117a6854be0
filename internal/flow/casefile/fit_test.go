package casefile_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/roof"
)

var fitFrom = time.Date(2026, 11, 30, 10, 4, 5, 999, time.UTC)

func TestALoggerIsFittedInTheFileAsItsAuthorWroteIt(t *testing.T) {
	const head = "# ours\ncase: larch-3\nproperty: {timezone: Europe/London}\n"
	const loft, line = "positions:\n  - {id: loft, place: loft_air} # by the hatch\n",
		"- {id: n1, fitted: [{position: loft, from: 2026-11-30T10:04:05Z}]}\n"
	for name, c := range map[string]struct{ file, want string }{
		"no loggers yet": {head + loft, head + loft + "loggers:\n  " + line},
		"an empty list": {head + loft + "loggers: []\nevents: []\n",
			head + loft + "loggers: \n  " + line + "events: []\n"},
		"after the others": {head + loft + "loggers:\n    - id: k1\n      interval_s: 300\n\n# end\nevents: []\n",
			head + loft + "loggers:\n    - id: k1\n      interval_s: 300\n    " + line + "\n# end\nevents: []\n"},
		"dashes at the key": {head + loft + "loggers: # ours\n- {id: k1}\n",
			head + loft + "loggers: # ours\n- {id: k1}\n" + line},
		"carriage returns": {strings.ReplaceAll(head+loft, "\n", "\r\n"), head + loft + "loggers:\n  " + line},
		"a place that has no position yet": {head + "loggers:\n  - {id: k1}\n",
			head + "loggers:\n  - {id: k1}\n  " + line + "positions:\n  - {id: loft, place: loft_air}\n"},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := casefile.Fit("larch-3.yaml", []byte(c.file),
				[]casefile.Placing{{Logger: "n1", Position: "loft", Place: roof.LoftAir, From: fitFrom}})
			require.NoError(t, err)
			require.Equal(t, c.want, string(got))
		})
	}
}

func TestALoggerThatHungElsewhereHungThereUntilNow(t *testing.T) {
	file := []byte("case: larch-3\nproperty: {timezone: Europe/London}\npositions: [{id: loft, place: loft_air}, " +
		"{id: void, place: batten_void_air}]\nloggers:\n  - {id: k1, fitted: [{position: void, from: 2026-10-01}]}\n")
	got, err := casefile.Fit("larch-3.yaml", file, []casefile.Placing{{Logger: "k1", Position: "loft", From: fitFrom}})
	require.NoError(t, err)
	c, faults := casefile.Parse("", got)
	require.Empty(t, faults)
	at := fitFrom.Truncate(time.Second)
	require.Equal(t, []roof.Fitting{{Position: "void", From: time.Date(2026, 9, 30, 23, 0, 0, 0, time.UTC), To: at},
		{Position: "loft", From: at}}, c.Loggers[0].Fitted)
}

func TestAWeatherStationStandsWhereNoLoggerOfTheHouseHangs(t *testing.T) {
	km := 12.0
	at := roof.Station{Source: "airport", DistanceKM: &km}
	for name, c := range map[string]struct{ file, position, want string }{
		"an outdoor position that is free": {"positions:\n  - {id: out, place: outdoor_air}\nloggers:\n  - {id: k1}\n", "out",
			"  - {id: met, station: {source: airport, distance_km: 12}, fitted: [{position: out, " +
				"from: 2026-11-30T10:04:05Z}]}\n"},
		"one where a logger hangs": {"positions:\n  - {id: out, place: outdoor_air}\nloggers:\n  - {id: k1, fitted: " +
			"[{position: out, from: 2026-10-01}]}\n", "station", "  - {id: station, place: outdoor_air}\n"},
		"its own, further back": {"positions:\n  - {id: out, place: outdoor_air}\nloggers:\n  - {id: met, fitted: " +
			"[{position: out, from: 2026-12-24T00:00:00Z}]}\n", "out", "station: {source: airport, distance_km: 12}\n" +
			"    fitted:\n      - {position: out, from: 2026-11-30T10:04:05Z}\n"},
	} {
		t.Run(name, func(t *testing.T) {
			file := []byte("case: larch-3\nproperty: {timezone: Europe/London}\n" + c.file)
			parsed, faults := casefile.Parse("", file)
			require.Empty(t, faults)
			require.True(t, casefile.CanBeStation(parsed, "met"))
			p := casefile.StationPlacing(parsed, "met", at, fitFrom)
			require.Equal(t, c.position, p.Position)
			got, err := casefile.Fit("larch-3.yaml", file, []casefile.Placing{p})
			require.NoError(t, err)
			require.Contains(t, string(got), c.want)
		})
	}
}

func TestAPlacingThatCannotBeIsToldAndChangesNothing(t *testing.T) {
	for name, p := range map[string]casefile.Placing{
		"a name that is none": {Logger: "k/1", Position: "loft", From: fitFrom},
		"no such place":       {Logger: "k1", Position: "loft2", Place: "roof", From: fitFrom},
	} {
		_, err := casefile.Fit("larch-3.yaml",
			[]byte("case: larch-3\nproperty: {timezone: Europe/London}\npositions: [{id: loft, place: loft_air}]\n"),
			[]casefile.Placing{p})
		require.ErrorContains(t, err, "larch-3.yaml", name)
	}
}

// Whatever the file, the case afterwards is the case before with one more fitting.
func TestFittingChangesNothingElse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyCase(t)
		if len(c.Positions) == 0 {
			return
		}
		file, err := casefile.Format(c)
		require.NoError(t, err)
		pos := rapid.SampledFrom(c.Positions).Draw(t, "position")
		got, err := casefile.Fit("x.yaml", file, []casefile.Placing{{Logger: "brand-new", Position: pos.ID, From: fitFrom}})
		require.NoError(t, err)
		after, faults := casefile.Parse("", got)
		require.Empty(t, faults)
		l, ok := after.Logger("brand-new")
		require.True(t, ok)
		require.Equal(t, []roof.Fitting{{Position: pos.ID, From: fitFrom.Truncate(time.Second)}}, l.Fitted)
		after.Loggers = after.Loggers[:len(after.Loggers)-1]
		again, err := casefile.Format(after)
		require.NoError(t, err)
		require.Equal(t, string(file), string(again))
	})
}
