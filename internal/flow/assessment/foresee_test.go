package assessment

import (
	"bytes"
	"encoding/json"
	"iter"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/qc"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/roofworlds"
)

// worked is a house whose void was opened on the 28th day.
func worked(t *testing.T) *series.Set {
	t.Helper()
	w := roofworlds.SecondKind.Draw(3, roofsim.UnventedBattenVoid)
	e, g := 25.0, 10.0
	at := w.Start.AddDate(0, 0, 28).Add(10 * time.Hour)
	winter := roofsim.Run(w, roofsim.Options{Days: 46, Repairs: []roofsim.Repair{{At: at, VoidEavesMM: &e,
		VoidRidgeMM: &g}}})
	m := roofworlds.Kit{Interval: 15 * time.Minute, CaseID: "foreseen"}.Measure(winter, 3)
	for i := range m.Case.Events {
		m.Case.Events[i].Changes = []roof.Change{roof.VoidVentilation}
	}
	flagged, err := qc.Flag(m.Case, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for _, r := range m.Of(logger) {
				if !yield(r, nil) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	set, err := series.Build(m.Case, 0, flagged)
	require.NoError(t, err)
	return set
}

// The keys are the contract's (section 6); more may stand beside them.
func TestPredictionsStandInTheAssessmentUnderTheContractsKeys(t *testing.T) {
	set := worked(t)
	a := Of(set)
	require.NotNil(t, a.Predictions, "never null")
	a.Take(Foresee(set, a, nil))
	b, err := json.Marshal(a.Assessment)
	require.NoError(t, err)
	var got struct {
		Predictions []map[string]any `json:"predictions"`
		Help        map[string]any   `json:"what_would_help"`
		Now         map[string]any   `json:"what_would_help_now"`
		Scores      []map[string]any `json:"prediction_scores"`
	}
	require.NoError(t, json.Unmarshal(b, &got))
	require.Len(t, got.Predictions, 12)
	var figures int
	for _, p := range got.Predictions {
		for _, k := range []string{"work", "assumes", "surface", "hours_condensing_change_pct", "low_pct", "high_pct",
			"at_risk_change_pct", "at_risk_low_pct", "at_risk_high_pct", "condensate_change_pct", "refused"} {
			require.Contains(t, p, k)
		}
		if p["refused"] != "" {
			assert.Nil(t, p["at_risk_change_pct"])
			assert.Nil(t, p["hours_condensing_change_pct"])
			continue
		}
		if p["work"] == "leave" {
			assert.Equal(t, 0.0, p["at_risk_change_pct"])
			continue
		}
		figures++
		lo, x, hi := p["at_risk_low_pct"].(float64), p["at_risk_change_pct"].(float64), p["at_risk_high_pct"].(float64)
		assert.True(t, lo < x && x < hi, "%v", p)
	}
	assert.Positive(t, figures)
	assert.NotEmpty(t, got.Help["sentence"])
	assert.Len(t, got.Help["not_predicted"], 5)
	require.NotNil(t, got.Now, "the roof as it stands since the work has an answer of its own, or why not")
	require.Len(t, got.Scores, len(a.Repairs))
	i := slices.IndexFunc(a.Scores, func(s Score) bool { return s.Surface == "slate" })
	require.GreaterOrEqual(t, i, 0)
	assert.Equal(t, "void_vented", a.Scores[i].Work)
	assert.Positive(t, a.Scores[i].Nights)
	assert.Contains(t, a.Scores[i].Sentence, "Predicted before the work (opening the batten void)")

	var text bytes.Buffer
	WriteText(&text, a.Assessment, set.Case)
	assert.Contains(t, text.String(), "What would help: over the nights of")
	assert.Contains(t, text.String(), a.Help.Sentence)
	assert.Contains(t, text.String(), a.Scores[i].Sentence)
}

// What was predicted is the same whether the nights after the work are on file
// or not.
func TestAPredictionDoesNotKnowWhatCameAfter(t *testing.T) {
	set := worked(t)
	e := set.Case.Repairs()[0]
	evening := set.Before(e.At.UnixMilli())
	later, then := Of(set), Of(evening)
	later.Take(Foresee(set, later, nil))
	then.Take(Foresee(evening, then, nil))
	assert.Equal(t, then.Predictions, later.Predictions)
	assert.Nil(t, then.Now)
}

func TestTheHeadlineSaysWhereNoChangeIsLikelyToo(t *testing.T) {
	set := worked(t)
	a := Of(set)
	a.Take(Foresee(set, a, nil))
	for _, h := range []Help{*a.Help, a.Now.Help} {
		for _, r := range h.Ranking {
			if r.Work == h.Recommended {
				assert.Equal(t, r.Open, strings.Contains(h.Sentence, "no change at all"), h.Sentence)
			}
		}
	}
}
