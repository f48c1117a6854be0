// Package layering guards the structure that DEVELOPERS.md describes: the table
// there is read and enforced, so that document and code cannot drift apart.
package layering

import (
	"bufio"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const root = "../../.."

// room is one row of the table: its ring and what it may import.
type room struct {
	ring    int
	imports []string
}

var (
	ringLine = regexp.MustCompile(`^\| \*\*ring (\d)`)
	roomLine = regexp.MustCompile("^\\| `([a-z0-9/]+)` \\| ?([^|]*)\\|")
	name     = regexp.MustCompile("`([a-z0-9/]+)`")
)

// table reads the layer table of DEVELOPERS.md.
func table(t *testing.T) map[string]room {
	f, err := os.Open(filepath.Join(root, "DEVELOPERS.md"))
	require.NoError(t, err)
	defer f.Close()
	rooms, ring := map[string]room{}, -1
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if m := ringLine.FindStringSubmatch(lines.Text()); m != nil {
			ring, _ = strconv.Atoi(m[1])
			continue
		}
		m := roomLine.FindStringSubmatch(lines.Text())
		if m == nil || ring < 0 {
			continue
		}
		r := room{ring: ring}
		for _, n := range name.FindAllStringSubmatch(m[2], -1) {
			r.imports = append(r.imports, n[1])
		}
		rooms[m[1]] = r
	}
	require.NotEmpty(t, rooms, "DEVELOPERS.md holds the layer table")
	return rooms
}

type source struct {
	path, pkg string
	file      *ast.File
	test      bool
	lines     int
	line      func(token.Pos) int
}

func sources(t *testing.T) []source {
	var out []source
	fset := token.NewFileSet()
	for _, top := range []string{"internal", "cmd", "dashboards"} {
		err := filepath.WalkDir(filepath.Join(root, top), func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if d.IsDir() && d.Name() == "node_modules" {
				return filepath.SkipDir
			}
			if d.IsDir() || !strings.HasSuffix(path, ".go") {
				return nil
			}
			file, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
			if err != nil {
				return err
			}
			rel, _ := filepath.Rel(root, path)
			out = append(out, source{path: filepath.ToSlash(rel),
				pkg:  strings.TrimPrefix(filepath.ToSlash(filepath.Dir(rel)), "internal/"),
				file: file, test: strings.HasSuffix(path, "_test.go"), lines: fset.File(file.Pos()).LineCount(),
				line: fset.File(file.Pos()).Line})
			return nil
		})
		require.NoError(t, err)
	}
	return out
}

// Both ways: an import that the table lacks fails, and so does a permission
// that nobody uses, since a reader takes it for an arrow.
func TestTheTableIsWhatTheCodeImports(t *testing.T) {
	rooms, used := table(t), map[string]map[string]bool{}
	for _, s := range sources(t) {
		if s.test || !strings.HasPrefix(s.path, "internal/") {
			continue
		}
		r, known := rooms[s.pkg]
		if !assert.True(t, known, "%s: the room %s is not in the layer table of DEVELOPERS.md", s.path, s.pkg) {
			continue
		}
		for _, i := range s.file.Imports {
			path, _ := strconv.Unquote(i.Path.Value)
			to, ours := strings.CutPrefix(path, "dewcase/internal/")
			if !ours {
				continue
			}
			if used[s.pkg] == nil {
				used[s.pkg] = map[string]bool{}
			}
			used[s.pkg][to] = true
			assert.True(t, slices.Contains(r.imports, to), "%s imports %s, which the table does not allow for %s", s.path, to,
				s.pkg)
			if target, ok := rooms[to]; ok {
				assert.LessOrEqual(t, target.ring, r.ring, "%s (ring %d) imports %s (ring %d): imports point to lower rings",
					s.path, r.ring, to, target.ring)
			}
		}
	}
	here := map[string]bool{}
	for _, s := range sources(t) {
		here[s.pkg] = true
	}
	for name, r := range rooms {
		assert.True(t, here[name], "the table has a room %s that is not there", name)
		for _, to := range r.imports {
			assert.True(t, used[name][to], "the table lets %s import %s, which it does not: take it out", name, to)
		}
	}
}

