package sqlite

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

func TestTheListOfHousesIsSearchedSortedAndPaged(t *testing.T) {
	ctx := t.Context()
	d := derivedIn(t, t.TempDir(), false)
	now := storetest.Epoch
	for _, h := range []roof.ListedHouse{
		{Case: "a", Name: "Ash Row 5", Weight: 10, WetNights: 2, WetBefore: 2, Last: now, Data: []byte("ash")},
		{Case: "b", Name: "Beech 100%", WetNights: 6, WetBefore: 7, Last: now.Add(-time.Hour), Data: []byte("beech"),
			SilentFrom: now},
		{Case: "c_d", Name: "cédar", WetNights: 3, Last: now.Add(-2 * time.Hour), Data: []byte("cedar"),
			SilentFrom: now.Add(time.Millisecond)},
	} {
		require.NoError(t, d.KeepHouse(ctx, h))
	}
	require.NoError(t, d.NameHouse(ctx, "new", "Aspen 1"))
	ask := func(q roof.HouseQuery) (names []string, p roof.HousePage) {
		t.Helper()
		if q.Limit == 0 {
			q.Limit = 50
		}
		q.Now = now
		p, err := d.Houses(ctx, q)
		require.NoError(t, err)
		for _, r := range p.Rows {
			names = append(names, r.Case)
		}
		return names, p
	}
	for name, of := range map[string]struct {
		q    roof.HouseQuery
		want []string
	}{
		"what needs a look first":    {roof.HouseQuery{Order: roof.ByNeed}, []string{"b", "a", "new", "c_d"}},
		"an order that there is not": {roof.HouseQuery{Order: "x"}, []string{"b", "a", "new", "c_d"}},
		"by name":                    {roof.HouseQuery{Order: roof.ByName}, []string{"a", "new", "b", "c_d"}},
		"by wet nights":              {roof.HouseQuery{Order: roof.ByWet}, []string{"b", "c_d", "a", "new"}},
		"by the trend":               {roof.HouseQuery{Order: roof.ByTrend}, []string{"c_d", "a", "new", "b"}},
		"longest unheard":            {roof.HouseQuery{Order: roof.ByHeard}, []string{"new", "c_d", "b", "a"}},
		"a page":                     {roof.HouseQuery{Order: roof.ByName, Offset: 1, Limit: 2}, []string{"new", "b"}},
		"beyond the end":             {roof.HouseQuery{Offset: 9}, nil},
		"a part of a name":           {roof.HouseQuery{Search: "AS", Order: roof.ByName}, []string{"a", "new"}},
		"an id":                      {roof.HouseQuery{Search: "c_d"}, []string{"c_d"}},
		"a letter with an accent":    {roof.HouseQuery{Search: "CÉ"}, []string{"c_d"}},
		"a sign that is no joker":    {roof.HouseQuery{Search: "0%"}, []string{"b"}},
		"nothing":                    {roof.HouseQuery{Search: "%%"}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			got, _ := ask(of.q)
			require.Equal(t, of.want, got)
		})
	}
	_, p := ask(roof.HouseQuery{})
	require.Equal(t, [3]int{4, 4, 2}, [3]int{p.All, p.Found, p.Need}, "one is pressing, one has a silent logger")
	_, p = ask(roof.HouseQuery{Search: "as"})
	require.Equal(t, [3]int{4, 2, 1}, [3]int{p.All, p.Found, p.Need})
	require.Equal(t, "ash", string(p.Rows[0].Data))
	require.False(t, p.Rows[0].Made.IsZero())
	require.True(t, p.Rows[1].Made.IsZero(), "not summed up yet")

	_, err := d.db.Exec(`UPDATE derived SET data = 'forged' WHERE case_id = 'a'`)
	require.NoError(t, err)
	_, p = ask(roof.HouseQuery{Search: "ash"})
	require.Nil(t, p.Rows[0].Data, "a damaged summary is as none")
	require.NoError(t, d.NameHouse(ctx, "b", "Birch 7"))
	got, p := ask(roof.HouseQuery{Search: "birch"})
	require.Equal(t, []string{"b"}, got)
	require.Equal(t, "beech", string(p.Rows[0].Data), "another name, the same summary")
	require.NoError(t, d.DropHouse(ctx, "a"))
	all, err := d.ListedHouses(ctx)
	require.NoError(t, err)
	require.Len(t, all, 3)
}

func BenchmarkListOfHouses(b *testing.B) {
	d := derivedIn(b, b.TempDir(), false)
	for i := range 10_000 {
		require.NoError(b, d.KeepHouse(b.Context(), roof.ListedHouse{Case: fmt.Sprintf("house-%05d", i),
			Name: fmt.Sprintf("%d Larch End", i*7919%10_000), Weight: i % 40, WetNights: i % 8, Data: make([]byte, 2000),
			Last: storetest.Epoch, SilentFrom: storetest.Epoch.Add(time.Duration(i%100-3) * time.Minute)}))
	}
	for _, q := range []roof.HouseQuery{{Order: roof.ByNeed}, {Order: roof.ByName, Offset: 9000}, {Search: "99 la"}} {
		q.Limit, q.Now = 50, storetest.Epoch
		b.Run(fmt.Sprintf("%s-%d-%s", q.Order, q.Offset, q.Search), func(b *testing.B) {
			for b.Loop() {
				p, err := d.Houses(b.Context(), q)
				require.NoError(b, err)
				require.Equal(b, 10_000, p.All)
			}
		})
	}
}
