package roof_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
)

func mm(x float64) *float64 { return &x }

// The roof is judged as it stood on the day: as surveyed before a work, and with
// what the work says afterwards. What it changed without saying to what is not
// known, and never still what it was.
func TestTheRoofIsThatOfTheDay(t *testing.T) {
	work := time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC)
	surveyed := roof.Build{Battens: "single", Underlay: roof.Underlay{Class: "LR"}, EavesClear: roof.No,
		Ceiling:  roof.Ceiling{Sealed: roof.No},
		Openings: roof.Openings{LoftEavesMM: mm(1), LoftRidgeMM: mm(0), VoidEavesMM: mm(0), VoidRidgeMM: mm(0)}}
	positions := []roof.Position{{ID: "loft", Place: roof.LoftAir}, {ID: "void", Place: roof.BattenVoidAir},
		{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}}
	for _, c := range []struct {
		name string
		work roof.Event
		want func(*roof.Build)
	}{
		{"figures", roof.Event{Changes: []roof.Change{roof.VoidVentilation, roof.LoftVentilation},
			Opened: roof.Openings{LoftEavesMM: mm(12), VoidEavesMM: mm(25), VoidRidgeMM: mm(8)}, Battens: "counter",
			CounterBattenMM: mm(30)}, func(b *roof.Build) {
			b.Openings = roof.Openings{LoftEavesMM: mm(12), LoftRidgeMM: mm(0), VoidEavesMM: mm(25), VoidRidgeMM: mm(8)}
			b.Battens, b.CounterBattenMM = "counter", mm(30)
		}},
		{"void declared, no figure", roof.Event{Changes: []roof.Change{roof.VoidVentilation}}, func(b *roof.Build) {
			b.Openings.VoidEavesMM, b.Openings.VoidRidgeMM, b.Battens = nil, nil, ""
		}},
		{"inferred from the slates", roof.Event{Treats: []string{"slate"}}, func(b *roof.Build) {
			b.Openings.VoidEavesMM, b.Openings.VoidRidgeMM, b.Battens = nil, nil, ""
		}},
		{"inferred from the loft", roof.Event{Treats: []string{"loft"}}, func(b *roof.Build) {
			b.Openings.LoftEavesMM, b.Openings.LoftRidgeMM = nil, nil
			b.EavesClear, b.Ceiling.Sealed = roof.Unknown, roof.Unknown
		}},
		{"ceiling sealed", roof.Event{Changes: []roof.Change{roof.CeilingChange}, Sealed: roof.Yes}, func(b *roof.Build) {
			b.Ceiling.Sealed = roof.Yes
		}},
		{"underlay changed", roof.Event{Changes: []roof.Change{roof.UnderlayChange}}, func(b *roof.Build) {
			b.Underlay = roof.Underlay{}
		}},
		{"household only", roof.Event{Changes: []roof.Change{roof.Household}}, func(*roof.Build) {}},
	} {
		c.work.Kind, c.work.At = roof.Repair, work
		house := &roof.Case{Roof: surveyed, Positions: positions, Events: []roof.Event{c.work}}
		want := surveyed
		c.want(&want)
		assert.Equal(t, want, house.RoofAt(work), c.name)
		assert.Equal(t, want, house.RoofAt(work.AddDate(1, 0, 0)), c.name)
		assert.Equal(t, surveyed, house.RoofAt(work.Add(-time.Second)), "%s: before it", c.name)
		assert.Equal(t, surveyed, house.RoofAt(time.Time{}), "%s: as surveyed", c.name)
	}
	twice := &roof.Case{Roof: surveyed, Events: []roof.Event{ // not in time order
		{Kind: roof.Repair, At: work.AddDate(0, 1, 0), Changes: []roof.Change{roof.LoftVentilation},
			Opened: roof.Openings{LoftEavesMM: mm(25)}},
		{Kind: roof.Note, At: work},
		{Kind: roof.Repair, At: work, Changes: []roof.Change{roof.LoftVentilation},
			Opened: roof.Openings{LoftEavesMM: mm(10)}}}}
	assert.Equal(t, 10.0, *twice.RoofAt(work.AddDate(0, 0, 1)).Openings.LoftEavesMM)
	assert.Equal(t, 25.0, *twice.RoofAt(work.AddDate(0, 2, 0)).Openings.LoftEavesMM)
}

// Who writes the later work first must not have the time before it judged as the
// time after the earlier one.
func TestRepairsComeInTimeOrderWhateverTheFilesOrder(t *testing.T) {
	first, second := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC), time.Date(2026, 12, 20, 12, 0, 0, 0, time.UTC)
	c := roof.Case{Events: []roof.Event{{At: second, Kind: roof.Repair}, {At: first, Kind: roof.Note},
		{At: first, Kind: roof.Repair}}}
	var at []time.Time
	for _, e := range c.Repairs() {
		at = append(at, e.At)
	}
	assert.Equal(t, []time.Time{first, second}, at)
}

func TestWhatARepairWasSaidToOpen(t *testing.T) {
	at := time.Date(2026, 10, 2, 9, 0, 0, 0, time.UTC)
	mm := func(x float64) *float64 { return &x }
	for _, x := range []struct {
		name       string
		e          roof.Event
		void, loft bool
	}{
		{"declared", roof.Event{Changes: []roof.Change{roof.VoidVentilation}}, true, false},
		{"declared with its slots", roof.Event{Changes: []roof.Change{roof.VoidVentilation, roof.LoftVentilation},
			Opened: roof.Openings{VoidEavesMM: mm(25), LoftEavesMM: mm(0), LoftRidgeMM: mm(5)}}, true, true},
		{"shut", roof.Event{Changes: []roof.Change{roof.LoftVentilation},
			Opened: roof.Openings{LoftEavesMM: mm(0)}}, false, false},
		{"inferred only", roof.Event{Treats: []string{"loft"}}, false, false},
		{"a ceiling opens nothing outdoors", roof.Event{Changes: []roof.Change{roof.CeilingChange}}, false, false},
	} {
		x.e.At, x.e.Kind = at, roof.Repair
		c := &roof.Case{Events: []roof.Event{x.e}}
		assert.Equal(t, x.void, c.Opens(at, roof.VoidVentilation), x.name)
		assert.Equal(t, x.loft, c.Opens(at, roof.LoftVentilation), x.name)
		assert.False(t, c.Opens(at, roof.CeilingChange), x.name)
		assert.False(t, c.Opens(at.AddDate(0, 0, 1), roof.VoidVentilation), x.name)
	}
}
