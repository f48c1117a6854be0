package report

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/curves"
	"dewcase/internal/roof"
)

func TestKeptViewsAreDrawnWithTheirNames(t *testing.T) {
	set, err := inventedSet()
	require.NoError(t, err)
	s := source(t)
	c := *s.Case
	s.Case = &c
	from := s.Answer.From.UTC().Format(time.RFC3339)
	until := s.Answer.From.AddDate(0, 0, 14).UTC().Format(time.RFC3339)
	c.Views = []roof.View{{Name: "Vapour, first fortnight", Query: "show=loft.vapour_pressure,void.vapour_pressure&from=" +
		from + "&to=" + until + "&mark=pa:600~700:what the case rests on"},
		{Name: "Gone", Query: "show=attic.rh&from=" + from + "&to=" + until}}
	s.Curves = func(keys []curves.Key, from, until time.Time, stepMS int64,
		_ ...curves.Change) (curves.View, error) {
		return curves.OfSet(set).Columns(context.Background(), s.Case, keys, from.UnixMilli(), until.UnixMilli(), stepMS)
	}
	d, err := New(s)
	require.NoError(t, err)
	var views *Part
	for i := range d.Parts {
		if d.Parts[i].ID == "views" {
			views = &d.Parts[i]
		}
	}
	require.NotNil(t, views)
	text, tags := "", 0
	for _, b := range views.Blocks {
		if b.Scene == nil {
			continue
		}
		text += b.Scene.Desc
		for _, it := range b.Scene.Items {
			if it.Text == "1" || it.Text == "2" {
				tags++
			}
			if it.Text != "" {
				text += it.Text
			}
			if it.Class != "" && it.Text == "" {
				_, known := looks[it.Class]
				assert.True(t, known, "paper knows how to draw %s", it.Class)
			}
		}
	}
	assert.Equal(t, 2, tags, "each curve is named at its end")
	assert.True(t, strings.Contains(text, "what the case rests on"))
	assert.True(t, strings.Contains(text, "vapour pressure"))
}
