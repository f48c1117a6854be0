package strictyaml

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// Node is one value with its dotted key and line. An absent node answers every
// question with false and notes no fault, so that an optional key needs no if.
type Node struct {
	doc  *Document
	node ast.Node
	Key  string
	Line int
}

// Present reports that the key was written with a value; a key with nothing
// behind it counts as left out.
func (n Node) Present() bool {
	return n.node != nil && n.node.Type() != ast.NullType
}

// Fault notes what is wrong with the node.
func (n Node) Fault(problem, remedy string) {
	key := n.Key
	if key == "" {
		key = wholeFile
	}
	n.doc.Add(n.Line, key, problem, remedy)
}

// Map is a mapping whose keys were checked.
type Map struct {
	Node
	fields map[string]Node
	order  []string
}

// Map reads a mapping; a key that is not known, or there twice, is a fault.
// Without known keys any are taken.
func (n Node) Map(known ...string) Map {
	m := Map{Node: n, fields: map[string]Node{}}
	if !n.Present() {
		return m
	}
	mapping, ok := n.node.(*ast.MappingNode)
	if !ok {
		n.Fault("is "+n.kind(), "it must hold keys with values"+knownKeys(known))
		return m
	}
	for _, entry := range mapping.Values {
		name, line := keyText(entry.Key), lineOf(entry.Key)
		child := Node{doc: n.doc, node: entry.Value, Key: join(n.Key, name), Line: line}
		_, merge := entry.Key.(*ast.MergeKeyNode)
		if _, plain := entry.Key.(ast.ScalarNode); merge || !plain {
			child.Fault("is not a plain key", "merge keys and keys that are lists are not read here; write the key out")
			continue
		}
		if first, twice := m.fields[name]; twice {
			child.Fault(fmt.Sprintf("is a duplicate key; first defined on line %d", first.Line), "keep one of the two")
			continue
		}
		if len(known) > 0 && !slices.Contains(known, name) {
			child.Fault("is not a known key", nearest(name, known)+strings.TrimPrefix(knownKeys(known), ": "))
			continue
		}
		m.fields[name] = child
		m.order = append(m.order, name)
	}
	return m
}

// Get returns the value of a key, absent if it was not written.
func (m Map) Get(key string) Node {
	if n, ok := m.fields[key]; ok {
		return n
	}
	return Node{doc: m.doc, Key: join(m.Key, key), Line: m.Line}
}

// Need returns the value of a key that must be there; remedy says what to write.
func (m Map) Need(key, remedy string) Node {
	n := m.Get(key)
	if !n.Present() && m.Present() && m.node.Type() == ast.MappingType {
		n.Fault("is missing", remedy)
	}
	return n
}

// Keys lists the keys that were taken, in the file's order.
func (m Map) Keys() []string { return m.order }

// List reads a sequence.
func (n Node) List() []Node {
	if !n.Present() {
		return nil
	}
	seq, ok := n.node.(*ast.SequenceNode)
	if !ok {
		n.Fault("is "+n.kind(), "it must be a list, each entry on a line of its own after a dash, or [a, b]")
		return nil
	}
	out := make([]Node, 0, len(seq.Values))
	for i, v := range seq.Values {
		entry := Node{doc: n.doc, node: v, Key: fmt.Sprintf("%s[%d]", n.Key, i), Line: lineOf(v)}
		if !entry.Present() {
			entry.Fault("is empty", "write the entry out or take its dash away")
			continue
		}
		out = append(out, entry)
	}
	return out
}

// scalar returns the text of a plain or quoted value.
func (n Node) scalar(want string) (text string, quoted, ok bool) {
	switch v := n.node.(type) {
	case *ast.StringNode:
		t := v.GetToken().Type
		return v.Value, t == token.SingleQuoteType || t == token.DoubleQuoteType, true
	case *ast.LiteralNode:
		return v.Value.Value, true, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return v.GetToken().Value, false, true
	}
	n.Fault("is "+n.kind(), "it must be "+want)
	return "", false, false
}

// Text reads a value as text, as it was written.
func (n Node) Text() (string, bool) {
	if !n.Present() {
		return "", false
	}
	s, _, ok := n.scalar("text")
	return s, ok
}

// Is reports that the value is this text; it notes no fault.
func (n Node) Is(text string) bool {
	s, ok := n.node.(*ast.StringNode)
	return ok && s.Value == text
}

// Word reads one of a few words.
func (n Node) Word(allowed ...string) (string, bool) {
	if !n.Present() {
		return "", false
	}
	s, _, ok := n.scalar("one of " + strings.Join(allowed, ", "))
	if !ok {
		return "", false
	}
	if !slices.Contains(allowed, s) {
		n.Fault(fmt.Sprintf("%q is not a word known here", Shorten(s)), "write one of "+strings.Join(allowed, ", "))
		return "", false
	}
	return s, true
}

var decimal = regexp.MustCompile(`^[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]+)?$`)

