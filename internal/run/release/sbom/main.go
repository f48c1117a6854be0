// Command sbom writes the bill of materials of a built binary: the modules that
// are linked into it, with their versions and licences, as CycloneDX 1.6 JSON; with
// -notices the texts of the licences, to go with the binary.
package main

import (
	"cmp"
	"debug/buildinfo"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"unicode"
)

func main() {
	texts := flag.Bool("notices", false, "write the licences' texts instead")
	version := flag.String("version", "", "version of the binary; without it the one that the toolchain put in")
	flag.Parse()
	if flag.NArg() != 1 {
		fmt.Fprintln(os.Stderr, "usage: sbom [-version VERSION] [-notices] BINARY > FILE")
		os.Exit(2)
	}
	if err := run(flag.Arg(0), *version, *texts, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "sbom: "+err.Error())
		os.Exit(1)
	}
}

func run(binary, version string, texts bool, w io.Writer) error {
	modules, stamped, err := Linked(binary)
	if err != nil {
		return err
	}
	cache, err := moduleCache()
	if err != nil {
		return err
	}
	for i := range modules {
		if modules[i].Licence, modules[i].Text, err = licenceOf(cache, modules[i]); err != nil {
			return err
		}
	}
	if texts {
		return notices(w, modules)
	}
	return write(w, modules, cmp.Or(version, stamped))
}

// Module is one module linked into a binary.
type Module struct {
	Path, Version, Sum string
	Licence            string // SPDX identifier, "" where it is not recognised
	Text               string // of the licence
}

// Linked reads from a binary what is linked into it; the toolchain's own library
// comes first, as std.
func Linked(binary string) (modules []Module, version string, err error) {
	info, err := buildinfo.ReadFile(binary)
	if err != nil {
		return nil, "", fmt.Errorf("reading what is linked into %s: %w", binary, err)
	}
	modules = []Module{{Path: "std", Version: strings.TrimPrefix(info.GoVersion, "go")}}
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		modules = append(modules, Module{Path: m.Path, Version: m.Version, Sum: m.Sum})
	}
	slices.SortFunc(modules[1:], func(a, b Module) int { return strings.Compare(a.Path, b.Path) })
	return modules, info.Main.Version, nil
}

func moduleCache() (string, error) {
	out, err := exec.Command("go", "env", "GOMODCACHE").Output()
	if err != nil {
		return "", fmt.Errorf("asking go for its module cache: %w", err)
	}
	return strings.TrimSpace(string(out)), nil
}

// licenceOf finds a module's licence in its folder of the module cache.
func licenceOf(cache string, m Module) (id, text string, err error) {
	dir := filepath.Join(cache, escaped(m.Path)+"@"+escaped(m.Version))
	if m.Path == "std" {
		out, err := exec.Command("go", "env", "GOROOT").Output()
		if err != nil {
			return "", "", fmt.Errorf("asking go where it is: %w", err)
		}
		dir = strings.TrimSpace(string(out))
		if _, err := os.Stat(filepath.Join(dir, "LICENSE")); err != nil {
			// a distribution's package keeps it elsewhere; go.dev/LICENSE
			return "BSD-3-Clause", "See https://go.dev/LICENSE\n", nil
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return "", "", fmt.Errorf("looking for the licence of %s: %w", m.Path, err)
	}
	for _, e := range entries {
		name := strings.ToUpper(e.Name())
		notice := strings.HasPrefix(name, "NOTICE")
		if e.IsDir() || !notice && !strings.Contains(name, "LICEN") && !strings.HasPrefix(name, "COPYING") ||
			strings.HasSuffix(name, ".GO") {
			continue
		}
		body, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return "", "", fmt.Errorf("reading the licence of %s: %w", m.Path, err)
		}
		if id == "" && !notice {
			id = Recognise(string(body))
		}
		text += "\n" + strings.TrimSpace(string(body)) + "\n"
	}
	return id, text, nil
}

