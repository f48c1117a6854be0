package faulttest

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rows are the faults that must be shown by a test.
var rows = []int{1, 2, 4, 5, 6, 7, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23, 24, 25, 27, 28,
	29, 30, 31, 34, 35, 36, 38, 39, 40, 43, 45, 46, 47, 48, 49, 50, 53, 54, 55, 57, 58, 59, 60, 61, 62, 63, 64, 70,
	71, 72, 73, 74, 75, 76, 85, 86, 87, 88, 89}

// Every test that DEVELOPERS.md names is there, and every row has one.
func TestTheTableOfFaultsNamesTestsThatExist(t *testing.T) {
	text, err := os.ReadFile("../../../DEVELOPERS.md")
	require.NoError(t, err)
	named := regexp.MustCompile("`([a-z0-9]+)\\.((?:Test|Fuzz|Benchmark)[A-Za-z0-9_]+)`")
	have := map[string]map[string]bool{}
	for _, m := range named.FindAllStringSubmatch(string(text), -1) {
		if have[m[1]] == nil {
			have[m[1]] = tests(t, m[1])
		}
		assert.True(t, have[m[1]][m[2]], "%s has no test %s", m[1], m[2])
	}
	seen := map[int]bool{}
	for _, m := range regexp.MustCompile(`(?m)^\| (\d+) \|[^|]+\|[^|]+\|([^|]+)\|$`).FindAllStringSubmatch(string(text),
		-1) {
		n, err := strconv.Atoi(m[1])
		require.NoError(t, err)
		assert.False(t, seen[n], "row %d stands twice", n)
		seen[n] = named.MatchString(m[2])
	}
	for _, n := range rows {
		assert.True(t, seen[n], "row %d has no test", n)
	}
}

// tests are the names of a room's tests.
func tests(t *testing.T, room string) map[string]bool {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("../../*", room, "*_test.go"))
	require.NoError(t, err)
	for _, above := range []string{"../../*/*", "../../../cmd"} {
		more, err := filepath.Glob(filepath.Join(above, room, "*_test.go"))
		require.NoError(t, err)
		files = append(files, more...)
	}
	require.NotEmpty(t, files, "%s has no tests", room)
	out := map[string]bool{}
	for _, f := range files {
		parsed, err := parser.ParseFile(token.NewFileSet(), f, nil, parser.SkipObjectResolution)
		require.NoError(t, err)
		for _, d := range parsed.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && fn.Recv == nil && strings.HasPrefix(fn.Name.Name, "Test") || ok &&
				strings.HasPrefix(fn.Name.Name, "Fuzz") {
				out[fn.Name.Name] = true
			}
		}
	}
	return out
}

// Every file and folder that DEVELOPERS.md speaks of is there.
func TestTheDocumentSpeaksOfFilesThatExist(t *testing.T) {
	text, err := os.ReadFile("../../../DEVELOPERS.md")
	require.NoError(t, err)
	named := regexp.MustCompile("`((?:internal|deploy|testdata|dashboards|cmd|\\.ci)/[A-Za-z0-9_./-]+)`").
		FindAllStringSubmatch(string(text), -1)
	require.Greater(t, len(named), 10)
	for _, m := range named {
		_, err := os.Stat(filepath.Join("../../..", m[1]))
		assert.NoError(t, err, m[1])
	}
}
