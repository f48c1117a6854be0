package cause

import (
	"iter"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/qc"
	"dewcase/internal/reason/evidence"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/measuredroofs"
)

// realRoof reads a measured roof into a set; sensors names the sensor of each
// position.
func realRoof(t *testing.T, house string, c *roof.Case, sensors map[string]string) *series.Set {
	t.Helper()
	return realRoofBetween(t, house, c, sensors, time.Time{}, measuredroofs.End)
}

func realRoofBetween(t *testing.T, house string, c *roof.Case, sensors map[string]string, from,
	until time.Time) *series.Set {
	t.Helper()
	record := measuredroofs.Load(t, house)
	c.Property.Timezone, c.Property.Zone = "Etc/GMT-2", measuredroofs.Zone
	for _, p := range c.Positions {
		c.Loggers = append(c.Loggers, roof.Logger{ID: p.ID, Interval: time.Hour,
			Fitted: []roof.Fitting{{Position: p.ID, From: record.At[0]}}})
	}
	flagged, err := qc.Flag(c, func(logger string) iter.Seq2[roof.Reading, error] {
		return record.Readings(logger, sensors[logger], from, until)
	})
	require.NoError(t, err)
	set, err := series.Build(c, 0, flagged)
	require.NoError(t, err)
	require.Empty(t, evidence.Doubts(set), "the units of a measured roof are what they say")
	return set
}

func finnish(house string) (*roof.Case, map[string]string) {
	c := &roof.Case{ID: house, Positions: []roof.Position{
		{ID: "station", Place: roof.OutdoorAir}, {ID: "indoor1", Place: roof.IndoorAir}, {ID: "loft", Place: roof.LoftAir}}}
	columns := map[string]string{"station": "station", "indoor1": "indoor1", "loft": "roofmiddle_airmiddle"}
	if house == "R3" {
		c.Positions = append(c.Positions, roof.Position{ID: "deck", Place: roof.UnderlayUnderside, Meets: "loft"})
		columns["deck"] = "roofmiddle_airtop"
	}
	return c, columns
}

// asPublished leaves out what the method's page leaves out before it prints its
// check values: each humidity that stands still for 8 h below 98.5 %RH. The
// station reports whole percents, so that these are ordinary steady hours, which
// the program keeps.
func asPublished(a *air, rh series.Track, g grid) *air {
	for i := 0; i < rh.Len(); {
		j := i
		for j+1 < rh.Len() && rh.Value[j+1] == rh.Value[i] && rh.AtMS[j+1]-rh.AtMS[j] <= 3*hourMS {
			j++
		}
		if rh.AtMS[j]-rh.AtMS[i] >= 8*hourMS && rh.Value[i] < 98.5 {
			for k := range a.vapourPa {
				if g.at(k) >= rh.AtMS[i] && g.at(k) <= rh.AtMS[j] {
					a.vapourPa[k] = missing
				}
			}
		}
		i = j + 1
	}
	return a
}

