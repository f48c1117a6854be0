package casebook_test

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/roof"
)

// store is the real store as a shelf.
type store struct{ *sqlite.Store }

func (s store) WriteCase(ctx context.Context, id string, file []byte, by, ifMatch string) (string, bool, error) {
	return s.Store.WriteCase(ctx, sqlite.CasePut{ID: id, File: file, By: by, IfMatch: ifMatch})
}

func open(t *testing.T) (store, *casebook.Book) {
	t.Helper()
	s, err := sqlite.Open(t.Context(), t.TempDir(), sqlite.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	b, err := casebook.Open(t.Context(), store{s})
	require.NoError(t, err)
	return store{s}, b
}

func file(label string) []byte {
	return []byte("case: larch-3\nproperty: {label: " + label + ", timezone: Europe/London}\nloggers:\n  - {id: k1}\n")
}

func TestACaseIsInForceOnceItIsKept(t *testing.T) {
	_, b := open(t)
	var told []string
	b.OnChange(func(id string) { told = append(told, id) })
	assert.False(t, b.Known("larch-3"))
	created, etag, err := b.Put(t.Context(), "larch-3", file("one"), casebook.If{}, "test")
	require.NoError(t, err)
	assert.True(t, created)
	e, err := b.Get("larch-3")
	require.NoError(t, err)
	assert.Equal(t, "one", e.Case.Property.Label)
	assert.Equal(t, etag, e.ETag)
	assert.True(t, b.Fitted("larch-3", "k1"))
	assert.False(t, b.Fitted("larch-3", "k2"))
	assert.Equal(t, []string{"larch-3"}, told)
}

func TestACaseFileThatMustNotBeKeptChangesNothing(t *testing.T) {
	_, b := open(t)
	_, etag, err := b.Put(t.Context(), "larch-3", file("one"), casebook.If{}, "test")
	require.NoError(t, err)
	for name, c := range map[string]struct {
		id, file, ifMatch string
		want              error
	}{
		"a fault":        {"larch-3", "case: larch-3\nproprety: {}\n", "", nil},
		"another case's": {"larch-4", string(file("two")), "", nil},
		"a tag gone by":  {"larch-3", string(file("two")), `"` + strings.Repeat("0", 64) + `"`, roof.ErrChanged},
		"any tag, but no case": {"larch-4", strings.Replace(string(file("two")), "larch-3", "larch-4", 1), "*",
			roof.ErrChanged},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := b.Put(t.Context(), c.id, []byte(c.file), casebook.If{Match: c.ifMatch}, "test")
			if c.want != nil {
				assert.ErrorIs(t, err, c.want)
			} else {
				assert.IsType(t, roof.Faults{}, err)
			}
			e, err := b.Get("larch-3")
			require.NoError(t, err)
			assert.Equal(t, etag, e.ETag)
			assert.False(t, b.Known("larch-4"))
		})
	}
}

// Two people save at the same moment: whichever is kept last is in force, in
// memory as on the disk.
func TestWhatIsInForceIsWhatWasKeptLast(t *testing.T) {
	s, b := open(t)
	for round := range 20 {
		var all sync.WaitGroup
		for i := range 8 {
			all.Go(func() {
				_, _, err := b.Put(t.Context(), "larch-3", file(fmt.Sprintf("r%d-%d", round, i)), casebook.If{}, "test")
				assert.NoError(t, err)
			})
		}
		all.Wait()
		_, kept, _, err := s.Case(t.Context(), "larch-3")
		require.NoError(t, err)
		e, err := b.Get("larch-3")
		require.NoError(t, err)
		require.Equal(t, kept, e.ETag, "round %d", round)
	}
}

// Two people create one house at the same moment, each by a door of their own:
// one house comes of it, and the other is told, whatever the interleaving.
func TestOfTwoWhoCreateOneHouseOneIsToldThatItIsThere(t *testing.T) {
	s, b := open(t)
	for round := range 20 {
		id := fmt.Sprintf("larch-%d", round)
		text := []byte(strings.Replace(string(file("one")), "larch-3", id, 1))
		var taken atomic.Int32
		var all sync.WaitGroup
		for i := range 8 {
			all.Go(func() {
				var err error
				if i%2 == 0 { // as a page does, and as a program does
					_, err = b.Create(t.Context(), text, fmt.Sprint(i))
				} else {
					_, _, err = b.Put(t.Context(), id, text, casebook.If{NoneMatch: "*"}, fmt.Sprint(i))
				}
				if err != nil {
					assert.ErrorIs(t, err, roof.ErrTaken)
					taken.Add(1)
				}
			})
		}
		all.Wait()
		require.Equal(t, int32(7), taken.Load(), "round %d", round)
		versions, err := s.CaseHistory(t.Context(), id, 10, 0)
		require.NoError(t, err)
		require.Len(t, versions, 1)
	}
	_, etag, err := b.File(t.Context(), "larch-0")
	require.NoError(t, err)
	two := []byte(strings.Replace(string(file("two")), "larch-3", "larch-0", 1))
	for _, header := range []string{"*", `"` + etag + `"`} {
		_, _, err := b.Put(t.Context(), "larch-0", two, casebook.If{NoneMatch: header}, "test")
		assert.ErrorIs(t, err, roof.ErrTaken, header)
	}
	_, _, err = b.Put(t.Context(), "larch-0", two, casebook.If{NoneMatch: `"another"`}, "test")
	assert.NoError(t, err)
}

// A case file of an older version that no longer reads must not take the others
// with it.
func TestACaseThatNoLongerReadsIsLeftOutAndNamed(t *testing.T) {
	s, b := open(t)
	_, _, err := b.Put(t.Context(), "larch-3", file("one"), casebook.If{}, "test")
	require.NoError(t, err)
	_, _, err = s.WriteCase(t.Context(), "larch-9", []byte("case: larch-9\n"), "test", "")
	require.NoError(t, err)
	again, err := casebook.Open(t.Context(), s)
	require.ErrorContains(t, err, "larch-9")
	require.NotNil(t, again)
	assert.True(t, again.Known("larch-3"))
	assert.False(t, again.Known("larch-9"))
	require.Len(t, again.All(), 1)
}

// An upgrade must not leave a house out whose file an earlier version took: its
// loggers' readings would be rejected.
func TestAFileThatAnEarlierVersionTookStaysInForce(t *testing.T) {
	s, _ := open(t)
	kept := append(file("one"), "contacts: {householder: [ann@example.org], language: de}\n"...)
	_, _, err := s.WriteCase(t.Context(), "larch-3", kept, "an earlier version", "")
	require.NoError(t, err)
	b, err := casebook.Open(t.Context(), s)
	require.NoError(t, err)
	assert.True(t, b.Fitted("larch-3", "k1"))
	_, _, err = b.Put(t.Context(), "larch-3", append(kept, '\n'), casebook.If{}, "test")
	assert.ErrorContains(t, err, "contacts.language", "a new version of the file is read strictly")
}
