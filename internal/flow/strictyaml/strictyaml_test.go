package strictyaml_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/strictyaml"
)

func parse(text string) (*strictyaml.Document, strictyaml.Map) {
	d := strictyaml.Parse("f.yaml", []byte(text), 1<<20)
	return d, d.Root().Map("a", "b", "list", "inner")
}

func TestValuesAreReadWithTheirKeyAndLine(t *testing.T) {
	d, m := parse("a: 4.5\nb: |\n  two\n  lines\nlist:\n  - x\n  - 7\ninner: {a: yes}\n")
	x, ok := m.Get("a").Number(0, 10)
	assert.True(t, ok)
	assert.Equal(t, 4.5, x)
	s, ok := m.Get("b").Text()
	assert.True(t, ok)
	assert.Equal(t, "two\nlines\n", s)
	list := m.Get("list").List()
	require.Len(t, list, 2)
	assert.Equal(t, "list[1]", list[1].Key)
	assert.Equal(t, 7, list[1].Line)
	n, ok := list[1].Whole(0, 10)
	assert.True(t, ok)
	assert.Equal(t, 7, n)
	inner := m.Get("inner").Map("a")
	yes, ok := inner.Get("a").YesNo()
	assert.True(t, yes && ok)
	assert.Equal(t, []string{"a", "b", "list", "inner"}, m.Keys())
	assert.Empty(t, d.Faults())
}

func TestAnAbsentKeyAnswersNoAndIsNoFault(t *testing.T) {
	d, m := parse("a:\n")
	for _, key := range []string{"a", "b"} {
		n := m.Get(key)
		assert.False(t, n.Present())
		_, ok := n.Text()
		assert.False(t, ok)
		_, ok = n.Number(0, 1)
		assert.False(t, ok)
		_, ok = n.YesNo()
		assert.False(t, ok)
		_, ok = n.Word("x")
		assert.False(t, ok)
		assert.Empty(t, n.List())
		assert.False(t, n.Map("x").Present())
	}
	assert.Empty(t, d.Faults())
}

func TestAFaultFoundLaterFindsItsLine(t *testing.T) {
	d, m := parse("a: 1\nlist:\n  - {a: 1}\n  - a: 2\n    b: 3\n")
	strictyaml.Under(m, "list[1].b").Fault("is wrong", "")
	strictyaml.Under(m, "list[1].inner.a").Fault("is missing", "write it")
	strictyaml.Under(m, "b").Fault("is missing", "")
	strictyaml.Under(m, "list[7].b").Fault("is not there", "")
	assert.Equal(t, []string{
		"f.yaml:1: b: is missing",
		"f.yaml:2: list[7].b: is not there",
		"f.yaml:4: list[1].inner.a: is missing; write it",
		"f.yaml:5: list[1].b: is wrong",
	}, d.Faults().Lines(10))
}

func TestAMistypedKeyIsMetWithTheNearestKnownOne(t *testing.T) {
	for name, want := range map[string]string{"lst": "list", "lists": "list", "iner": "inner", "inner_": "inner",
		"completely": ""} {
		d := strictyaml.Parse("f.yaml", []byte(name+": 1\n"), 1<<20)
		d.Root().Map("list", "inner", "other")
		require.Len(t, d.Faults(), 1, name)
		assert.Equal(t, want != "", strings.Contains(d.Faults()[0].Error(), "did you mean "+want+"?"), d.Faults()[0].Error())
	}
}

// Each of these makes a parser without limits slow, deep or large.
func TestHostileFilesAreRefusedOrReadInBoundedMemory(t *testing.T) {
	fill := func(s string) string { return strings.Repeat(s, (1<<20)/len(s)-1) }
	for name, text := range map[string]string{
		"brackets": fill("["), "braces": fill("{a: "), "dashes": fill("- "), "questions": fill("? "), "keys": fill("k: v\n"),
		"anchors": fill("- &a b\n"),
		"aliases": "a: &a x\n" + fill("- *a\n"), "lines": fill("\n"), "remarks": fill("#\n"), "commas": "a: [" + fill(","),
		"a long word": "a: " + fill("x")[8:],
		"many words":  "a: " + fill("x ")[8:], "an open quote": "a: \"" + fill("x")[8:], "spaces": fill(" "),
		"returns": fill("\r"),
	} {
		t.Run(name, func(t *testing.T) {
			d := strictyaml.Parse("f.yaml", []byte(text), 1<<20)
			for range d.Root().Map().Keys() {
			}
			for _, line := range d.Faults().Lines(100) {
				assert.Less(t, len(line), 1000)
			}
		})
	}
}

// A remark may fill a file up to its limit: it costs the parser one token.
func TestALongRemarkIsRead(t *testing.T) {
	for name, text := range map[string]string{"a rule of signs": "a: 1\n" + strings.Repeat("#", 1<<20-5),
		"words": "a: 1\n#" + strings.Repeat(" pad", 1<<18-2)} {
		d := strictyaml.Parse("f.yaml", []byte(text), 1<<20)
		assert.Equal(t, []string{"a"}, d.Root().Map().Keys(), name)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte("a: 1\nb: [x, {c: ~}]\n"))
	f.Add([]byte("a: &x |\n  y\n<<: *x\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		d := strictyaml.Parse("f.yaml", data, 1<<16)
		walk(d.Root(), 0)
		for _, line := range d.Faults().Lines(1 << 20) {
			if strings.ContainsAny(line, "\r\n\x00") {
				t.Fatalf("%q", line)
			}
		}
	})
}

// walk asks every node everything.
func walk(n strictyaml.Node, depth int) {
	if depth > 3*32 { // 32 levels are read
		panic("deeper than is read")
	}
	n.Text()
	n.Number(-1e9, 1e9)
	n.YesNo()
	m := n.Map()
	for _, k := range m.Keys() {
		walk(m.Get(k), depth+1)
		strictyaml.Under(m, k+"[0].x")
	}
	for _, e := range n.List() {
		walk(e, depth+1)
	}
}
