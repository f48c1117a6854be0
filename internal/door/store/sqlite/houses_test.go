package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"fmt"
	"math/rand/v2"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/houses"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

func TestTheListOfHousesIsSearchedSortedAndPaged(t *testing.T) {
	ctx := t.Context()
	d := derivedIn(t, t.TempDir(), false)
	now := storetest.Epoch
	for _, h := range []roof.ListedHouse{
		{Case: "a", Name: "Ash Row 5", Weight: 10, WetNights: 2, WetBefore: 2, Last: now, Data: []byte("ash"),
			Finding: "ceiling_leakage", Verdict: "worked"},
		{Case: "b", Name: "Beech 100%", WetNights: 6, WetBefore: 7, Last: now.Add(-time.Hour), Data: []byte("beech"),
			SilentFrom: now, Finding: "undetermined", Unseen: 1},
		{Case: "c_d", Name: "cédar", WetNights: 3, Last: now.Add(-2 * time.Hour), Data: []byte("cedar"),
			Finding: "ceiling_leakage", Verdict: "too_early", SilentFrom: now.Add(time.Millisecond)},
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
		"what needs a look first":     {roof.HouseQuery{Order: roof.ByNeed}, []string{"b", "a", "new", "c_d"}},
		"an order that there is not":  {roof.HouseQuery{Order: "x"}, []string{"b", "a", "new", "c_d"}},
		"by name":                     {roof.HouseQuery{Order: roof.ByName}, []string{"a", "new", "b", "c_d"}},
		"by wet nights":               {roof.HouseQuery{Order: roof.ByWet}, []string{"b", "c_d", "a", "new"}},
		"by the trend":                {roof.HouseQuery{Order: roof.ByTrend}, []string{"c_d", "a", "new", "b"}},
		"longest unheard":             {roof.HouseQuery{Order: roof.ByHeard}, []string{"new", "c_d", "b", "a"}},
		"a page":                      {roof.HouseQuery{Order: roof.ByName, Offset: 1, Limit: 2}, []string{"new", "b"}},
		"beyond the end":              {roof.HouseQuery{Offset: 9}, nil},
		"a part of a name":            {roof.HouseQuery{Search: "AS", Order: roof.ByName}, []string{"a", "new"}},
		"an id":                       {roof.HouseQuery{Search: "c_d"}, []string{"c_d"}},
		"a letter with an accent":     {roof.HouseQuery{Search: "CÉ"}, []string{"c_d"}},
		"a sign that is no joker":     {roof.HouseQuery{Search: "0%"}, []string{"b"}},
		"a cause":                     {roof.HouseQuery{Findings: []string{"ceiling_leakage"}}, []string{"a", "c_d"}},
		"no cause yet":                {roof.HouseQuery{Findings: []string{"undetermined", ""}}, []string{"b", "new"}},
		"a verdict":                   {roof.HouseQuery{Verdicts: []string{"too_early"}}, []string{"c_d"}},
		"no repair":                   {roof.HouseQuery{Verdicts: []string{""}}, []string{"b", "new"}},
		"whatever needs a look":       {roof.HouseQuery{Need: roof.NeedsLook}, []string{"b", "a"}},
		"silent loggers":              {roof.HouseQuery{Need: roof.NeedsSilent}, []string{"b"}},
		"alerts that nobody has seen": {roof.HouseQuery{Need: roof.NeedsAlert}, []string{"b"}},
		"all at once": {roof.HouseQuery{Search: "a", Findings: []string{"ceiling_leakage"}, Verdicts: []string{"worked"},
			Need: roof.NeedsLook, Order: roof.ByWet}, []string{"a"}},
		"what excludes itself": {roof.HouseQuery{Verdicts: []string{"worked"}, Need: roof.NeedsAlert}, nil},
		"nothing":              {roof.HouseQuery{Search: "%%"}, nil},
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
	_, p = ask(roof.HouseQuery{Findings: []string{"ceiling_leakage"}, Offset: 50})
	require.Equal(t, [3]int{4, 2, 1}, [3]int{p.All, p.Found, p.Need}, "counted beyond the last page too")
	_, p = ask(roof.HouseQuery{Search: "as"})
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

// counted counts the statements that a connection is asked to run.
type counted struct {
	driver.Conn
	n *atomic.Int64
}

func (c counted) QueryContext(ctx context.Context, q string, args []driver.NamedValue) (driver.Rows, error) {
	c.n.Add(1)
	return c.Conn.(driver.QueryerContext).QueryContext(ctx, q, args)
}

func (c counted) ExecContext(ctx context.Context, q string, args []driver.NamedValue) (driver.Result, error) {
	c.n.Add(1)
	return c.Conn.(driver.ExecerContext).ExecContext(ctx, q, args)
}

func (c counted) Prepare(q string) (driver.Stmt, error) {
	s, err := c.Conn.Prepare(q)
	return countedStmt{s, c.n}, err
}

type countedStmt struct {
	driver.Stmt
	n *atomic.Int64
}

func (s countedStmt) QueryContext(ctx context.Context, args []driver.NamedValue) (driver.Rows, error) {
	s.n.Add(1)
	return s.Stmt.(driver.StmtQueryContext).QueryContext(ctx, args)
}

func (s countedStmt) ExecContext(ctx context.Context, args []driver.NamedValue) (driver.Result, error) {
	s.n.Add(1)
	return s.Stmt.(driver.StmtExecContext).ExecContext(ctx, args)
}

type counting struct {
	connector
	n *atomic.Int64
}

func (c counting) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := c.connector.Connect(ctx)
	return counted{conn, c.n}, err
}

func TestAPageOfTheListIsOneQueryHoweverManyHouses(t *testing.T) {
	ctx := t.Context()
	d := derivedIn(t, t.TempDir(), false)
	for i := range 120 {
		require.NoError(t, d.KeepHouse(ctx, roof.ListedHouse{Case: fmt.Sprintf("house-%d", i), Data: []byte("x")}))
	}
	var n atomic.Int64
	watched := &Derived{path: d.path, now: d.now, db: prepare(sql.OpenDB(counting{connector{dsn(d.path)}, &n}))}
	t.Cleanup(func() { require.NoError(t, watched.db.Close()) })
	p, err := watched.Houses(ctx, roof.HouseQuery{Search: "house", Findings: []string{""}, Limit: 50,
		Now: storetest.Epoch})
	require.NoError(t, err)
	require.Len(t, p.Rows, 50)
	require.Equal(t, 120, p.Found)
	require.EqualValues(t, 1, n.Load())
}

// What the list is cut down to is what is counted.
func TestTheListCutDownHoldsTheHousesThatAreCounted(t *testing.T) {
	ctx, now := t.Context(), storetest.Epoch
	d := derivedIn(t, t.TempDir(), false)
	r := rand.New(rand.NewPCG(7, 7))
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	all := map[string]roof.ListedHouse{}
	for n := range 400 {
		h := roof.ListedHouse{Case: fmt.Sprintf("house-%03d", n), Name: "x", Data: []byte{1}, WetNights: r.IntN(8),
			WetBefore: r.IntN(8),
			WetMonth:  r.IntN(31), SeenWeek: r.IntN(8), SeenMonth: r.IntN(31), Finding: pick("", "none_found", "undetermined"),
			Verdict: pick("", "worked", "got_worse")}
		if r.IntN(9) > 0 {
			h.Last = now.Add(-time.Duration(r.IntN(60)) * time.Hour)
		}
		if r.IntN(3) > 0 {
			h.SilentFrom = now.Add(time.Duration(r.IntN(3)-1) * time.Hour)
			h.SilentAll = h.SilentFrom.Add(time.Duration(r.IntN(3)) * time.Hour)
		}
		if r.IntN(2) > 0 {
			h.Need = roof.HouseNeeds()[2+r.IntN(len(roof.HouseNeeds())-2)]
			h.Weight = 10
		}
		require.NoError(t, d.KeepHouse(ctx, h))
		h.Made = now
		all[h.Case] = h
	}
	queries := []roof.HouseQuery{{}, {Findings: []string{""}}, {Findings: []string{"none_found"}},
		{Verdicts: []string{"worked"}}, {Verdicts: []string{""}}}
	for _, k := range append(roof.HouseNeeds(), roof.NeedsLook, roof.NeedsSilent, roof.Sweating, "there is none") {
		queries = append(queries, roof.HouseQuery{Need: k})
	}
	for _, q := range queries {
		want := map[string]bool{}
		for id, h := range all {
			if h.Has(q.Need, now) && (q.Findings == nil || q.Findings[0] == h.Finding) &&
				(q.Verdicts == nil || q.Verdicts[0] == h.Verdict) {
				want[id] = true
			}
		}
		q.Limit, q.Now = 1000, now
		p, err := d.Houses(ctx, q)
		require.NoError(t, err)
		got := map[string]bool{}
		for _, h := range p.Rows {
			got[h.Case] = true
		}
		require.Equal(t, want, got, q)
		require.Equal(t, len(want), p.Found, q)
		require.Equal(t, 400, p.All)
	}
	everyHouse := func(d *Derived) map[string]roof.ListedHouse {
		got := map[string]roof.ListedHouse{}
		require.NoError(t, d.EachHouse(ctx, func(h *roof.ListedHouse) {
			require.Equal(t, h.Case == "new", h.Made.IsZero())
			one := *h
			one.Made = now
			got[h.Case] = one
		}))
		return got
	}
	want := map[string]roof.ListedHouse{"new": {Case: "new", Made: now}}
	for id, h := range all {
		h.Name, h.Data, h.WetBefore, h.Weight, h.Made = "", nil, 0, 0, now
		want[id] = h
	}
	delete(want, "house-001")
	// Counted after the writes and before them, it is the same.
	require.Len(t, everyHouse(d), 400)
	require.NoError(t, d.NameHouse(ctx, "new", "New House"))
	require.NoError(t, d.NameHouse(ctx, "house-002", "another name"))
	require.NoError(t, d.DropHouse(ctx, "house-001"))
	changed := all["house-003"]
	changed.WetNights = 1
	require.NoError(t, d.KeepHouse(ctx, changed))
	again := want["house-003"]
	again.WetNights = 1
	want["house-003"] = again
	require.Equal(t, want, everyHouse(d))
	require.Equal(t, want, everyHouse(&Derived{db: d.db, now: d.now}))
	of, err := d.HousesOf(ctx, []string{"house-007", "house-399", "elsewhere"})
	require.NoError(t, err)
	require.Len(t, of, 2)
	require.Equal(t, all["house-007"].Need, of["house-007"].Need)
}

func BenchmarkAllHouses(b *testing.B) {
	d := derivedIn(b, b.TempDir(), false)
	for i := range 50_000 {
		require.NoError(b, d.KeepHouse(b.Context(), roof.ListedHouse{Case: fmt.Sprintf("house-%05d", i),
			Name: fmt.Sprintf("%d Larch End", i*7919%50_000), WetNights: i % 8, WetMonth: i % 31, SeenWeek: 7, SeenMonth: 30,
			Finding: []string{"", "none_found", "unvented_batten_void"}[i%3], Data: make([]byte, 2000), Last: storetest.Epoch,
			SilentFrom: storetest.Epoch.Add(time.Duration(i%100-3) * time.Minute), SilentAll: storetest.Epoch.Add(time.Hour)}))
	}
	b.Run("figures", func(b *testing.B) {
		require.NoError(b, d.EachHouse(b.Context(), func(*roof.ListedHouse) {})) // as after a start, once
		for b.Loop() {
			c := houses.NewCounter(storetest.Epoch)
			require.NoError(b, d.EachHouse(b.Context(), c.Add))
			f := c.Figures()
			_, err := d.HousesOf(b.Context(), append(f.Wettest, f.LongestSilent...))
			require.NoError(b, err)
			require.Equal(b, 50_000, f.Houses)
		}
	})
	b.Run("those that sweat", func(b *testing.B) {
		for b.Loop() {
			p, err := d.Houses(b.Context(), roof.HouseQuery{Need: roof.Sweating, Order: roof.ByWet, Limit: 50,
				Now: storetest.Epoch})
			require.NoError(b, err)
			require.Equal(b, 50_000, p.All)
		}
	})
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
