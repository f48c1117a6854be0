package openings

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/tabletest"
)

// figuresUsed are the numbers that the rules use.
var figuresUsed = []Figure{
	ukHRLow, ukHR, ukHigh, ukLRSealed, ukLRSealedHigh, ukLR, ukVoidLow, ukVoidHigh, ukCounter, ukCavity,
	ukWarmLow, ukWarmHigh, ukWarmPath, nhbcHigh, lowPitch, steepPitch, wideSpan, deLowShare, deLowLeast,
	deHighShare, deHighLeast, deHeight, deSd, deCounter8, deCounter12, deCounterUp, us150, us300, usHighPc, usGap,
	auFlat, auMid, auSteep, auHigh, auParallel,
}

// rowOf says which row of testdata/tables/ventilation_rules.csv a figure comes
// from: part of its condition and of its location.
var rowOf = []struct {
	id, code, kind, condition, location string
	value                               string // as printed, where the figure is one of several numbers
}{
	{"uk-hr-low-pitch-eaves", "BS 5250", "cold pitched, insulation", "HR underlay, pitch <= 15 deg", "eaves, both sides",
		""},
	{"uk-hr-eaves", "BS 5250", "cold pitched", "HR underlay, pitch > 15 deg", "eaves, both sides", ""},
	{"uk-hr-high-level", "BS 5250", "cold pitched", "HR underlay, and pitch > 35 deg", "high level", ""},
	{"uk-lr-sealed-eaves", "BS 5250", "cold pitched dwelling", "LR underlay, well-sealed ceiling", "eaves, fortuitous",
		""},
	{"uk-lr-sealed-high-level", "BS 5250", "cold pitched dwelling", "LR underlay, well-sealed ceiling",
		"alternative: ridge", ""},
	{"uk-lr-eaves", "BS 5250", "cold pitched", "LR underlay, normal ceiling", "eaves", ""},
	{"uk-void-eaves", "BS 5250", "any pitched", "air-impermeable", "batten void, low level", "25 000"},
	{"uk-void-ridge", "BS 5250", "any pitched", "air-impermeable", "batten void, high level", "5 000"},
	{"uk-counter-batten", "BS 5250", "any pitched", "air-impermeable", "counter batten depth", ">= 25"},
	{"uk-void-depth", "maker guidance", "any pitched", "air-impermeable covering", "clear cavity", ""},
	{"uk-warm-eaves", "BS 5250", "warm pitched", "void kept below underlay", "eaves", ""},
	{"uk-warm-ridge", "BS 5250", "warm pitched", "void kept below underlay", "ridge", ""},
	{"uk-warm-path", "BS 5250", "warm pitched", "void kept below underlay", "clear air path", ""},
	{"uk-nhbc-high-level", "NHBC", "cold roof", "vapour-permeable underlay", "high level", ""},
	{"de-eaves-least", "DIN 4108-3", "ventilated roof", "eaves", "free area", "at least 200"},
	{"de-eaves-share", "DIN 4108-3", "ventilated roof", "eaves", "free area", ">= 2 per mille"},
	{"de-ridge-share", "DIN 4108-3", "ventilated roof", "ridge and hip", "free area", ">= 0.5 per mille"},
	{"de-ridge-least", "DIN 4108-3", "ventilated roof", "ridge and hip", "free area", "at least 50"},
	{"de-clear-height", "DIN 4108-3", "ventilated roof", "within the roof plane", "clear height", ">= 20"},
	{"de-sd-below", "DIN 4108-3", "ventilated roof", "layers below", "sd", ">= 2"},
	{"de-counter-batten-8m", "ZVDH", "batten void", "rafter length", "counter batten", "30 /"},
	{"de-counter-batten-12m", "ZVDH", "batten void", "rafter length", "counter batten", "/ 40 /"},
	{"de-counter-batten-over", "ZVDH", "batten void", "rafter length", "counter batten", "/ 60"},
	{"us-default-ratio", "IRC R806.2", "vented attic", "default", "net free area", "1/150"},
	{"us-balanced-ratio", "IRC R806.2 (2012 on)", "vented attic", "40-50 %", "net free area", "1/300"},
	{"us-eaves-gap", "IRC R806.3", "eaves", "between insulation and sheathing", "clear gap", "25 (1 in)"},
	{"au-under-10", "NCC 2022", "climate zones", "pitch < 10 deg", "two opposite ends", "25 000"},
	{"au-10-to-15-eaves", "NCC 2022", "climate zones", "pitch 10 to < 15", "eaves + high", "25 000 +"},
	{"au-15-to-75-eaves", "NCC 2022", "climate zones", "pitch 15 to < 75", "eaves + high", "7 000 +"},
	{"au-high-level", "NCC 2022", "climate zones", "pitch 15 to < 75", "eaves + high", "+ 5 000"},
	{"au-parallel-extra", "NCC 2022", "climate zones", "pitch 15 to < 75", "18 000", ""},
}

