package bell

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
)

const lived = `case: larch-3
property: {label: 3 Larch Row, timezone: Europe/London}
positions:
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
contacts:
  householder: [ann@example.org, bob@example.org]
`

func reachAt(t *testing.T, publicURL string) *Reach {
	return newBell(t, func(o *ReachOptions, _ *Options) { o.PublicURL = publicURL }).Reach
}

func TestALinkThatAMailCarriesOpensThePageUntilItIsWithdrawn(t *testing.T) {
	ctx, r := t.Context(), reachAt(t, "https://roof.example.org/")
	opens := func(link string) bool {
		c, err := r.caseOf(ctx, link[strings.LastIndexByte(link, '/')+1:])
		if err != nil {
			require.ErrorIs(t, err, roof.ErrNotFound)
			return false
		}
		return c.ID == "larch-3"
	}
	link := func(address string) string {
		l, err := r.mailLink(ctx, "larch-3", address)
		require.NoError(t, err)
		return l
	}
	ann := link("ann@example.org")
	require.Regexp(t, `^https://roof\.example\.org/home/[A-Za-z0-9_-]{43}$`, ann)
	assert.Equal(t, ann, link("Ann@example.org"), "every mail to her carries the same")
	bob := link("bob@example.org")
	assert.NotEqual(t, ann, bob)
	assert.True(t, opens(ann) && opens(bob))
	made, err := r.NewHomeLink(ctx, "larch-3", "consultant")
	require.NoError(t, err)
	assert.True(t, strings.HasPrefix(made, "https://roof.example.org/home/"),
		"an address that the household can open, not the consultant's own")
	assert.True(t, opens(made) && opens(ann), "a link to hand on takes nobody's own away")

	r.Cases.(*town).put(t, strings.Replace(lived, ", bob@example.org", "", 1))
	assert.False(t, opens(bob), "who left the case file is out")
	assert.True(t, opens(ann))

	kept, err := r.State.States(ctx, kindHome)
	require.NoError(t, err)
	for _, k := range kept {
		for _, l := range []string{ann, bob, made} {
			assert.NotContains(t, k.Key+string(k.Blob), l[strings.LastIndexByte(l, '/')+1:], "only digests are kept")
		}
	}

	require.NoError(t, r.RevokeHomeLinks(ctx, "larch-3"))
	assert.False(t, opens(ann) || opens(made))
	assert.Empty(t, link("ann@example.org"), "what was withdrawn is not handed out again by the next mail")
	h, err := r.Household(ctx, "larch-3")
	require.NoError(t, err)
	assert.False(t, h.Any())
	assert.False(t, h.LinksOff.IsZero())
	_, err = r.NewHomeLink(ctx, "larch-3", "consultant")
	require.NoError(t, err)
	again := link("ann@example.org")
	assert.True(t, opens(again))
	assert.NotEqual(t, ann, again)
	assert.False(t, opens(ann), "a withdrawn link never comes to life again")
}

func TestWithoutAPublicAddressMailsCarryNoLink(t *testing.T) {
	r := reachAt(t, "")
	l, err := r.mailLink(t.Context(), "larch-3", "ann@example.org")
	require.NoError(t, err)
	assert.Empty(t, l)
	path, err := r.NewHomeLink(t.Context(), "larch-3", "consultant")
	require.NoError(t, err)
	assert.True(t, strings.HasPrefix(path, "/home/"))
}

func TestWhoStoppedTheMailsIsShownAndCanHaveThemAgain(t *testing.T) {
	ctx, r := t.Context(), reachAt(t, "https://roof.example.org")
	code := r.stopCode("larch-3", "ann@example.org")
	_, stopped, err := r.Stop(ctx, "larch-3", code, false)
	require.NoError(t, err)
	assert.False(t, stopped, "opening the link alone stops nothing: mail programs open links")
	_, stopped, err = r.Stop(ctx, "larch-3", code, true)
	require.NoError(t, err)
	assert.True(t, stopped)
	h, err := r.Household(ctx, "larch-3")
	require.NoError(t, err)
	require.Len(t, h.Readers, 2)
	assert.WithinDuration(t, time.Now(), h.Readers[0].Stopped, time.Minute)
	assert.True(t, h.Readers[1].Stopped.IsZero())
	require.NoError(t, r.Resume(ctx, "larch-3", "ann@example.org"))
	h, err = r.Household(ctx, "larch-3")
	require.NoError(t, err)
	assert.True(t, h.Readers[0].Stopped.IsZero())
	_, _, err = r.Stop(ctx, "larch-3", strings.Map(otherLetter, code), true)
	assert.ErrorIs(t, err, roof.ErrNotFound)
}

// otherLetter makes a code that is certainly another one.
func otherLetter(r rune) rune {
	if r == 'A' {
		return 'B'
	}
	return 'A'
}
