package cause

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// Taking a logger away takes exactly the figures away that are said to be made of
// it.
func TestEveryFigureIsMadeOfThePlacesThatItIsSaidToBe(t *testing.T) {
	w := measure(910_800, roofworlds.Draw(910_800, roofsim.MixedCeilingVoid), 60)
	a, _ := assess(w.set(t, 0), Options{}, &ours)
	for f := range features {
		require.True(t, known(a.f.value[f]), about(f).id)
	}
	for _, place := range wanted {
		b, _ := assess(w.set(t, 0, place), Options{}, &ours)
		for f := range features {
			assert.Equal(t, !slices.Contains(madeOf[f], place), known(b.f.value[f]), "%s without %s", about(f).id, place)
		}
	}
}

func TestAMissingLoggerIsListedWithItsGain(t *testing.T) {
	w := measure(910_800, roofworlds.Draw(910_800, roofsim.MixedCeilingVoid), 75)
	whole, _ := assess(w.set(t, 0), Options{}, &ours)
	for _, s := range whole.chancesOfAll() {
		assert.Zero(t, s.Then, "%v is there already", s.Places)
	}
	for _, place := range []roof.Place{roof.OutdoorAir, roof.LoftAir, roof.BattenVoidAir} {
		_, f := assess(w.set(t, 0, place), Options{}, &ours)
		i := slices.IndexFunc(f.Settle, func(s Settler) bool { return slices.Equal(s.Places, []roof.Place{place}) })
		require.GreaterOrEqual(t, i, 0, "%s: %+v", place, f.Settle)
		for k, s := range f.Settle {
			assert.GreaterOrEqual(t, s.Then-s.Now, worthFit)
			assert.LessOrEqual(t, s.Then+s.Wrong, 1+1e-9)
			if k > 0 {
				assert.LessOrEqual(t, s.Then, f.Settle[k-1].Then, "most gain first")
			}
		}
		_, again := assess(w.set(t, 0, place), Options{}, &ours)
		assert.Equal(t, f.Settle, again.Settle, "the same input, the same chances")
	}
}

// chancesOfAll are the chances with each place that is there already.
func (a *assessment) chancesOfAll() (out []Settler) {
	for _, place := range wanted {
		out = append(out, a.fitted(&ours, place))
	}
	return out
}

// A shut, moist loft whose openings nobody looked at is settled by a look, whatever
// is logged.
func TestALookAtTheOpeningsIsListedWhereOnlyTheyAreOpen(t *testing.T) {
	a := &assessment{c: &roof.Case{Roof: roof.Build{Underlay: roof.Underlay{Class: "HR"}}}, g: grid{n: 100 * 24}, cold: 50,
		p: places{outdoor: logged, indoor: logged, loft: logged, void: logged, covering: logged, underlay: logged}}
	a.f.value = workedValues()
	a.f.outC = 4
	a.weigh(&ours)
	f := Finding{Finding: Undetermined, Window: Window{Places: wanted}}
	a.decide(&f)
	require.Equal(t, Undetermined, f.Finding)
	require.Contains(t, f.Reasons[len(f.Reasons)-1], "openings are not known")
	a.settle(&f, &ours)
	require.NotEmpty(t, f.Settle)
	assert.Equal(t, LookOpenings, f.Settle[0].Look)
	assert.Greater(t, f.Settle[0].Then, 0.5)
	f.Firm, f.Settle = true, nil
	a.settle(&f, &ours)
	assert.Empty(t, f.Settle, "a firm finding needs nothing")
}

func TestAKitTellsMoreTheMoreItIs(t *testing.T) {
	for name, c := range map[string]*roof.Case{"nothing known": {}, "well known": {Roof: roof.Build{PitchDeg: num(30),
		Underlay: roof.Underlay{Class: "LR"}, Covering: roof.Covering{Air: "closed"}, Battens: "single",
		Openings: roof.Openings{LoftEavesMM: num(3)}}}} {
		kits := Kits(c)
		last := 0.0
		for _, k := range kits {
			assert.GreaterOrEqual(t, k.Then, last-0.07, "%s: %v", name, k.Places)
			assert.LessOrEqual(t, k.Then+k.Wrong, 1+1e-9)
			last = max(last, k.Then)
		}
		assert.Greater(t, last, 0.4, name)
	}
}

// Beside the loggers that are there only others are proposed, each worth its price.
func TestBesideNamedLoggersOnlyOthersAreProposed(t *testing.T) {
	c := &roof.Case{Roof: roof.Build{PitchDeg: num(30), Underlay: roof.Underlay{Class: "LR"},
		Covering: roof.Covering{Air: "closed"}, Battens: "single", Openings: roof.Openings{LoftEavesMM: num(3)}}}
	at := []roof.Place{roof.OutdoorAir, roof.LoftAir, roof.IndoorAir}
	now, further := Beside(c, at)
	assert.Equal(t, Kits(c)[0], now, "the same expectation as of the kit of those three")
	require.NotEmpty(t, further)
	for _, s := range further {
		assert.GreaterOrEqual(t, s.Then-now.Then, worthFit)
		assert.Equal(t, now.Then, s.Now)
		for _, p := range s.Places {
			assert.NotContains(t, at, p)
		}
	}
	_, further = Beside(c, wanted)
	assert.Empty(t, further, "all is there")
}