// Number reads a finite decimal number between low and high, both allowed.
func (n Node) Number(low, high float64) (float64, bool) {
	if !n.Present() {
		return 0, false
	}
	within := fmt.Sprintf("a number from %v to %v", low, high)
	s, quoted, ok := n.scalar(within)
	if !ok {
		return 0, false
	}
	x, err := strconv.ParseFloat(s, 64)
	digits := strings.TrimLeft(s, "+-")
	switch {
	case quoted || !decimal.MatchString(s):
		n.Fault(fmt.Sprintf("%q is not a plain decimal number", Shorten(s)),
			"write "+within+", with a decimal point and without quotes or units")
	case len(digits) > 1 && digits[0] == '0' && digits[1] >= '0' && digits[1] <= '9':
		n.Fault(fmt.Sprintf("%q starts with a zero, which some readers take as octal", Shorten(s)),
			"leave the leading zero out")
	case err != nil || math.IsInf(x, 0) || x < low || x > high:
		n.Fault(fmt.Sprintf("%s cannot be", Shorten(s)), "write "+within)
	default:
		return x, true
	}
	return 0, false
}

// Whole reads a whole number between low and high, both allowed.
func (n Node) Whole(low, high int) (int, bool) {
	x, ok := n.Number(float64(low), float64(high))
	if !ok {
		return 0, false
	}
	if x != math.Trunc(x) {
		n.Fault(fmt.Sprintf("%v is not a whole number", x), fmt.Sprintf("write a whole number from %d to %d", low, high))
		return 0, false
	}
	return int(x), true
}

// YesNo reads yes or no, in any of the ways YAML has had for them.
func (n Node) YesNo() (yes, ok bool) {
	if !n.Present() {
		return false, false
	}
	s, _, ok := n.scalar("yes or no")
	if !ok {
		return false, false
	}
	switch strings.ToLower(s) {
	case "yes", "true", "y", "on":
		return true, true
	case "no", "false", "n", "off":
		return false, true
	}
	n.Fault(fmt.Sprintf("%q is neither yes nor no", Shorten(s)), "write yes or no")
	return false, false
}

func (n Node) kind() string {
	switch v := n.node.(type) {
	case *ast.MappingNode:
		return "a mapping of keys"
	case *ast.SequenceNode:
		return "a list"
	case *ast.AnchorNode, *ast.AliasNode, *ast.MergeKeyNode:
		return "an anchor, alias or merge key, which are not read here"
	case *ast.TagNode:
		return "tagged with a !, which is not read here"
	case *ast.NullNode:
		return "empty"
	case *ast.StringNode:
		return fmt.Sprintf("the text %q", Shorten(v.Value))
	case ast.ScalarNode:
		return "the value " + Shorten(v.GetToken().Value)
	}
	return "something that is not read here"
}

func keyText(k ast.MapKeyNode) string {
	if s, ok := k.(*ast.StringNode); ok {
		return s.Value
	}
	if tk := k.GetToken(); tk != nil {
		return tk.Value
	}
	return "?"
}

var plainKey = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

func join(path, key string) string {
	if !plainKey.MatchString(key) {
		key = strconv.Quote(Shorten(key))
	}
	if path == "" {
		return key
	}
	return path + "." + key
}

func knownKeys(known []string) string {
	if len(known) == 0 {
		return ""
	}
	return ": known here are " + strings.Join(known, ", ")
}

// nearest offers the known key that a mistyped one most looks like.
func nearest(name string, known []string) string {
	if len(name) > 64 {
		return ""
	}
	type guess struct {
		key  string
		cost int
	}
	guesses := make([]guess, 0, len(known))
	for _, k := range known {
		cost := edits(name, k)
		if len(name) >= 3 && (strings.HasPrefix(k, name) || strings.HasPrefix(name, k)) {
			cost = min(cost, 1)
		}
		guesses = append(guesses, guess{k, cost})
	}
	sort.SliceStable(guesses, func(i, j int) bool { return guesses[i].cost < guesses[j].cost })
	if g := guesses[0]; g.cost <= 2 && g.cost < len(g.key) {
		return "did you mean " + g.key + "? "
	}
	return ""
}

// edits is the Levenshtein distance in bytes.
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := diagonal
			if a[i-1] != b[j-1] {
				cost++
			}
			diagonal = row[j]
			row[j] = min(cost, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}

// Under is the place of a dotted key below a mapping, for a fault that was
// found after reading: on the key's own line if it was written, else on the
// line of the nearest key above it.
func Under(m Map, path string) Node {
	n := m.Node
	for path != "" {
		key := path
		if i := strings.IndexAny(path[1:], ".["); i >= 0 {
			key = path[:i+1]
		}
		rest := strings.TrimPrefix(path[len(key):], ".")
		line := n.Line
		n = n.child(key)
		if n.Line == 0 {
			n.Line = line
		}
		path = rest
	}
	return n
}

// child is an entry of a mapping or list without any check; its line is 0
// where it is not there.
func (n Node) child(key string) Node {
	if strings.HasPrefix(key, "[") {
		out := Node{doc: n.doc, Key: n.Key + key}
		i, err := strconv.Atoi(strings.Trim(key, "[]"))
		if seq, ok := n.node.(*ast.SequenceNode); ok && err == nil && i < len(seq.Values) {
			out.node, out.Line = seq.Values[i], lineOf(seq.Values[i])
		}
		return out
	}
	out := Node{doc: n.doc, Key: join(n.Key, key)}
	if mapping, ok := n.node.(*ast.MappingNode); ok {
		for _, entry := range mapping.Values {
			if keyText(entry.Key) == key {
				out.node, out.Line = entry.Value, lineOf(entry.Key)
				break
			}
		}
	}
	return out
}
