package web

import (
	"maps"
	"net/url"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/drawing"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/curves"
	"dewcase/internal/reason/cause"
	"dewcase/internal/reason/repair"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

func TestEveryFigureAndEveryConditionOpensItsCurves(t *testing.T) {
	assert.ElementsMatch(t, cause.Features(), slices.Collect(maps.Keys(ofFeature)))
	assert.ElementsMatch(t, repair.Gates(), slices.Collect(maps.Keys(ofGate)))
	c := &roof.Case{ID: "larch-1", Property: roof.Property{Zone: time.UTC}}
	c.Positions = []roof.Position{{ID: "in", Place: indoors}, {ID: "loft", Place: loft}, {ID: "void", Place: void},
		{ID: "slate", Place: covering, Meets: "void"}, {ID: "felt", Place: underlay, Meets: "loft"},
		{ID: "out", Place: outdoors}}
	from := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	h := &head{ID: c.ID, Case: c, Zone: time.UTC, From: from, Until: from.AddDate(0, 2, 0)}
	shows := func(link, name string) chartView {
		u, err := url.Parse(link)
		require.NoError(t, err, name)
		v := readChart(h, assessment.Answer{}, u.Query())
		require.NotEmpty(t, v.Keys, name)
		require.Len(t, v.Marks, 1, "%s: its figure is in the picture", name)
		require.NotEmpty(t, v.Marks[0].Label, name)
		axes := map[string]bool{drawing.NoteAxis: true}
		for _, k := range v.Keys {
			axes[k.Quantity.Axis()] = true
		}
		assert.True(t, axes[v.Marks[0].Axis], "%s: the figure stands on an axis that is shown", name)
		return v
	}
	figure, accuracy := 25.0, 4.0
	for _, f := range cause.Features() {
		e := cause.Evidence{Feature: f, Figure: &figure, Accuracy: &accuracy, FromMS: from.UnixMilli(),
			UntilMS: from.AddDate(0, 0, 7).UnixMilli(), Positions: []string{"in", "loft", "void", "slate", "felt", "out"}}
		v := shows(evidenceLink(h, e), f)
		assert.Equal(t, from, v.from, f)
		assert.Equal(t, from.AddDate(0, 0, 7), v.until, f)
		assert.Equal(t, words.Marked(f, figure, &accuracy), v.Marks[0].Label)
	}
	v := shows(evidenceLink(h, cause.Evidence{Feature: "El", Figure: &figure, Accuracy: &accuracy,
		FromMS: from.UnixMilli(), UntilMS: h.Until.UnixMilli(), Positions: []string{"loft", "out"}}), "El")
	assert.Equal(t, []curves.Key{{Position: "loft", Quantity: curves.ExcessPa}, {Position: "out", Quantity: curves.TempC}},
		v.Keys)
	assert.Equal(t, drawing.CurveMark{Axis: "over", Lo: 21, Hi: 29, Label: "mean: 25 Pa (±4) over outdoors"}, v.Marks[0])
	assert.Empty(t, evidenceLink(h, cause.Evidence{Basis: "survey"}), "what was seen on the survey has no curve")

	res := assessment.Repair{Result: repair.Result{Surface: "slate", Air: "void", At: from.AddDate(0, 0, 20)}}
	for _, g := range repair.Gates() {
		res.Gates = append(res.Gates, repair.Gate{Name: g, Figure: "41 before, 63 after"})
	}
	for _, row := range gateRows(h, res) {
		v := shows(row.Link, row.Name)
		if row.Name == repair.GateWeather {
			assert.Equal(t, res.At, v.from)
		}
	}
}