// notInTable are limits written inside a row's words; their row is checked by
// the words.
var inWords = map[string]struct{ condition, words string }{
	"uk-low-pitch":   {"HR underlay, pitch <= 15 deg", "<= 15 deg"},
	"uk-steep-pitch": {"HR underlay, and pitch > 35 deg", "> 35 deg"},
	"uk-wide-span":   {"HR underlay, and pitch > 35 deg", "span > 10 m"},
	"us-high-share":  {"40-50 %", "40-50 %"},
}

func standing(status string) Standing {
	switch {
	case strings.HasPrefix(status, "from memory"):
		return FromMemory
	case strings.HasPrefix(status, "secondary"), strings.HasPrefix(status, "confirmed (secondary"):
		return Secondary
	}
	return Confirmed
}

func TestEveryFigureStandsInTheTableOfRulesWithItsStanding(t *testing.T) {
	rows := tabletest.Read(t, "ventilation_rules")
	figures := map[string]Figure{}
	for _, f := range figuresUsed {
		require.NotContains(t, figures, f.ID, "twice")
		figures[f.ID] = f
	}
	checked := map[string]bool{}
	for _, want := range rowOf {
		f, ok := figures[want.id]
		require.True(t, ok, want.id)
		for _, row := range rows {
			if !strings.Contains(row.Text("code"), want.code) || !strings.HasPrefix(row.Text("roof_type"), want.kind) ||
				!strings.Contains(row.Text("condition"), want.condition) ||
				!strings.Contains(row.Text("location_or_quantity"), want.location) ||
				strings.Contains(row.Text("roof_type"), "non-domestic") || strings.Contains(row.Text("status"), "CONFLICT") {
				continue
			}
			checked[want.id] = true
			assert.Equal(t, standing(row.Text("status")), f.Standing, "%s: %s", row, want.id)
			if want.value == "" && want.location != "18 000" {
				v, err := strconv.ParseFloat(strings.ReplaceAll(row.Text("value"), " ", ""), 64)
				require.NoError(t, err, "%s", row)
				assert.InDelta(t, v, f.Value, 1e-9, "%s: %s", row, want.id)
				continue
			}
			in := row.Text("value") + " " + row.Text("location_or_quantity")
			assert.Contains(t, in, want.value, "%s: %s", row, want.id)
			plain := strings.ReplaceAll(in, " 000", "000")
			digits := strconv.FormatFloat(f.Value, 'f', -1, 64)
			assert.True(t, strings.Contains(plain, digits+"000") || strings.Contains(plain, digits),
				"%s: %s is %s, the row says %s", row, want.id, digits, in)
		}
		if !checked[want.id] {
			t.Logf("no row of the table holds %s", want.id)
		}
	}
	for id, w := range inWords {
		f := figures[id]
		for _, row := range rows {
			if strings.Contains(row.Text("condition"), w.condition) && !strings.Contains(row.Text("status"), "CONFLICT") {
				checked[id] = true
				assert.Contains(t, row.Text("condition"), w.words, "%s", row)
				assert.Contains(t, w.words, strconv.FormatFloat(f.Value, 'f', -1, 64))
			}
		}
	}
	assert.GreaterOrEqual(t, 4*len(checked), 3*len(figures), "most figures must be held by a row")
	for id := range figures {
		named := inWords[id].words != ""
		for _, w := range rowOf {
			named = named || w.id == id
		}
		assert.True(t, named, "%s is checked by nothing", id)
	}
}
