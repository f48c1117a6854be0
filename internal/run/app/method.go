package app

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"go/parser"
	"go/token"
	"hash"
	"io"
	"io/fs"
	"maps"
	"os"
	"path"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"

	"dewcase/internal"
)

// The methods by which values were worked out. Hours and assessments have that of
// their rooms, so that a new version works anew only what it may work out
// otherwise; a summary of a house comes from this program's pages as well.
var (
	hoursMethod  = sync.OnceValue(func() string { return methodOf(internal.Methods, "flow/record") })
	curvesMethod = sync.OnceValue(func() string { return methodOf(internal.Methods, "flow/record", "flow/curves") })
	answerMethod = sync.OnceValue(func() string { return methodOf(internal.Methods, "flow/record", "flow/assessment") })
)

// methodOf names the method of the rooms at the given roots by everything that it
// comes from: their sources and those of every room that they import, tests aside,
// and what else the program was built from. Where a source is not at hand it is
// the program as a whole.
func methodOf(sources fs.FS, roots ...string) string {
	h := sha256.New()
	if err := errors.Join(digestRooms(h, sources, roots), digestBuild(h)); err != nil {
		return program()
	}
	return string(h.Sum(nil))
}

const roomsPath = "dewcase/internal/"

// digestRooms takes the sources of rooms and of all that they import.
func digestRooms(h hash.Hash, sources fs.FS, rooms []string) error {
	seen := map[string]bool{}
	for rooms = slices.Clone(rooms); len(rooms) > 0; rooms = rooms[1:] {
		if seen[rooms[0]] {
			continue
		}
		seen[rooms[0]] = true
		imports, err := importsOf(sources, rooms[0])
		if err != nil {
			return err
		}
		rooms = append(rooms, imports...)
	}
	for _, room := range slices.Sorted(maps.Keys(seen)) {
		err := eachSource(sources, room, func(file string, text []byte) error {
			_, err := fmt.Fprintf(h, "%s %d\n%s", file, len(text), text)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// importsOf lists the rooms that a room imports.
func importsOf(sources fs.FS, room string) (out []string, err error) {
	err = eachSource(sources, room, func(file string, text []byte) error {
		f, err := parser.ParseFile(token.NewFileSet(), file, text, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, i := range f.Imports {
			name, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				return err
			}
			if r, ok := strings.CutPrefix(name, roomsPath); ok {
				out = append(out, r)
			}
		}
		return nil
	})
	return out, err
}

// eachSource reads a room's sources but for its tests; a room without any is an
// error.
func eachSource(sources fs.FS, room string, each func(file string, text []byte) error) error {
	files, err := fs.Glob(sources, path.Join(room, "*.go"))
	if err != nil {
		return err
	}
	files = slices.DeleteFunc(files, func(f string) bool { return strings.HasSuffix(f, "_test.go") })
	if len(files) == 0 {
		return fmt.Errorf("the sources of %s are not in this program", room)
	}
	for _, file := range files {
		text, err := fs.ReadFile(sources, file)
		if err == nil {
			err = each(file, text)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// digestBuild takes what else a figure can depend on to its last digit: the
// compiler, what it compiled for, and the libraries.
func digestBuild(h hash.Hash) error {
	b, ok := debug.ReadBuildInfo()
	if !ok {
		return errors.New("nothing is known of this program's build")
	}
	fmt.Fprintln(h, b.GoVersion)
	for _, s := range b.Settings {
		if !strings.HasPrefix(s.Key, "vcs") && s.Key != "-ldflags" {
			fmt.Fprintln(h, s.Key, s.Value)
		}
	}
	for _, m := range b.Deps {
		for ; m != nil; m = m.Replace {
			fmt.Fprintln(h, m.Path, m.Version, m.Sum)
		}
	}
	return nil
}

// program identifies this program, from its executable:
// by the identity that the linker gave it, which covers its code, else by its
// content. It is empty, and nothing is to be kept, where neither can be read.
var program = sync.OnceValue(func() string {
	f, err := os.Open("/proc/self/exe") // also where another was put in its place meanwhile
	if err != nil {
		name, err := os.Executable()
		if err != nil {
			return ""
		}
		if f, err = os.Open(name); err != nil {
			return ""
		}
	}
	defer f.Close()
	const mark = "\xff Go build ID: \""
	head := make([]byte, 64<<10)
	n, _ := f.ReadAt(head, 0)
	if _, id, found := bytes.Cut(head[:n], []byte(mark)); found {
		if id, _, ok := bytes.Cut(id, []byte{'"'}); ok && len(id) > 0 {
			return string(id)
		}
	}
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return ""
	}
	return string(h.Sum(nil))
})
