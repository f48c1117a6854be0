package cause

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestAVoidIsCalledShutOnlyAsFarAsItIsKnown(t *testing.T) {
	const tightLoft, airedLoft = 0.1, 0.8
	const hidden = "as a shut one does, but an aired one can look so too where the loft itself follows outdoors, "
	for _, c := range []struct {
		share, se, loft float64
		want            string
	}{
		{0.05, 0.02, tightLoft, "it is shut"},
		{0.10, 0.06, tightLoft, "it is shut or nearly so"},
		{0.25, 0.02, tightLoft, "it is between shut and aired"},
		{0.45, 0.06, tightLoft, "it is aired or nearly so"},
		{0.60, 0.05, airedLoft, "it is aired"},
		{0, 0.53, tightLoft, untold},
		{0.05, math.NaN(), tightLoft, "it is shut"},
		{0.05, 0.02, airedLoft, hidden + "as here"},
		{0.05, 0.02, math.NaN(), hidden + "which is not known here"},
		{-0.4, 0.03, tightLoft, untold},
	} {
		assert.Equal(t, c.want, voidWords(c.share, c.se, c.loft), "%+v", c)
	}
}

// A group is weighed as a whole. A sentence whose own figure says otherwise is
// left to another of the group, or says that it stands for the group.
func TestASentenceSaysNoMoreThanItsOwnFigure(t *testing.T) {
	one := 1.0
	a := &assessment{p: places{loft: &air{}, underlay: &air{}, indoor: &air{}, outdoor: &air{}}}
	for f := range features {
		a.f.value[f], a.f.se[f] = missing, missing
	}
	a.f.value[fHeat], a.f.value[fWiZ] = 0.11, one
	g := &a.scores.group[groupHouse]
	for st := range states {
		g[st] = -3
		a.scores.own[fHeat][st], a.scores.own[fWiZ][st] = -2.5, -2.5
	}
	g[stateU], a.scores.own[fHeat][stateU], a.scores.own[fWiZ][stateN] = 0, 0, 0
	pro := a.linesFor(groupHouse, stateU, BlockedVentilation, 2)
	if assert.Len(t, pro, 1, "the figure that fits nothing found better stands elsewhere") {
		assert.Contains(t, pro[0].Text, "ratio 0.110")
	}
	con := a.linesAgainst(groupHouse, stateS)
	if assert.Len(t, con, 2) {
		assert.Contains(t, con[0].Text, " This fits ceiling_leakage or blocked_ventilation best.")
		assert.Contains(t, con[1].Text, "With the other figures on house air in the loft this fits ceiling_leakage or "+
			"blocked_ventilation best.")
	}
	a.scores.own[fHeat][stateU] = -2.5
	pro = a.linesFor(groupHouse, stateU, BlockedVentilation, 2)
	if assert.Len(t, pro, 1) {
		assert.Contains(t, pro[0].Text, "with the other figures on house air in the loft only")
	}
}
