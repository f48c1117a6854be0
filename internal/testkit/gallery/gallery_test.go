package gallery

import (
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
	"dewcase/internal/roof"
	"dewcase/internal/run/config"
	"dewcase/internal/testkit/browsertest"
	"dewcase/internal/testkit/running"
)

// Of one house every page is shown, of some the pages that tell their state, of the
// others two; for pictures every page of all.
var (
	whole   = []string{"worse-11"}
	telling = []string{"leak-12", "no-outdoor-9", "silent-4", "early-5", "just-made-7"}
)

func each(list []roof.Reading) iter.Seq2[roof.Reading, error] {
	return func(yield func(roof.Reading, error) bool) {
		for _, r := range list {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// opened is a daemon with the houses of the gallery among others of a street.
func opened(t testing.TB, others int, change func(*config.Config)) (d *running.Daemon, ids []string) {
	t.Helper()
	d = running.WithDemoAt(t, running.Ticking(now), change)
	ids = []string{"saltmarrow-7"}
	for _, h := range houses() {
		ids = append(ids, d.Put(h.c, each(h.readings)))
	}
	for _, h := range street(others) {
		d.Put(h.c, each(h.readings))
	}
	return d, ids
}

// TestEveryPageInEveryStateInABrowser runs dashboards/test/browser/gallery.test.js.
func TestEveryPageInEveryStateInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser; run without -short")
	}
	stay := os.Getenv("DEWCASE_STAY")
	d, ids := opened(t, 60, func(c *config.Config) {
		if stay != "" {
			c.HTTP.Listen = stay
		}
	})
	if stay != "" {
		t.Log("served until interrupted, on ", d.HTTP)
		<-t.Context().Done()
		return
	}
	asks := running.Start(t, func(c *config.Config) {
		hash, err := credentials.Hash("a long password of the test")
		require.NoError(t, err)
		c.HTTP.PasswordFile = filepath.Join(t.TempDir(), "hash")
		require.NoError(t, os.WriteFile(c.HTTP.PasswordFile, []byte(hash), 0o600))
	})
	groups := [3][]string{whole, telling, slices.DeleteFunc(slices.Clone(ids), func(id string) bool {
		return slices.Contains(whole, id) || slices.Contains(telling, id)
	})}
	if os.Getenv("DEWCASE_PICTURES") != "" {
		groups = [3][]string{ids}
	}
	for _, id := range ids { // worked out before a browser's patience counts
		d.Ask("GET", "/cases/"+id, "")
	}
	var listed []string
	for _, g := range groups {
		listed = append(listed, strings.Join(g, ","))
	}
	browsertest.Run(t, []string{"browser/gallery.test.js"}, "DEWCASE_PAGES="+d.HTTP, "DEWCASE_LOGIN="+asks.HTTP,
		"DEWCASE_HOUSES="+strings.Join(listed, ";"))
}

func TestEachHouseIsInAStateOfItsOwn(t *testing.T) {
	seen := map[string]bool{}
	for _, h := range houses() {
		require.False(t, seen[h.c.ID], h.c.ID)
		seen[h.c.ID] = true
		require.Equal(t, h.c.ID == "just-made-7", len(h.readings) == 0, h.c.ID)
		for _, r := range h.readings {
			require.False(t, r.At.After(now), "%s: of the future", h.c.ID)
		}
	}
	for _, id := range slices.Concat(whole, telling) {
		require.True(t, seen[id], id)
	}
}