// The check values that the method prints for two measured roofs, 120 days from
// 2010-11-25 00:00.
func TestFeaturesOfMeasuredRoofsMatchThePublishedCheckValues(t *testing.T) {
	zone := time.FixedZone("UTC+2", 2*3600)
	want := map[string]map[string]float64{
		"R2": {"Ei": 598.42, "El": 11.545, "wo": 0.58471, "wi": -0.018262, "wt": 0.2729, "wiZ": -0.22472, "src": 0.019293,
			"lflux": 2.2892, "rh90": 115.99, "sb": 0.13519, "rt": 0.48921, "decay": 0.036241, "decayI": -0.039558},
		"R3": {"Ei": 661.86, "El": 30.237, "wo": 0.43835, "wi": 0.0022278, "wt": 0.40281, "wiZ": 0.058499, "src": 0.040629,
			"lflux": 2.5228, "rh90": 106.39, "sb": 0.17589, "rt": 0.032703, "decay": 0.028957, "decayI": -0.071545,
			"heat": -0.015414, "Hu": 15.319},
	}
	for house, values := range want {
		t.Run(house, func(t *testing.T) {
			c, columns := finnish(house)
			set := realRoof(t, house, c, columns)
			g := grid{startMS: time.Date(2010, 11, 25, 0, 0, 0, 0, zone).UnixMilli(), n: 120 * 24, zone: zone}
			station := set.Course("station")
			require.Zero(t, station.Excluded)
			p := places{outdoor: asPublished(sampledCourse(station, g), station.RHPct, g),
				indoor: sampledCourse(set.Course("indoor1"), g),
				loft:   sampledCourse(set.Course("loft"), g)}
			if house == "R3" {
				p.underlay = sampledCourse(set.Course("deck"), g)
			}
			f := extract(g, p)
			got := map[string]float64{"Ei": f.eiPa, "wi": f.fast.wi, "wt": f.fast.wt, "Hu": f.hu}
			for i := range features {
				got[about(i).id] = f.value[i]
			}
			for id, w := range values {
				assert.InEpsilon(t, w, got[id], 1e-3, id)
			}
		})
	}
}

// Two sound roofs, two winters and the whole record, with and without a survey:
// a firm defect would be a false alarm.
func TestMeasuredSoundRoofsAreNeverCalledFaulty(t *testing.T) {
	zone := time.FixedZone("UTC+2", 2*3600)
	surveys := map[string]func(*roof.Case){
		"no survey": func(*roof.Case) {},
		"HR": func(c *roof.Case) {
			c.Roof.Underlay.Class = "HR"
		},
		"HR, short openings": func(c *roof.Case) {
			c.Roof.Underlay.Class, c.Roof.PitchDeg, c.Roof.Openings.LoftEavesMM = "HR", num(25), num(3)
		},
		"LR, close-fitting, enough openings, new": func(c *roof.Case) {
			done := time.Date(2010, 6, 1, 0, 0, 0, 0, time.UTC)
			c.Property.Completed = &done
			c.Roof.Underlay.Class, c.Roof.Covering.Air, c.Roof.PitchDeg, c.Roof.Openings.LoftEavesMM = "LR", "closed", num(25),
				num(25)
		},
	}
	spans := map[string][2]time.Time{
		"first winter":  {time.Date(2010, 11, 25, 0, 0, 0, 0, zone), time.Date(2011, 4, 25, 0, 0, 0, 0, zone)},
		"second winter": {time.Date(2011, 10, 15, 0, 0, 0, 0, zone), time.Date(2012, 3, 15, 0, 0, 0, 0, zone)},
		"whole record":  {time.Date(2010, 1, 1, 0, 0, 0, 0, zone), time.Date(2013, 1, 1, 0, 0, 0, 0, zone)},
		"one month":     {time.Date(2010, 12, 25, 0, 0, 0, 0, zone), time.Date(2011, 1, 25, 0, 0, 0, 0, zone)},
	}
	for _, house := range []string{"R2", "R3"} {
		for name, survey := range surveys {
			for span, bounds := range spans {
				t.Run(house+", "+name+", "+span, func(t *testing.T) {
					c, columns := finnish(house)
					survey(c)
					a, f := assess(realRoofBetween(t, house, c, columns, bounds[0], bounds[1]), Options{}, &ours)
					requireExact(t, a, f)
					t.Logf("%s lead %s %.2f; %v; ceiling %.3f ingress %.3f", f.Finding, f.Leading, f.Causes[0].Support, f.Reasons,
						f.Of(CeilingLeakage).Support, f.Of(WaterIngress).Support)
					assert.LessOrEqual(t, f.Of(CeilingLeakage).Support, 0.2)
					assert.NotContains(t, []Cause{CeilingLeakage, WaterIngress, BlockedVentilation, UnventedBattenVoid}, f.Finding)
					if house == "R3" {
						assert.LessOrEqual(t, f.Of(WaterIngress).Support, 0.6)
					}
				})
			}
		}
	}
}
