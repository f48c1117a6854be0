package predict

import (
	"iter"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/qc"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/measuredroofs"
	"dewcase/internal/words"
)

// sound lays a measured sound roof's sensors at positions of a case; the deck
// reports its temperature alone.
func sound(t *testing.T, name string, from, until time.Time, sensors map[string]roof.Position) *series.Set {
	t.Helper()
	m := measuredroofs.Load(t, name)
	c := &roof.Case{ID: name, Property: roof.Property{Timezone: "Etc/GMT-2", Zone: measuredroofs.Zone}}
	of := map[string]string{}
	acc, rh := 0.3, 2.0
	for sensor, p := range sensors {
		c.Positions = append(c.Positions, p)
		c.Loggers = append(c.Loggers, roof.Logger{ID: p.ID, Interval: time.Hour,
			Accuracy: roof.Accuracy{TempC: &acc, RHPct: &rh}, Fitted: []roof.Fitting{{Position: p.ID, From: m.At[0]}}})
		of[p.ID] = sensor
	}
	flagged, err := qc.Flag(c, func(logger string) iter.Seq2[roof.Reading, error] {
		return func(yield func(roof.Reading, error) bool) {
			for r, err := range m.Readings(logger, of[logger], from, until) {
				if x, ok := r.Values.Get(roof.TempC); ok && logger == "deck" {
					r.Values = roof.Values{}
					r.Values.Set(roof.TempC, x)
				}
				if !yield(r, err) {
					return
				}
			}
		}
	})
	require.NoError(t, err)
	set, err := series.Build(c, 0, flagged)
	require.NoError(t, err)
	return set
}

// Nothing is wrong with these two roofs, and nothing happened to them between
// their half winters. No work is said to be sure to help; and what is predicted
// from one half winter does not contradict, by its 95 % intervals, what is
// predicted from another. Where there is too little condensation, nothing is
// said.
func TestNothingIsSureToHelpASoundRoof(t *testing.T) {
	at := func(id string, p roof.Place, meets string) roof.Position {
		return roof.Position{ID: id, Place: p, Meets: meets}
	}
	outside, room := at("outside", roof.OutdoorAir, ""), at("room", roof.IndoorAir, "")
	refused, told := 0, 0
	for _, name := range []string{"R2", "R3"} {
		said := map[string]map[Work][]Range{}
		for kit, sensors := range map[string]map[string]roof.Position{
			"loft": {"station": outside, "indoor1": room, "roofmiddle_airmiddle": at("loft", roof.LoftAir, ""),
				"roofmiddle_airtop": at("deck", roof.UnderlayUnderside, "loft")},
			"void": {"station": outside, "indoor1": room, "roofmiddle_insulationtop": at("loft", roof.LoftAir, ""),
				"roofmiddle_airmiddle": at("void", roof.BattenVoidAir, ""),
				"roofmiddle_airtop":    at("deck", roof.CoveringUnderside, "void")}} {
			if name == "R3" && kit == "void" {
				delete(sensors, "roofmiddle_insulationtop")
				sensors["roofmiddle_airmiddle"] = at("loft", roof.LoftAir, "")
				sensors["roofleft_insulationtop"] = at("void", roof.BattenVoidAir, "")
			}
			said[kit] = map[Work][]Range{}
			for _, span := range [][2]string{{"2010-11-15", "2011-01-31"}, {"2011-02-01", "2011-04-10"},
				{"2011-11-15", "2012-01-31"}, {"2012-02-01", "2012-04-10"}} {
				from, err := time.Parse(time.DateOnly, span[0])
				require.NoError(t, err)
				until, err := time.Parse(time.DateOnly, span[1])
				require.NoError(t, err)
				set := sound(t, name, from, until, sensors)
				h := Fit(set, Before(set))
				for _, x := range h.Predict(DefaultPlan()).Predictions {
					switch {
					case x.Work == Leave:
					case x.Refused.Kind != words.Predicted:
						refused++
					default:
						told++
						assert.Positive(t, x.AtRisk.High95, "%s %s %s %s is sure to help", name, kit, span[0], x.Work)
						said[kit][x.Work] = append(said[kit][x.Work], *x.AtRisk)
						t.Logf("%s %s %s %s: %.0f %% (%.0f to %.0f), harm %v", name, kit, span[0], x.Work,
							x.AtRisk.Pct, x.AtRisk.Low95,
							x.AtRisk.High95, x.Harms)
					}
				}
			}
			for w, all := range said[kit] {
				for i, a := range all {
					for _, b := range all[i+1:] {
						assert.True(t, a.Low95 <= b.High95 && b.Low95 <= a.High95, "%s %s %s: %+v and %+v", name, kit,
							w, a, b)
					}
				}
			}
		}
	}
	t.Logf("%d predictions, %d refused", told, refused)
}
