package repair

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

func TestHoursByTheModelComeOfTheFitThatTheAnswerRestsOn(t *testing.T) {
	set := kitted(t, 11, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, 75, nil)
	results := Assess(set, Options{Draws: 20, NoSensitivity: true})
	slate := set.Course("slate").Position
	m := Hours(set, slate, results)
	require.NotNil(t, m.Hours, m.Why)
	require.NotNil(t, m.Before)
	require.NotNil(t, m.Since)
	for _, h := range []*ModelHours{m.Hours, m.Before, m.Since} {
		assert.LessOrEqual(t, h.LowH, h.WetH)
		assert.LessOrEqual(t, h.WetH, h.HighH)
		assert.LessOrEqual(t, h.HighH, h.ObservedH)
		assert.GreaterOrEqual(t, h.LowH, 0.0)
	}
	assert.InDelta(t, m.Hours.WetH, m.Before.WetH+m.Since.WetH, 1e-9)
	assert.InDelta(t, m.Hours.ObservedH, m.Before.ObservedH+m.Since.ObservedH, 1e-9)
	require.Equal(t, results[0].Surface, "slate")
	assert.Same(t, results[0].Modelled.Hours, m.Hours, "no second fit")
	under := Hours(set, set.Course("underlay").Position, results)
	require.NotNil(t, under.Hours, "a surface that the repair does not treat has a fit made for it: %s", under.Why)
	assert.Equal(t, under, Hours(set, set.Course("underlay").Position, results), "same readings, same hours")
}

func TestWhereTheModelGivesNoHoursItSaysWhy(t *testing.T) {
	bare := func(m *roofsim.Measured) { m.Case.Events = nil }
	whole := kitted(t, 12, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, 45, bare)
	slate := whole.Course("slate").Position
	m := Hours(whole, slate, nil)
	require.NotNil(t, m.Hours, m.Why)
	assert.Nil(t, m.Before, "no repair, no halves")
	timber := roof.Position{ID: "rafter", Place: roof.Timber, Meets: "loft"}
	assert.Contains(t, Hours(whole, timber, nil).Why, "no other surface was tried")
	blind := kitted(t, 12, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute,
		Without: []roof.Place{roof.OutdoorAir}}, 45, bare)
	assert.Contains(t, Hours(blind, slate, nil).Why, "outdoor air")
	short := kitted(t, 12, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, 9, bare)
	assert.Contains(t, Hours(short, slate, nil).Why, "14 well-observed nights")
	twice := kitted(t, 12, strongVoid(), roofworlds.Kit{Interval: 30 * time.Minute}, 60, func(m *roofsim.Measured) {
		e := m.Case.Events[0]
		e.At = e.At.AddDate(0, 0, -20)
		m.Case.Events = append(m.Case.Events, e)
	})
	assert.Contains(t, Hours(twice, slate, Assess(twice, Options{Draws: 10, NoSensitivity: true})).Why, "only one repair")
}
