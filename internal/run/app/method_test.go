package app

import (
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"dewcase/internal"
)

// carried are the sources that this program carries, to be edited.
func carried(t *testing.T) fstest.MapFS {
	t.Helper()
	out := fstest.MapFS{}
	require.NoError(t, fs.WalkDir(internal.Methods, ".", func(file string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := internal.Methods.ReadFile(file)
		out[file] = &fstest.MapFile{Data: text}
		return err
	}))
	return out
}

func TestAnEditChangesTheMethodOfWhatRestsOnIt(t *testing.T) {
	hours := func(f fs.FS) string { return methodOf(f, "flow/record") }
	answers := func(f fs.FS) string { return methodOf(f, "flow/record", "flow/assessment") }
	asIs := carried(t)
	require.Equal(t, hoursMethod(), hours(asIs))
	require.Equal(t, answerMethod(), answers(asIs))
	require.NotEqual(t, hoursMethod(), answerMethod())
	for _, of := range []string{hoursMethod(), answerMethod()} {
		require.NotEqual(t, program(), of, "every source that they rest on is carried")
	}
	for name, edit := range map[string]struct {
		file           string
		hours, answers bool // change
	}{
		"moist air":                    {"physics/psychro/psychro.go", true, true},
		"what counts as wet":           {"reason/risk/margin.go", true, true},
		"what a record is worth":       {"reason/evidence/stuck.go", true, true},
		"flags":                        {"flow/qc/history.go", true, true},
		"how hours are packed":         {"flow/record/rows.go", true, true},
		"a file that is new":           {"reason/series/another.go", true, true},
		"a rule of a verdict":          {"reason/repair/rule.go", false, true},
		"a sentence":                   {"words/home.go", false, true},
		"a rule of a cause":            {"reason/cause/cause.go", false, true},
		"a chart":                      {"flow/curves/curves.go", false, false},
		"an alert":                     {"flow/watch/watch.go", false, false},
		"a simulated roof":             {"physics/roofsim/doc.go", false, false},
		"a test":                       {"reason/risk/risk_test.go", false, false},
		"a page, were it carried":      {"door/http/web/houses.go", false, false},
		"a template, were it carried":  {"door/http/web/templates/base.html", false, false},
		"what is no source, in a room": {"reason/risk/notes.txt", false, false},
	} {
		t.Run(name, func(t *testing.T) {
			edited := carried(t)
			text := "package x\n"
			if was := edited[edit.file]; was != nil {
				text = string(was.Data) + "// edited\n"
			}
			edited[edit.file] = &fstest.MapFile{Data: []byte(text)}
			require.Equal(t, edit.hours, hours(asIs) != hours(edited), "hours")
			require.Equal(t, edit.answers, answers(asIs) != answers(edited), "assessments")
		})
	}
	t.Run("a room that an edit brings in", func(t *testing.T) {
		edited := carried(t)
		edited["reason/series/another.go"] = &fstest.MapFile{
			Data: []byte("package series\nimport _ \"dewcase/internal/roof/caution\"\n")}
		before := hours(edited)
		edited["roof/caution/more.go"] = &fstest.MapFile{Data: []byte("package caution\n")}
		require.NotEqual(t, before, hours(edited))
	})
	t.Run("a room that is not carried", func(t *testing.T) {
		edited := carried(t)
		edited["reason/series/another.go"] = &fstest.MapFile{
			Data: []byte("package series\nimport _ \"dewcase/internal/door/metrics\"\n")}
		require.Equal(t, program(), hours(edited), "what is not known is the whole program's")
	})
}

// What is read into a room by an embed directive would be missing from its sources.
func TestTheSourcesOfAMethodAreAllOfIt(t *testing.T) {
	require.NotEmpty(t, program())
	for file, f := range carried(t) {
		require.NotContains(t, string(f.Data), "\n//go:"+"embed ", file)
		require.True(t, strings.HasSuffix(file, ".go"), file)
	}
}
