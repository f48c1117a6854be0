package casefile_test

import (
	"fmt"
	"time"

	"dewcase/internal/roof"

	"pgregory.net/rapid"
)

// anyCase draws a sound case: whatever a file can say.
func anyCase(t *rapid.T) *roof.Case {
	id := rapid.StringMatching(`[A-Za-z0-9._-]{1,64}`)
	text := rapid.OneOf(rapid.StringMatching(`[a-z]{0,8}`),
		rapid.SampledFrom([]string{"", "no", "~", "null", "1e3", "0x1", "a: b", "# x", "- x", " lead", "trail ",
			"two\nlines\n", "tab\there", `quo"te`, `back\slash`, "'", "é ü \u2028 \u00a0 \U0001f600", "unknown", "{a}", "[b]",
			"@x", "%y", "*z", "&w", "!v", "|", ">", "?", "2026-01-01", "\\n", ",", "=cmd"}))
	optional := func(low, high float64) *float64 {
		if !rapid.Bool().Draw(t, "given") {
			return nil
		}
		x := rapid.Float64Range(low, high).Draw(t, "x")
		return &x
	}
	word := func(words ...string) string { return rapid.SampledFrom(append(words, "")).Draw(t, "word") }
	answer := func() roof.Answer {
		return rapid.SampledFrom([]roof.Answer{roof.Yes, roof.No, roof.Unknown}).Draw(t, "answer")
	}
	instant := func() time.Time {
		return time.UnixMilli(rapid.Int64Range(946684800000, 4102444800000).Draw(t, "ms")).UTC()
	}
	zone := rapid.SampledFrom([]string{"Europe/London", "UTC", "Africa/Cairo", "America/Sao_Paulo", "Asia/Kathmandu",
		"Pacific/Apia"}).Draw(t, "zone")
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	c := &roof.Case{ID: rapid.StringMatching(`[a-z0-9-]{1,64}`).Draw(t, "case")}
	c.Property = roof.Property{Label: text.Draw(t, "label"), Timezone: zone, Zone: loc, AltitudeM: optional(-500, 9000)}
	if rapid.Bool().Draw(t, "completed") {
		at := instant()
		if rapid.Bool().Draw(t, "bare") {
			y, m, d := at.In(loc).Date()
			at = time.Date(y, m, d, 0, 0, 0, 0, loc).UTC()
		}
		c.Property.Completed = &at
	}
	c.Roof = roof.Build{
		PitchDeg: optional(0, 90), SpanM: optional(0.1, 500), LengthM: optional(0.1, 2000),
		Shape:    word("duopitch", "monopitch"),
		Covering: roof.Covering{Material: text.Draw(t, "material"), Air: word("open", "closed")},
		Underlay: roof.Underlay{Class: word("HR", "LR", "none"), AirPermeable: answer(), SdM: optional(0, 1e6),
			DrapeMM: optional(0, 1000), Laps: word("taped", "lapped"), OverRidge: answer()},
		Battens:         word("single", "counter"),
		CounterBattenMM: optional(0, 1000), BattenDepthMM: optional(0, 1000),
		Openings: roof.Openings{LoftEavesMM: optional(0, 10), LoftRidgeMM: optional(0, 10), VoidEavesMM: optional(0, 10),
			VoidRidgeMM: optional(0, 10)},
		Ceiling:    roof.Ceiling{Sealed: answer(), VapourControlLayer: answer()},
		Insulation: word("ceiling", "rafter", "none"), EavesClear: answer(),
		Fixings: word("galvanised", "stainless", "copper", "aluminium"), RuleSet: word("a-1", "b.2"),
	}
	if rapid.Bool().Draw(t, "downlights") {
		n := rapid.IntRange(0, 100).Draw(t, "n")
		c.Roof.Ceiling.Downlights = &n
	}
	for range rapid.IntRange(0, 3).Draw(t, "layers") {
		c.Roof.Layers = append(c.Roof.Layers, roof.Layer{Name: text.Draw(t, "layer"),
			ThicknessMM: rapid.Float64Range(0, 500).Draw(t, "d"), Mu: rapid.Float64Range(0, 1e5).Draw(t, "mu")})
	}
	ids := rapid.SliceOfNDistinct(id, 0, 5, rapid.ID[string]).Draw(t, "ids")
	for i, p := range ids {
		place := rapid.SampledFrom([]roof.Place{roof.IndoorAir, roof.LoftAir, roof.BattenVoidAir, roof.CoveringUnderside,
			roof.UnderlayUnderside, roof.Timber, roof.OutdoorAir, roof.Other}).Draw(t, "place")
		pos := roof.Position{ID: p, Place: place, Untouched: rapid.Bool().Draw(t, "untouched"),
			Material: text.Draw(t, "m"), MouldClass: word("sensitive", "resistant")}
		if !pos.Place.IsAir() && i > 0 && c.Positions[0].Place.IsAir() {
			pos.Meets = ids[0]
		}
		c.Positions = append(c.Positions, pos)
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "loggers") {
		l := roof.Logger{ID: fmt.Sprintf("%d%s", i, rapid.StringMatching(`[A-Za-z0-9._-]{0,20}`).Draw(t, "logger")),
			Interval: time.Duration(rapid.Int64Range(1000, 86_400_000).Draw(t, "interval")) * time.Millisecond,
			Accuracy: roof.Accuracy{TempC: optional(0, 2), RHPct: optional(0, 5),
				K: rapid.SampledFrom([]float64{0, 1, 2}).Draw(t, "k")}}
		if rapid.Bool().Draw(t, "station") {
			l.Station = &roof.Station{DistanceKM: optional(0, 50), HeightDifferenceM: optional(-300, 300)}
		}
		at := instant()
		if len(ids) > 0 {
			for range rapid.IntRange(0, 3).Draw(t, "fittings") {
				f := roof.Fitting{Position: rapid.SampledFrom(ids).Draw(t, "at"), From: at}
				at = at.Add(time.Duration(rapid.IntRange(1, 1e6).Draw(t, "s")) * time.Second)
				f.To = at
				l.Fitted = append(l.Fitted, f)
			}
			if n := len(l.Fitted); n > 0 && rapid.Bool().Draw(t, "open") {
				l.Fitted[n-1].To = time.Time{}
			}
		}
		for range rapid.IntRange(0, 2).Draw(t, "offsets") {
			at = at.Add(time.Hour)
			l.Offsets = append(l.Offsets, roof.Offset{From: at, TempC: rapid.Float64Range(-50, 50).Draw(t, "dt"),
				RHPct: rapid.Float64Range(-20, 20).Draw(t, "drh"), Check: text.Draw(t, "check"), TempUncC: optional(0, 1),
				RHUncPct: optional(0, 1)})
		}
		c.Loggers = append(c.Loggers, l)
	}
	for range rapid.IntRange(0, 2).Draw(t, "views") {
		c.Views = append(c.Views, roof.View{Name: "n" + text.Draw(t, "name"), Query: "show=" + text.Draw(t, "query")})
	}
	for range rapid.IntRange(0, 2).Draw(t, "excluded") {
		from := instant()
		x := roof.Excluded{From: from, To: from.Add(time.Duration(rapid.IntRange(1, 1e6).Draw(t, "s")) * time.Second),
			Reason: "why " + text.Draw(t, "reason")}
		if len(ids) > 0 && rapid.Bool().Draw(t, "at one") {
			x.Position = ids[0]
		}
		c.Excluded = append(c.Excluded, x)
	}
	for range rapid.IntRange(0, 3).Draw(t, "events") {
		e := roof.Event{At: instant(), Kind: roof.EventKind(
			rapid.SampledFrom([]string{"repair", "note", "inspection", "weather"}).Draw(t, "kind")), What: text.Draw(t, "what"),
			Uncertain: time.Duration(rapid.Int64Range(0, 86_400_000).Draw(t, "u")) * time.Millisecond}
		if len(ids) > 0 && rapid.Bool().Draw(t, "treats") {
			e.Treats = ids
		}
		if rapid.Bool().Draw(t, "changes") {
			e.Changes = []roof.Change{roof.CeilingChange, roof.Household}
		}
		if e.Kind == roof.Repair {
			e.Opened = roof.Openings{LoftEavesMM: optional(0, 50), VoidRidgeMM: optional(0, 50)}
			if len(ids) > 0 && rapid.Bool().Draw(t, "kept") {
				e.KeptInPlace = ids
			}
			e.CounterBattenMM = optional(0, 50)
			e.Battens, e.Sealed = word("single", "counter"), answer()
			e.Leak = roof.Leak(word("rain", "plumbing"))
		}
		if e.Kind == roof.Inspection {
			e.AfterRain, e.Wet = answer(), answer()
		}
		c.Events = append(c.Events, e)
	}
	if rapid.Bool().Draw(t, "planned") {
		c.Planned = roof.Planned{Work: word(roof.PlannedWorks()...), HouseLeftPct: optional(40, 100),
			Opened: roof.Openings{LoftEavesMM: optional(0, 200), VoidRidgeMM: optional(0, 200)}}
	}
	if rapid.Bool().Draw(t, "contacts") {
		c.Contacts = roof.Contacts{Householder: []string{"ann@example.org"}, Consultant: []string{"b.c+d@example.org"}}
	}
	if rapid.Bool().Draw(t, "consultant") {
		c.Adviser = roof.Person{Name: word("Jo Ferrier", "F. \"Roofs\" & Co: Ltd"),
			Telephone: word("+44 1632 960123", "01632 960 123")}
	}
	if rapid.Bool().Draw(t, "alerts") {
		c.Alerts = roof.AlertSettings{WetHours: 1.5, WetNights: 3, TimberPct: 20, MouldIndex: 1, SilentH: 6, BatteryPct: 20,
			QuietFrom: "22:00", QuietTo: "07:00", EscalateH: 48}
	}
	return c
}
