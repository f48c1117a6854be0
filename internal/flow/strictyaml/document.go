// Package strictyaml reads one hand-written YAML document into nodes that know
// their dotted key and line, and collects every fault instead of stopping at
// the first. It accepts plain data only: anchors, aliases, merge keys, tags,
// further documents and anything that a parser would have to guess are faults.
package strictyaml

import (
	"bytes"
	"errors"
	"fmt"
	"sort"
	"strings"
	"unicode/utf8"

	"dewcase/internal/roof"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// The limits keep a hostile file from costing time or memory: the parser is
// recursive in depth and quadratic in the keys of one block mapping.
const (
	maxDepth      = 32
	maxKeys       = 1000
	maxStructural = 200_000
)

// wholeFile is the key of a fault that concerns no key.
const wholeFile = "file"

// Document is one file being read.
type Document struct {
	file   string
	root   ast.Node
	faults roof.Faults
}

// Parse reads a file of at most maxBytes. The document is there to be read even
// when it has faults; what cannot be read at all is an absent root.
func Parse(file string, data []byte, maxBytes int) *Document {
	d := &Document{file: file}
	if len(data) > maxBytes {
		d.Add(1, wholeFile, fmt.Sprintf("is %d bytes", len(data)), fmt.Sprintf("at most %d bytes are read", maxBytes))
		return d
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if line, problem := textFault(data); problem != "" {
		d.Add(line, wholeFile, problem, "write it as plain UTF-8 text")
		return d
	}
	if n := structural(data); n > maxStructural {
		d.Add(1, wholeFile, fmt.Sprintf("has %d structural characters", n), fmt.Sprintf("at most %d are read", maxStructural))
		return d
	}
	d.parse(string(data))
	return d
}

func (d *Document) parse(text string) {
	defer func() {
		// The parser is not ours and the input is anybody's.
		if r := recover(); r != nil {
			d.root = nil
			d.Add(1, wholeFile, "cannot be read as YAML", "keep to plain keys, lists and values")
		}
	}()
	tokens := lexer.Tokenize(text)
	if line, problem := shapeFault(tokens); problem != "" {
		d.Add(line, wholeFile, problem, "keep to plain keys, lists and values")
		return
	}
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		d.syntax(err)
		return
	}
	for _, doc := range file.Docs {
		switch {
		case doc.Body == nil, doc.Body.Type() == ast.NullType:
		case doc.Body.Type() == ast.DirectiveType:
			d.Add(lineOf(doc.Body), wholeFile, "has a YAML directive", "leave lines that start with % out")
		case d.root != nil:
			d.Add(lineOf(doc.Body), wholeFile, "has a second YAML document", "keep one document, without another ---")
		default:
			d.root = doc.Body
		}
	}
	if d.root == nil {
		d.Add(1, wholeFile, "is empty", "write at least the required keys")
	}
}

func (d *Document) syntax(err error) {
	line, what := 1, err.Error()
	var positioned yaml.Error
	if errors.As(err, &positioned) {
		what = positioned.GetMessage()
		if tk := positioned.GetToken(); tk != nil && tk.Position != nil {
			line = tk.Position.Line
		}
	}
	if i := strings.IndexByte(what, '\n'); i >= 0 {
		what = what[:i]
	}
	remedy := "check indentation, colons, brackets and quotes near this line"
	if strings.Contains(what, "'\t'") || strings.Contains(what, "tab") {
		remedy = "indent with spaces, never with tabs"
	}
	d.Add(line, wholeFile, "is not well-formed YAML: "+Shorten(what), remedy)
}

// Add notes a fault.
func (d *Document) Add(line int, key, problem, remedy string) {
	d.faults = append(d.faults, roof.Fault{File: d.file, Line: max(line, 1), Key: key, Problem: problem, Remedy: remedy})
}

// Faults are what was noted so far, in line order; nil when nothing was.
func (d *Document) Faults() roof.Faults {
	sort.SliceStable(d.faults, func(i, j int) bool { return d.faults[i].Line < d.faults[j].Line })
	return d.faults
}

// Root is the document's top node; absent when nothing could be read.
func (d *Document) Root() Node {
	n := Node{doc: d, node: d.root, Line: 1}
	if d.root != nil {
		n.Line = lineOf(d.root)
	}
	return n
}

func textFault(data []byte) (line int, problem string) {
	line = 1
	for i := 0; i < len(data); {
		r, size := utf8.DecodeRune(data[i:])
		switch {
		case r == utf8.RuneError && size == 1:
			return line, "is not UTF-8 text"
		case r == '\n':
			line++
		case r < ' ' && r != '\t' && r != '\r', r == 0x7f:
			return line, fmt.Sprintf("holds the control character U+%04X", r)
		}
		i += size
	}
	return line, ""
}

// structural counts what the parser can make a token of; a # within a word or a
// row of them is text.
func structural(data []byte) (n int) {
	for i, c := range data {
		switch c {
		case '#':
			if i == 0 || data[i-1] == ' ' || data[i-1] == '\t' || data[i-1] == '\n' {
				n++
			}
		case '[', ']', '{', '}', ',', ':', '-', '?', '&', '*', '!', '|', '>', '"', '\'', '%', '@', '`', '\n':
			n++
		}
	}
	return n
}

// shapeFault finds nesting and mappings that no file of ours has, before the
// recursive parser meets them.
func shapeFault(tokens token.Tokens) (line int, problem string) {
	flow, dashes, last := 0, 0, 0
	keysAt := map[int]int{}
	for i, tk := range tokens {
		if tk.Position.Line != last {
			last, dashes = tk.Position.Line, 0
			column := tk.Position.Column
			for c := range keysAt {
				if c > column {
					delete(keysAt, c)
				}
			}
			if flow == 0 && i+1 < len(tokens) && tokens[i+1].Type == token.MappingValueType {
				if keysAt[column]++; keysAt[column] > maxKeys {
					return last, fmt.Sprintf("has more than %d keys in one mapping", maxKeys)
				}
			}
			if len(keysAt) > maxDepth {
				return last, fmt.Sprintf("is nested deeper than %d levels", maxDepth)
			}
		}
		switch tk.Type {
		case token.SequenceStartType, token.MappingStartType:
			flow++
		case token.SequenceEndType, token.MappingEndType:
			flow--
		case token.SequenceEntryType, token.MappingKeyType, token.AnchorType, token.TagType:
			dashes++
		}
		if flow > maxDepth || dashes > maxDepth {
			return last, fmt.Sprintf("is nested deeper than %d levels", maxDepth)
		}
	}
	return 0, ""
}

func lineOf(n ast.Node) int {
	if m, ok := n.(*ast.MappingNode); ok && !m.IsFlowStyle && len(m.Values) > 0 {
		return lineOf(m.Values[0].Key)
	}
	if tk := n.GetToken(); tk != nil && tk.Position != nil {
		return tk.Position.Line
	}
	return 1
}

// Shorten quotes nothing but cuts text that somebody else wrote to a length fit
// for one line.
func Shorten(s string) string {
	const limit = 80
	if utf8.RuneCountInString(s) <= limit {
		return s
	}
	return string([]rune(s)[:limit]) + "..."
}
