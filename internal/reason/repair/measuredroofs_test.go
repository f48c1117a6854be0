package repair

import (
	"fmt"
	"iter"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/qc"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/measuredroofs"
)

// measuredRoof is one of two real, unrepaired roofs in Finland over two winters.
// Which surface condenses is not documented; the highest point of the roof
// space stands for the underside of the covering.
type measuredRoof struct{ *measuredroofs.Roof }

// fitting maps a sensor of the roof to a position of the case.
type fitting struct {
	sensor   string
	position roof.Position
	bare     bool // temperature only
}

func (m measuredRoof) set(t testing.TB, id string, fits []fitting, events []roof.Event, from,
	until time.Time) *series.Set {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Helsinki")
	require.NoError(t, err)
	c := &roof.Case{ID: id, Property: roof.Property{Timezone: "Europe/Helsinki", Zone: zone}, Events: events}
	acc, rh := 0.3, 2.0
	for _, f := range fits {
		c.Positions = append(c.Positions, f.position)
		c.Loggers = append(c.Loggers, roof.Logger{ID: "k-" + f.position.ID, Interval: time.Hour,
			Accuracy: roof.Accuracy{TempC: &acc, RHPct: &rh}, Fitted: []roof.Fitting{{Position: f.position.ID, From: m.At[0]}}})
	}
	flagged, err := qc.Flag(c, func(logger string) iter.Seq2[roof.Reading, error] {
		var f fitting
		for _, x := range fits {
			if "k-"+x.position.ID == logger {
				f = x
			}
		}
		all := m.Readings(logger, f.sensor, from, until)
		if !f.bare {
			return all
		}
		return func(yield func(roof.Reading, error) bool) {
			for r, err := range all {
				var bare roof.Values
				if x, ok := r.Values.Get(roof.TempC); ok {
					bare.Set(roof.TempC, x)
				}
				if r.Values = bare; !bare.Empty() && !yield(r, err) {
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

// roofKits are the ways a consultant might have mapped the two roofs.
var roofKits = map[string]map[string][]fitting{
	"R2": {
		"loft": {{"station", roof.Position{ID: "outside", Place: roof.OutdoorAir}, false},
			{"indoor1", roof.Position{ID: "room", Place: roof.IndoorAir}, false},
			{"roofmiddle_airmiddle", roof.Position{ID: "loft", Place: roof.LoftAir}, false},
			{"roofmiddle_airtop", roof.Position{ID: "deck", Place: roof.CoveringUnderside, Meets: "loft"}, true}},
		"void": {{"station", roof.Position{ID: "outside", Place: roof.OutdoorAir}, false},
			{"indoor1", roof.Position{ID: "room", Place: roof.IndoorAir}, false},
			{"roofmiddle_insulationtop", roof.Position{ID: "loft", Place: roof.LoftAir}, false},
			{"roofmiddle_airmiddle", roof.Position{ID: "void", Place: roof.BattenVoidAir}, false},
			{"roofmiddle_airtop", roof.Position{ID: "deck", Place: roof.CoveringUnderside, Meets: "void"}, true}},
	},
	"R3": {
		"loft": {{"station", roof.Position{ID: "outside", Place: roof.OutdoorAir}, false},
			{"indoor1", roof.Position{ID: "room", Place: roof.IndoorAir}, false},
			{"indoor2", roof.Position{ID: "room-2", Place: roof.IndoorAir}, false},
			{"roofmiddle_airmiddle", roof.Position{ID: "loft", Place: roof.LoftAir}, false},
			{"roofmiddle_airtop", roof.Position{ID: "deck", Place: roof.UnderlayUnderside, Meets: "loft"}, true}},
		"void": {{"station", roof.Position{ID: "outside", Place: roof.OutdoorAir}, false},
			{"indoor1", roof.Position{ID: "room", Place: roof.IndoorAir}, false},
			{"roofmiddle_airmiddle", roof.Position{ID: "loft", Place: roof.LoftAir}, false},
			{"roofleft_insulationtop", roof.Position{ID: "void", Place: roof.BattenVoidAir}, false},
			{"roofmiddle_airtop", roof.Position{ID: "deck", Place: roof.CoveringUnderside, Meets: "void"}, true}},
	},
}

// Nobody repaired these roofs. Whatever is pretended, at dates through two
// winters and with every kind of work declared or none, a verdict is a false one.
// The dates of December 2011 and January 2012 are those at which a first version
// took hard frost for a tighter ceiling.
func TestNoVerdictOnMeasuredRoofsThatNobodyRepaired(t *testing.T) {
	if testing.Short() {
		t.Skip("half a minute of fits; run without -short")
	}
	kinds := [][]roof.Change{nil, {roof.LoftVentilation}, {roof.CeilingChange}, {roof.VoidVentilation}}
	for _, name := range []string{"R2", "R3"} {
		m := measuredRoof{measuredroofs.Load(t, name)}
		for kit, fits := range roofKits[name] {
			for _, date := range []string{"2010-12-25", "2011-02-05", "2011-11-20", "2011-12-15", "2011-12-25", "2012-01-10"} {
				at, err := time.Parse("2006-01-02", date)
				require.NoError(t, err)
				for _, changes := range kinds {
					if kit == "loft" && len(changes) == 1 && changes[0] == roof.VoidVentilation {
						continue
					}
					e := roof.Event{At: at.Add(9 * time.Hour), Kind: roof.Repair, Changes: changes}
					set := m.set(t, "measured-"+name, fits, []roof.Event{e}, at.AddDate(0, 0, -60), at.AddDate(0, 0, 62))
					noVerdict(t, set, fmt.Sprintf("%s as %s, %s, %v", name, kit, date, changes))
				}
			}
		}
		// The whole record: the summer between the winters, and a date in each.
		for _, date := range []string{"2011-01-20", "2011-08-01", "2011-12-15"} {
			at, err := time.Parse("2006-01-02", date)
			require.NoError(t, err)
			e := roof.Event{At: at, Kind: roof.Repair}
			set := m.set(t, "measured-"+name, roofKits[name]["loft"], []roof.Event{e}, m.At[0], m.At[len(m.At)-1])
			noVerdict(t, set, fmt.Sprintf("%s, whole record, %s", name, date))
		}
	}
}

func noVerdict(t *testing.T, set *series.Set, what string) {
	t.Helper()
	for _, r := range Assess(set, Options{Draws: 160, NoSensitivity: true}) {
		finite(t, r)
		line := fmt.Sprintf("%s: %s, needs %q", what, r.Verdict, r.Needs)
		if r.AtRiskReductionPct != nil {
			line += fmt.Sprintf(", at-risk hours fell %.0f %% [%.0f, %.0f], companion %.2f", *r.AtRiskReductionPct,
				*r.AtRiskLowPct, *r.AtRiskHighPct, r.Companion.Q)
		}
		t.Log(line)
		if r.Verdict != TooEarly && r.Verdict != NoChangeShown {
			t.Errorf("a verdict on a roof that nobody repaired: %s", line)
		}
	}
}
