package mappings_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/mappings"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

const one = "- {topic: \"node/{logger}\", case: larch-3, fields: [{quantity: temp_c, pointer: /t, unit: C}]}\n"

func TestMappingsAreKeptWithTheirHouseVersionByVersion(t *testing.T) {
	dir, now := t.TempDir(), time.Date(2026, 11, 30, 10, 0, 0, 0, time.UTC)
	s, err := sqlite.Open(t.Context(), dir, sqlite.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	var inForce []payload.Mapping
	var fail error
	open := func() *mappings.Book {
		b, err := mappings.Open(t.Context(), s, func() time.Time { return now },
			func(all []payload.Mapping) error { inForce = all; return fail })
		require.NoError(t, err)
		return b
	}
	b := open()
	put := func(text, what string, before int) error {
		return b.Put(t.Context(), mappings.Version{Case: "larch-3", By: "Ann", What: what, Text: text}, before)
	}
	require.NoError(t, put(one, "node/+ is read", 0))
	require.Equal(t, "node/{logger}", inForce[0].Topic)
	require.ErrorIs(t, put("", "gone", 0), roof.ErrChanged)
	now = now.Add(time.Hour)
	require.NoError(t, put(one, "nothing", 1))
	require.NoError(t, put("[]", "node/+ is read no more", 1))
	require.Empty(t, inForce)
	fail = errors.New("no")
	require.Error(t, put(one, "again", 2))
	v, _ := b.Of("larch-3")
	require.Equal(t, 2, v.Number, "what could not be put in force is not kept")
	fail = nil

	other := "- {topic: b/t, case: oak-1, logger: x, form: number, fields: [{quantity: temp_c, unit: F}]}\n"
	require.NoError(t, b.Put(t.Context(), mappings.Version{Case: "oak-1", Text: other}, 0))
	for name, c := range map[string]struct{ text, want string }{
		"no unit":         {"- {topic: a/b, case: larch-3, logger: x, form: number, fields: [{quantity: temp_c}]}", "unit"},
		"of another case": {other, "write case: larch-3"},
		"no YAML":         {"- {", "larch-3 mappings:"},
	} {
		require.ErrorContains(t, put(c.text, "", 2), c.want, name)
	}

	history, err := b.History(t.Context(), "larch-3", 10)
	require.NoError(t, err)
	require.Equal(t, []string{"node/+ is read no more", "node/+ is read"}, []string{history[0].What, history[1].What})
	require.Equal(t, mappings.Version{Case: "larch-3", Number: 1, At: now.Add(-time.Hour), By: "Ann",
		What: "node/+ is read", Text: one}, history[1])

	inForce = nil
	b = open()
	require.Len(t, inForce, 1, "what is kept is in force after a restart")
	_, all := b.Of("oak-1")
	require.Len(t, all, 1)
	require.NoError(t, s.Close())
	r, err := sqlite.Check(context.Background(), dir)
	require.NoError(t, err)
	require.Empty(t, r.Damage)
}

func TestAHouseWhoseMappingsCannotBeReadGoesWithoutAndIsNamed(t *testing.T) {
	s, err := sqlite.Open(t.Context(), t.TempDir(), sqlite.Options{})
	require.NoError(t, err)
	defer s.Close()
	require.NoError(t, s.PutState(t.Context(), "house_mappings", "larch-3/00000001",
		[]byte(`{"case":"larch-3","number":1,"text":"- {topic: a/b, shape: round}"}`)))
	b, err := mappings.Open(t.Context(), s, time.Now, func([]payload.Mapping) error { return nil })
	require.ErrorContains(t, err, "larch-3")
	require.Empty(t, b.All())
}