// Inner rings take the time as an argument and touch neither clock, disk nor
// network.
func TestInnerRingsTouchNoClockDiskOrNetwork(t *testing.T) {
	rooms := table(t)
	forbidden := []string{"os", "net", "net/http", "database/sql", "io/fs", "log/slog", "os/exec", "path/filepath"}
	for _, s := range sources(t) {
		r, ok := rooms[s.pkg]
		if s.test || !ok || r.ring > 2 {
			continue
		}
		for _, i := range s.file.Imports {
			path, _ := strconv.Unquote(i.Path.Value)
			assert.NotContains(t, forbidden, path, "%s (ring %d) imports %s", s.path, r.ring, path)
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			if sel, ok := n.(*ast.SelectorExpr); ok {
				assert.NotEqual(t, "Go", sel.Sel.Name, "%s (ring %d) starts a goroutine", s.path, r.ring)
				if x, ok := sel.X.(*ast.Ident); ok && x.Name == "time" {
					assert.False(t, slices.Contains([]string{"Now", "Since", "Until", "Sleep", "After", "Tick", "NewTimer",
						"NewTicker"}, sel.Sel.Name), "%s (ring %d) reads the clock by time.%s; take the time as an argument", s.path,
						r.ring, sel.Sel.Name)
				}
			}
			_, goes := n.(*ast.GoStmt)
			assert.False(t, goes, "%s (ring %d) starts a goroutine", s.path, r.ring)
			return true
		})
	}
}

func TestEveryRoomSaysWhatItIsFor(t *testing.T) {
	docs, seen := map[string]int{}, map[string]bool{}
	for _, s := range sources(t) {
		if s.test {
			continue
		}
		dir := filepath.Dir(s.path)
		seen[dir] = true
		if s.file.Doc != nil {
			docs[dir]++
			text := s.file.Doc.Text()
			want := "Package " + s.file.Name.Name + " "
			if s.file.Name.Name == "main" {
				want = "Command "
			}
			assert.True(t, strings.HasPrefix(text, want), "%s: a package comment begins %q", s.path, want)
		}
	}
	for dir := range seen {
		assert.Equal(t, 1, docs[dir], "%s has one package comment", dir)
	}
}

func TestNoRoomIsADrawerForOddments(t *testing.T) {
	for _, s := range sources(t) {
		for _, part := range strings.Split(s.pkg, "/") {
			assert.NotContains(t, []string{"util", "utils", "common", "helpers", "types", "manager", "misc"}, part, s.path)
		}
	}
}

// A file that no longer fits on some ten screens holds more than one thing.
func TestNoFileIsOverFiveHundredLines(t *testing.T) {
	for _, s := range sources(t) {
		assert.LessOrEqual(t, s.lines, 500, "%s", s.path)
	}
}

// The two modules must be the pair that was tested together: a wrong pair has
// crashed on 32-bit ARM (see the driver's own go.mod).
func TestTheSQLiteDriverHasTheLibcItAsksFor(t *testing.T) {
	mod, err := os.ReadFile(filepath.Join(root, "go.mod"))
	require.NoError(t, err)
	assert.Regexp(t, `modernc\.org/sqlite v1\.62\.0`, string(mod))
	assert.Regexp(t, `modernc\.org/libc v1\.80\.1`, string(mod))
}

// A line that does not fit on the screen beside another file is not read. Lines of
// raw strings are left as they are: a break would change what they say.
func TestNoLineIsOver120Columns(t *testing.T) {
	for _, s := range sources(t) {
		text, err := os.ReadFile(filepath.Join(root, s.path))
		require.NoError(t, err)
		raw := map[int]bool{}
		ast.Inspect(s.file, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && strings.HasPrefix(lit.Value, "`") {
				for i := range strings.Count(lit.Value, "\n") + 1 {
					raw[s.line(lit.Pos())+i] = true
				}
			}
			return true
		})
		for i, line := range strings.Split(string(text), "\n") {
			assert.True(t, raw[i+1] || utf8.RuneCountInString(line) <= 120, "%s:%d is over 120 columns", s.path, i+1)
		}
	}
}

func TestNoLineOfTheScriptIsOver120Columns(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(root, "dashboards/src/*.ts"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		for i, line := range strings.Split(string(text), "\n") {
			assert.LessOrEqual(t, utf8.RuneCountInString(line), 120, "%s:%d", filepath.Base(file), i+1)
		}
	}
}

// The first level is what a newcomer reads; each wing's folders come after.
func TestTheFirstLevelIsAtMostEightWings(t *testing.T) {
	dirs, err := os.ReadDir(filepath.Join(root, "internal"))
	require.NoError(t, err)
	dirs = slices.DeleteFunc(dirs, func(d os.DirEntry) bool { return !d.IsDir() })
	assert.LessOrEqual(t, len(dirs), 8)
}

// What is handed to a door holds what it needs and no more: a part that carries
// the whole daemon can be tried by nobody alone.
func TestNoPartCarriesTheWholeDaemon(t *testing.T) {
	for _, s := range sources(t) {
		ast.Inspect(s.file, func(n ast.Node) bool {
			x, ok := n.(*ast.StructType)
			if !ok || s.pkg != "run/app" || s.test {
				return true
			}
			for _, f := range x.Fields.List {
				p, ok := f.Type.(*ast.StarExpr)
				if !ok {
					continue
				}
				id, ok := p.X.(*ast.Ident)
				assert.False(t, ok && id.Name == "App", "%s:%d: a type holds the whole *App", s.path, s.line(f.Pos()))
			}
			return true
		})
	}
}