// notices writes each licence's text under the modules that stand under it, word
// for word.
func notices(w io.Writer, modules []Module) error {
	_, err := fmt.Fprintln(w, "dewcase is built with the modules below; each stands under the licence that follows its "+
		"name.")
	for _, m := range modules {
		if err == nil {
			_, err = fmt.Fprintf(w, "\n%s\n%s %s (%s), source: pkg.go.dev/%s\n\n%s\n", strings.Repeat("-", 76), m.Path,
				m.Version, m.Licence, m.Path, strings.TrimSpace(m.Text))
		}
	}
	if err != nil {
		return fmt.Errorf("writing the notices: %w", err)
	}
	return nil
}

// escaped writes a path as the module cache does: an upper-case letter as ! and
// its lower case.
func escaped(path string) string {
	var b strings.Builder
	for _, r := range path {
		if unicode.IsUpper(r) {
			b.WriteByte('!')
			r = unicode.ToLower(r)
		}
		b.WriteRune(r)
	}
	return b.String()
}

// Recognise tells a licence from its text, by sentences that only it has; "" where
// none is known. The texts are those of the SPDX licence list.
func Recognise(text string) string {
	text = strings.ToLower(strings.Join(strings.Fields(text), " "))
	has := func(s string) bool { return strings.Contains(text, s) }
	switch {
	case has("gnu affero general public license"):
		return "AGPL-3.0"
	case has("eclipse public license - v 2.0"), has("eclipse public license 2.0"), has("epl-2.0"):
		return "EPL-2.0"
	case has("mozilla public license") && has("2.0"):
		return "MPL-2.0"
	case has("apache license") && has("version 2.0"):
		return "Apache-2.0"
	case has("gnu lesser general public license"):
		return "LGPL"
	case has("gnu general public license"):
		return "GPL"
	case has("redistribution and use in source and binary forms") &&
		(has("neither the name") || has("may not be used to endorse") || has("names of its contributors")):
		return "BSD-3-Clause"
	case has("redistribution and use in source and binary forms"):
		return "BSD-2-Clause"
	case has("permission is hereby granted, free of charge, to any person obtaining a copy"):
		return "MIT"
	case has("permission to use, copy, modify, and/or distribute this software"),
		has("permission to use, copy, modify, and distribute this software"):
		return "ISC"
	case has("this is free and unencumbered software released into the public domain"):
		return "Unlicense"
	}
	return ""
}

// The parts of CycloneDX 1.6 that are written.
type (
	bom struct {
		Format     string      `json:"bomFormat"`
		Spec       string      `json:"specVersion"`
		Version    int         `json:"version"`
		Metadata   metadata    `json:"metadata"`
		Components []component `json:"components"`
	}
	metadata struct {
		Component component `json:"component"`
	}
	component struct {
		Type       string     `json:"type"`
		Ref        string     `json:"bom-ref,omitempty"`
		Name       string     `json:"name"`
		Version    string     `json:"version"`
		PURL       string     `json:"purl,omitempty"`
		Licences   []licence  `json:"licenses,omitempty"`
		Properties []property `json:"properties,omitempty"`
	}
	licence struct {
		Licence struct {
			ID string `json:"id"`
		} `json:"license"`
	}
	property struct {
		Name  string `json:"name"`
		Value string `json:"value"`
	}
)

// write writes the bill without a time or a serial number, so that the same
// binary has the same bill.
func write(w io.Writer, modules []Module, version string) error {
	b := bom{Format: "CycloneDX", Spec: "1.6", Version: 1,
		Metadata: metadata{component{Type: "application", Name: "dewcase", Version: version}}}
	for _, m := range modules {
		purl := "pkg:golang/" + m.Path + "@" + m.Version
		c := component{Type: "library", Ref: purl, Name: m.Path, Version: m.Version, PURL: purl}
		if m.Licence != "" {
			l := licence{}
			l.Licence.ID = m.Licence
			c.Licences = []licence{l}
		}
		if m.Sum != "" {
			c.Properties = []property{{"go:sum", m.Sum}}
		}
		b.Components = append(b.Components, c)
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	if err := e.Encode(b); err != nil {
		return fmt.Errorf("writing the bill of materials: %w", err)
	}
	return nil
}
