package payload

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The document and pointers of RFC 6901, sections 5 and 6.
func TestPointersFindWhatTheRFCSays(t *testing.T) {
	doc, err := parseJSON([]byte(`{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}`))
	require.NoError(t, err)
	for pointer, want := range map[string]string{
		"/foo/0": "bar", "/": "0", "/a~1b": "1", "/c%d": "2", "/e^f": "3", "/g|h": "4", `/i\j`: "5", `/k"l`: "6", "/ ": "7",
		"/m~0n":   "8",
		"#/foo/0": "bar", "#/": "0", "#/a~1b": "1", "#/c%25d": "2", "#/e%5Ef": "3", "#/g%7Ch": "4", "#/i%5Cj": "5",
		"#/k%22l": "6", "#/%20": "7", "#/m~0n": "8",
	} {
		p, err := parsePointer(pointer)
		require.NoError(t, err, pointer)
		v, ok := p.of(doc, doc)
		assert.True(t, ok, pointer)
		assert.Equal(t, want, v.text, pointer)
	}
	whole, err := parsePointer("")
	require.NoError(t, err)
	v, ok := whole.of(doc, doc)
	assert.True(t, ok)
	assert.Equal(t, doc, v)
}

// RFC 6901, section 4: an index has no leading zero, and - is no element.
func TestPointersFindNothingElse(t *testing.T) {
	doc, err := parseJSON([]byte(`{"foo":["bar","baz"],"n":1}`))
	require.NoError(t, err)
	for _, pointer := range []string{"/foo/00", "/foo/01", "/foo/+1", "/foo/-1", "/foo/-", "/foo/2", "/foo/", "/foo/1e0",
		"/foo/99999999999999999999", "/FOO", "/n/0", "/foo/0/0", "/x"} {
		p, err := parsePointer(pointer)
		require.NoError(t, err, pointer)
		_, ok := p.of(doc, doc)
		assert.False(t, ok, pointer)
	}
	for _, bad := range []string{"foo", "/~", "/~2", "/a~", "#foo", "#/%zz", " /foo"} {
		_, err := parsePointer(bad)
		assert.Error(t, err, bad)
	}
}

func TestAPointerToANameFindsIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		names := rapid.SliceOfN(rapid.String(), 1, 5).Draw(t, "names")
		v := value{kind: numberKind, text: "7"}
		for i := len(names) - 1; i >= 0; i-- {
			v = value{kind: objectKind, names: []string{names[i]}, items: []value{v}}
		}
		var b strings.Builder
		for _, n := range names {
			b.WriteString("/" + strings.ReplaceAll(strings.ReplaceAll(n, "~", "~0"), "/", "~1"))
		}
		p, err := parsePointer(b.String())
		if err != nil {
			t.Fatal(err)
		}
		if got, ok := p.of(v, v); !ok || got.text != "7" {
			t.Fatalf("%q found %v", b.String(), got)
		}
	})
}
