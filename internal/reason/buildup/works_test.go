package buildup

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/reason/openings"
	"dewcase/internal/roof"
)

// The void of the trade's fault was opened: from that day no rule calls it
// useless what the record may prove useful, and what is not said is asked for.
func TestAfterAWorkTheRulesJudgeWhatIsThereThen(t *testing.T) {
	work := begin.AddDate(0, 2, 0)
	after := work.AddDate(0, 2, 0)
	fault := roof.Build{PitchDeg: num(34), SpanM: num(8), Covering: roof.Covering{Air: "closed"},
		Underlay: roof.Underlay{Class: "LR", AirPermeable: roof.No, DrapeMM: num(15)}, Battens: "single",
		Openings: roof.Openings{LoftEavesMM: num(10), LoftRidgeMM: num(5), VoidEavesMM: num(0), VoidRidgeMM: num(0)},
		Ceiling:  roof.Ceiling{Sealed: roof.No}}
	opened := roof.Openings{VoidEavesMM: num(25), VoidRidgeMM: num(8)}
	for _, c := range []struct {
		name    string
		e       roof.Event
		overall Verdict
		ask     Verdict // of the finding on the work itself
		says    string
	}{
		{"re-laid, with figures", roof.Event{Opened: opened, Battens: "counter", CounterBattenMM: num(25)}, Sound, Remark,
			"Since then: void at the eaves open 25 mm, void at the ridge open 8 mm, counter-battens."},
		{"ends opened on single battens", roof.Event{Opened: opened, Battens: "single"}, Ask, Remark, "single battens"},
		{"without a figure", roof.Event{}, Ask, Ask,
			"It declares a change of void ventilation and does not say what is there now."},
	} {
		c.e.At, c.e.Kind, c.e.What, c.e.Changes = work, roof.Repair, "void opened", []roof.Change{roof.VoidVentilation}
		house := &roof.Case{Property: roof.Property{Zone: time.UTC}, Roof: fault, Events: []roof.Event{c.e}}
		before, now := Check(house, begin, work.Add(-time.Hour)), Check(house, begin, after)
		assert.Equal(t, Fault, before.Overall, c.name)
		assert.Contains(t, find(t, before, "combination").Cure, "do nothing", c.name)
		assert.Equal(t, c.overall, now.Overall, "%s: %s", c.name, now.Sentence)
		for _, f := range now.Findings {
			assert.NotContains(t, f.What+f.Why+f.Cure, "do nothing", c.name)
			assert.False(t, f.Vapour && f.Element == "battens" && f.Verdict == Fault, c.name)
		}
		w := find(t, now, "work")
		assert.Equal(t, c.ask, w.Verdict, c.name)
		assert.Contains(t, w.Why, c.says, c.name)
		for _, at := range []time.Time{work.Add(-time.Hour), after} {
			a, err := openings.Advise(house.RoofAt(at), openings.Since(house, "unvented_batten_void", at), "", 0)
			assert.NoError(t, err)
			assert.Equal(t, at.Before(work), contains(a.Advice, "do nothing"), "%s at %s: %s", c.name, at, a.Advice)
		}
	}
	other := &roof.Case{Property: roof.Property{Zone: time.UTC}, Roof: fault,
		Events: []roof.Event{{At: work, Kind: roof.Repair, Sealed: roof.Yes,
			Changes: []roof.Change{roof.CeilingChange}}}}
	assert.Equal(t, Fault, Check(other, begin, after).Overall, "sealing the ceiling leaves the void as it was")
	assert.Equal(t, "unvented_batten_void", openings.Since(other, "unvented_batten_void", after))
}

func contains(list []string, part string) bool {
	for _, s := range list {
		if strings.Contains(s, part) {
			return true
		}
	}
	return false
}
