package casefile_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/roof"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func sample(t testing.TB) string {
	data, err := os.ReadFile(filepath.Join("testdata", "larkfield-9.yaml"))
	require.NoError(t, err)
	return string(data)
}

func TestTheContractsOwnExampleIsReadWhole(t *testing.T) {
	c, faults := casefile.Parse("case.yaml", []byte(sample(t)))
	require.Empty(t, faults)
	assert.Equal(t, "larkfield-9", c.ID)
	assert.Equal(t, "9 Larkfield Mews", c.Property.Label)
	assert.Equal(t, "Europe/London", c.Property.Zone.String())
	assert.Equal(t, 60.0, *c.Property.AltitudeM)
	assert.Equal(t, "2026-03-01T00:00:00Z", c.Property.Completed.Format(time.RFC3339))
	assert.Equal(t, 32.0, *c.Roof.PitchDeg)
	assert.Equal(t, roof.Covering{Material: "fibre-cement slate", Air: "closed"}, c.Roof.Covering)
	assert.Equal(t, roof.No, c.Roof.Underlay.AirPermeable)
	assert.Equal(t, 0.0, *c.Roof.Openings.LoftRidgeMM, "0 is none, which is not unknown")
	assert.Equal(t, roof.Unknown, c.Roof.Ceiling.Sealed)
	assert.Equal(t, 6, *c.Roof.Ceiling.Downlights)
	assert.Equal(t, roof.Unknown, c.Roof.EavesClear)
	require.Len(t, c.Positions, 6)
	assert.Equal(t, roof.Position{ID: "slate", Place: roof.CoveringUnderside, Meets: "void"}, c.Positions[3])
	assert.True(t, c.Positions[5].Untouched)
	require.Len(t, c.Loggers, 1)
	assert.Equal(t, 5*time.Minute, c.Loggers[0].Interval)
	assert.Equal(t, 0.3, *c.Loggers[0].Accuracy.TempC)
	assert.Zero(t, c.Loggers[0].Accuracy.K)
	assert.Equal(t, "NaCl 75.3 %RH at 25 C", c.Loggers[0].Offsets[0].Check)
	require.Len(t, c.Events, 2)
	assert.Equal(t, []string{"loft", "slate"}, c.Events[0].Treats)
	assert.Equal(t, []roof.Change{roof.LoftVentilation}, c.Events[0].Changes)
}

// minimal is a sound file that a test appends to or changes.
const minimal = `case: c1
property: {timezone: Europe/London}
positions:
  - {id: loft, place: loft_air}
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
`

func TestEachFaultNamesItsKeyAndLine(t *testing.T) {
	for name, tc := range map[string]struct{ text, want string }{
		"unknown key at the top": {minimal + "colour: red\n", "f.yaml:7: colour: is not a known key"},
		"unknown key below": {minimal + "roof:\n  pitch: 30\n",
			"f.yaml:8: roof.pitch: is not a known key; did you mean pitch_deg?"},
		"unknown key in a list": {minimal + "loggers:\n  - id: a\n    intervall_s: 3\n",
			"f.yaml:9: loggers[0].intervall_s: is not a known key; did you mean interval_s?"},
		"duplicate key": {minimal + "roof: {pitch_deg: 3, pitch_deg: 4}\n",
			"f.yaml:7: roof.pitch_deg: is a duplicate key; first defined on line"},
		"pitch over 90": {minimal + "roof: {pitch_deg: 90.5}\n",
			"f.yaml:7: roof.pitch_deg: 90.5 cannot be; write a number from 0 to 90"},
		"pitch below 0": {minimal + "roof: {pitch_deg: -1}\n", "roof.pitch_deg: -1 cannot be"},
		"pitch as text": {minimal + "roof: {pitch_deg: \"30\"}\n",
			"roof.pitch_deg: \"30\" is not a plain decimal number"},
		"pitch with a unit":         {minimal + "roof: {pitch_deg: 30 deg}\n", "roof.pitch_deg: \"30 deg\" is not a plain"},
		"pitch not a number":        {minimal + "roof: {pitch_deg: .nan}\n", "roof.pitch_deg: \".nan\" is not a plain"},
		"pitch infinite":            {minimal + "roof: {pitch_deg: .inf}\n", "roof.pitch_deg: \".inf\" is not"},
		"pitch hexadecimal":         {minimal + "roof: {pitch_deg: 0x1F}\n", "roof.pitch_deg: \"0x1F\" is not"},
		"pitch with an underscore":  {minimal + "roof: {pitch_deg: 1_0}\n", "roof.pitch_deg: \"1_0\" is not"},
		"pitch with a leading zero": {minimal + "roof: {pitch_deg: 030}\n", "roof.pitch_deg: \"030\" starts with a zero"},
		"pitch a list":              {minimal + "roof: {pitch_deg: [30]}\n", "roof.pitch_deg: is a list"},
		"negative slot": {minimal + "roof:\n  openings_mm:\n    loft_eaves: -1\n",
			"f.yaml:9: roof.openings_mm.loft_eaves: -1 cannot be"},
		"interval under 1 s": {minimal + "loggers: [{id: a, interval_s: 0.5}]\n",
			"loggers[0].interval_s: 0.5 cannot be; write a number from 1 to 86400"},
		"interval over 24 h": {minimal + "loggers: [{id: a, interval_s: 86401}]\n",
			"loggers[0].interval_s: 86401 cannot be"},
		"negative accuracy": {minimal + "loggers: [{id: a, accuracy: {temp_c: -0.1}}]\n",
			"loggers[0].accuracy.temp_c: -0.1 cannot be"},
		"k of zero": {minimal + "loggers: [{id: a, accuracy: {k: 0}}]\n",
			"loggers[0].accuracy.k: 0 cannot be"},
		"bad case id": {strings.Replace(minimal, "c1", "C 1", 1),
			"f.yaml:1: case: \"C 1\" cannot name a case"},
		"missing case":     {strings.Replace(minimal, "case: c1\n", "", 1), "f.yaml:1: case: is missing"},
		"missing property": {"case: c1\n", "f.yaml:1: property: is missing"},
		"missing zone": {"case: c1\nproperty: {label: x}\n",
			"f.yaml:2: property.timezone: is missing; write the property's IANA zone"},
		"unknown zone": {"case: c1\nproperty: {timezone: Europe/Larkfield}\n",
			"f.yaml:2: property.timezone: \"Europe/Larkfield\" is not a known time zone"},
		"zone of the machine": {"case: c1\nproperty: {timezone: Local}\n", "property.timezone: \"Local\" is not"},
		"zone outside the database": {"case: c1\nproperty: {timezone: ../../etc/passwd}\n",
			"property.timezone: \"../../etc/passwd\" is not"},
		"bad position id": {minimal + "  - {id: \"a b\", place: timber}\n",
			"f.yaml:7: positions[3].id: \"a b\" cannot name a position"},
		"long position id": {minimal + "  - {id: " + strings.Repeat("a", 65) + ", place: timber}\n",
			"positions[3].id:"},
		"duplicate position": {minimal + "  - {id: loft, place: timber}\n",
			"f.yaml:7: positions[3].id: \"loft\" is already used on line 4"},
		"unknown place": {minimal + "  - {id: x, place: attic}\n",
			"positions[3].place: \"attic\" is not a word known here; write one of indoor_air"},
		"place unknown": {minimal + "  - {id: x, place: unknown}\n", "positions[3].place: \"unknown\" is not"},
		"missing place": {minimal + "  - {id: x}\n", "f.yaml:7: positions[3].place: is missing"},
		"meets nothing": {minimal + "  - {id: x, place: timber, meets: attic}\n",
			"positions[3].meets: \"attic\" is not a position of this case"},
		"meets a surface": {minimal + "  - {id: x, place: timber, meets: slate}\n",
			"positions[3].meets: \"slate\" is not air but covering_underside"},
		"air meets air": {minimal + "  - {id: x, place: loft_air, meets: void}\n",
			"positions[3].meets: stands at a position of air"},
		"duplicate logger": {minimal + "loggers:\n  - id: a\n  - id: a\n",
			"f.yaml:9: loggers[1].id: \"a\" is already used on line 8"},
		"bad logger id": {minimal + "loggers:\n  - id: a/b\n", "loggers[0].id: \"a/b\" cannot name a logger"},
		"fitted at no position": {minimal + "loggers: [{id: a, fitted: [{position: attic, from: 2026-01-01}]}]\n",
			"loggers[0].fitted[0].position: \"attic\" is not"},
		"fitted without a start": {minimal + "loggers: [{id: a, fitted: [{position: loft}]}]\n",
			"loggers[0].fitted[0].from: is missing"},
		"fitted until before": {minimal + "loggers: [{id: a, fitted: [{position: loft, from: 2026-01-02, to: " +
			"2026-01-01}]}]\n", "loggers[0].fitted[0].to: is not after its from"},
		"fittings overlap": {minimal + "loggers:\n  - id: a\n    fitted:\n      - {position: loft, from: " +
			"2026-01-01, to: 2026-03-01}\n      - {position: void, from: 2026-02-01}\n",
			"f.yaml:11: loggers[0].fitted[1].from: lies within another fitting"},
		"fittings overlap over one": {minimal + "loggers:\n  - id: a\n    fitted:\n      - {position: loft, from: " +
			"2026-01-01, to: 2026-06-01}\n      - {position: void, from: 2026-06-02}\n      - {position: void, from: " +
			"2026-07-01, to: 2026-07-05}\n      - {position: loft, from: 2026-07-04}\n",
			"f.yaml:13: loggers[0].fitted[3].from: lies within"},
		"fittings start together": {minimal + "loggers: [{id: a, fitted: [{position: loft, from: 2026-01-01}, " +
			"{position: void, from: 2026-01-01}]}]\n", "loggers[0].fitted[1].from: is the same as"},
		"offsets start together": {minimal + "loggers: [{id: a, offsets: [{from: 2026-01-01, temp_c: 1}, {from: " +
			"2026-01-01, temp_c: 2}]}]\n", "loggers[0].offsets[1].from: is the same as"},
		"a day that is not": {minimal + "events: [{at: 2026-02-30, kind: note}]\n",
			"events[0].at: \"2026-02-30\" is not a time"},
		"a time without an offset": {minimal + "events: [{at: 2026-02-03T10:00:00, kind: note}]\n",
			"events[0].at: \"2026-02-03T10:00:00\" is not a time; write an RFC 3339"},
		"a time with a short hour": {minimal + "events: [{at: \"2026-02-03T1:00:00Z\", kind: note}]\n", "events[0].at:"},
		"unknown kind": {minimal + "events: [{at: 2026-02-03, kind: fix}]\n",
			"events[0].kind: \"fix\" is not a word known here"},
		"treats no position": {minimal + "events: [{at: 2026-02-03, kind: repair, treats: [attic]}]\n",
			"events[0].treats[0]: \"attic\" is not"},
		"treats not a list": {minimal + "events: [{at: 2026-02-03, kind: repair, treats: loft}]\n",
			"events[0].treats: is the text \"loft\"; it must be a list"},
		"changes unknown": {minimal + "events: [{at: 2026-02-03, kind: repair, changes: [paint]}]\n",
			"events[0].changes[0]: \"paint\" is not"},
		"a note that opens something": {minimal + "events: [{at: 2026-02-03, kind: note, opened_mm: {void_eaves: 25}}]\n",
			"f.yaml:7: events[0].opened_mm: stands at an event that is no repair; only a repair changes the roof"},
		"an inspection that seals": {minimal + "events: [{at: 2026-02-03, kind: inspection, sealed: yes}]\n",
			"events[0].sealed: stands at an event that is no repair"},
		"a repair that saw something": {minimal + "events: [{at: 2026-02-03, kind: repair, wet: no}]\n",
			"f.yaml:7: events[0].wet: stands at an event that is no inspection; only an inspection says what was seen"},
		"an inspection that mends": {minimal + "events: [{at: 2026-02-03, kind: inspection, leak: rain}]\n",
			"events[0].leak: stands at an event that is no repair"},
		"a leak of what": {minimal + "events: [{at: 2026-02-03, kind: repair, leak: snow}]\n",
			"events[0].leak: \"snow\" is not a word known here; write one of rain, plumbing, unknown"},
		"an opening that is none": {minimal + "events: [{at: 2026-02-03, kind: repair, opened_mm: {eaves: 25}}]\n",
			"f.yaml:7: events[0].opened_mm.eaves: is not a known key"},
		"a negative slot opened": {minimal + "events: [{at: 2026-02-03, kind: repair, opened_mm: {void_eaves: -5}}]\n",
			"events[0].opened_mm.void_eaves: -5 cannot be"},
		"re-laid on what is no batten": {minimal + "events: [{at: 2026-02-03, kind: repair, battens: double}]\n",
			"events[0].battens: \"double\" is not"},
		"covering air": {minimal + "roof: {covering: {air: tight}}\n", "roof.covering.air: \"tight\" is not"},
		"underlay class": {minimal + "roof: {underlay: {class: lr}}\n",
			"roof.underlay.class: \"lr\" is not a word known here; write one of HR, LR, none, unknown"},
		"battens":    {minimal + "roof: {battens: double}\n", "roof.battens: \"double\" is not"},
		"insulation": {minimal + "roof: {insulation: wool}\n", "roof.insulation: \"wool\" is not"},
		"neither yes nor no": {minimal + "roof: {ceiling: {sealed: perhaps}}\n",
			"roof.ceiling.sealed: \"perhaps\" is neither yes nor no"},
		"half a downlight": {minimal + "roof: {ceiling: {downlights: 1.5}}\n",
			"roof.ceiling.downlights: 1.5 is not a whole number"},
		"mail address": {minimal + "contacts: {householder: [\"a@b\\nBcc: c\"]}\n", "contacts.householder[0]:"},
		"a word for a telephone number": {minimal + "consultant: {name: Jo Ferrier, telephone: ask Jo}\n",
			"f.yaml:7: consultant.telephone: \"ask Jo\" is not a telephone number; write it in quotes as it is dialled"},
		"a language nobody is written to in": {minimal + "contacts: {language: de}\n",
			"f.yaml:7: contacts.language: \"de\" is not a language that people are written to in; write en or leave it out"},
		"quiet time": {minimal + "alerts: {quiet_from: 25:00}\n",
			"alerts.quiet_from: \"25:00\" is not a time of day"},
		"control character in text": {minimal + "events: [{at: 2026-01-01, kind: note, what: \"a\\u0007\"}]\n",
			"events[0].what: holds the character U+0007"},
		"roof a list": {minimal + "roof: [a]\n", "f.yaml:7: roof: is a list; it must hold keys"},
		"positions a word": {"case: c1\nproperty: {timezone: UTC}\npositions: none\n",
			"f.yaml:3: positions: is the text \"none\"; it must be a list"},
		"a list at the top": {"- a\n", "f.yaml:1: file: is a list"},
		"a word at the top": {"hello\n", "f.yaml:1: file: is the text \"hello\""},
		"empty":             {"", "f.yaml:1: file: is empty"},
		"only a remark":     {"# nothing\n", "f.yaml:1: file: is empty"},
		"a second document": {minimal + "---\ncase: c2\n", "f.yaml:8: file: has a second YAML document"},
		"a directive":       {"%YAML 1.1\n---\n" + minimal, "f.yaml:1: file: has a YAML directive"},
		"an anchor":         {minimal + "roof: &r {pitch_deg: 3}\n", "f.yaml:7: roof: is an anchor"},
		"an alias": {minimal + "roof: {pitch_deg: &x 3, span_m: *x}\n",
			"f.yaml:7: roof.span_m: is an anchor, alias"},
		"a merge key": {minimal + "roof:\n  <<: {pitch_deg: 3}\n",
			"f.yaml:8: roof.\"<<\": is not a plain key"},
		"a tag":                {minimal + "roof: {pitch_deg: !!str 3}\n", "roof.pitch_deg: is tagged"},
		"a tab as indentation": {"case: c1\nproperty:\n\ttimezone: UTC\n", "f.yaml:3: file: is not well-formed YAML"},
		"an unclosed bracket":  {minimal + "roof: {pitch_deg: 3\n", "f.yaml:7: file: is not well-formed YAML"},
		"not UTF-8":            {"case: c1\nproperty: \xff\n", "f.yaml:2: file: is not UTF-8 text"},
		"UTF-16":               {"c\x00a\x00", "f.yaml:1: file: holds the control character U+0000"},
		"over 1 MiB": {"#" + strings.Repeat("a", 1<<20),
			"f.yaml:1: file: is 1048577 bytes; at most 1048576"},
		"brackets without end":       {strings.Repeat("[", 100_000), "f.yaml:1: file: is nested deeper than 32 levels"},
		"dashes without end":         {strings.Repeat("- ", 100_000), "f.yaml:1: file: is nested deeper than 32 levels"},
		"more structure than a case": {strings.Repeat("[", 500_000), "f.yaml:1: file: has 500000 structural characters"},
		"keys without end":           {strings.Repeat("k: v\n", 60_000), "f.yaml:1001: file: has more than 1000 keys"},
		"a key that is no word":      {minimal + "\"a\\nb\": 1\n", "f.yaml:7: \"a\\nb\": is not a known key"},
	} {
		t.Run(name, func(t *testing.T) {
			c, faults := casefile.Parse("f.yaml", []byte(tc.text))
			assert.Nil(t, c)
			require.NotEmpty(t, faults)
			assert.Contains(t, faults.Error(), tc.want)
			for _, line := range faults.Lines(100) {
				assert.Regexp(t, `^f\.yaml:[0-9]+: [^:]+: .+$`, line)
			}
		})
	}
}

func TestEveryFaultIsToldAtOnceInLineOrder(t *testing.T) {
	_, faults := casefile.Parse("f.yaml", []byte(`case: BAD ID
property:
  timezone: Nowhere
  colour: red
roof: {pitch_deg: 100, openings_mm: {loft_eaves: -3}}
positions:
  - {id: a, place: cellar}
`))
	assert.Equal(t, []int{1, 3, 4, 5, 5, 7}, func() (lines []int) {
		for _, f := range faults {
			lines = append(lines, f.Line)
		}
		return lines
	}())
}

func TestMoreThanAHundredFaultsEndInACount(t *testing.T) {
	var b strings.Builder
	b.WriteString(minimal)
	for i := range 130 {
		fmt.Fprintf(&b, "x%d: 1\n", i)
	}
	_, faults := casefile.Parse("f.yaml", []byte(b.String()))
	require.Len(t, faults, 130)
	lines := faults.Lines(100)
	require.Len(t, lines, 101)
	assert.Equal(t, "and 30 more faults (130 in all)", lines[100])
}

func TestWhatIsLeftOutIsUnknown(t *testing.T) {
	c, faults := casefile.Parse("f.yaml", []byte("case: c1\nproperty: {timezone: Europe/London}\nroof:\npositions:\n"))
	require.Empty(t, faults)
	assert.Nil(t, c.Roof.PitchDeg)
	assert.Nil(t, c.Property.AltitudeM)
	assert.Nil(t, c.Property.Completed)
	assert.Equal(t, roof.Unknown, c.Roof.Underlay.AirPermeable)
	assert.Empty(t, c.Positions)
}

func TestYesAndNoAreTakenAsPeopleWriteThem(t *testing.T) {
	for word, want := range map[string]roof.Answer{"yes": roof.Yes, "Yes": roof.Yes, "true": roof.Yes, "on": roof.Yes,
		"\"yes\"": roof.Yes,
		"no":      roof.No, "NO": roof.No, "false": roof.No, "off": roof.No, "unknown": roof.Unknown, "~": roof.Unknown,
		"": roof.Unknown} {
		c, faults := casefile.Parse("f.yaml", []byte(minimal+"roof:\n  eaves_clear: "+word+"\n"))
		require.Empty(t, faults, word)
		assert.Equal(t, want, c.Roof.EavesClear, word)
	}
}

func TestTheLanguageThatPeopleAreWrittenToInIsTaken(t *testing.T) {
	for _, tag := range []string{"en", "EN", "en-GB", "~"} {
		_, faults := casefile.Parse("f.yaml", []byte(minimal+"contacts: {language: "+tag+"}\n"))
		assert.Empty(t, faults, tag)
	}
}

func TestABareDateIsMidnightAtTheProperty(t *testing.T) {
	text := strings.Replace(minimal, "Europe/London", "Europe/Berlin", 1) +
		"events: [{at: 2026-07-01, kind: note}, {at: 2026-12-01, kind: note}]\n"
	c, faults := casefile.Parse("f.yaml", []byte(text))
	require.Empty(t, faults)
	assert.Equal(t, "2026-06-30T22:00:00Z", c.Events[0].At.Format(time.RFC3339))
	assert.Equal(t, "2026-11-30T23:00:00Z", c.Events[1].At.Format(time.RFC3339))
}

func TestAFittingWithoutAnEndLastsUntilTheLoggersNext(t *testing.T) {
	c, faults := casefile.Parse("f.yaml", []byte(minimal+`loggers:
  - id: a
    fitted:
      - {position: void, from: 2026-03-01T00:00:00Z}
      - {position: loft, from: 2026-01-01T00:00:00Z}
`))
	require.Empty(t, faults)
	f := c.Loggers[0].Fitted
	require.Len(t, f, 2)
	assert.Equal(t, "loft", f[0].Position)
	assert.Equal(t, f[1].From, f[0].To)
	assert.True(t, f[1].To.IsZero())
}

func TestAFileOfAnotherSystemReadsTheSame(t *testing.T) {
	want, faults := casefile.Parse("f.yaml", []byte(sample(t)))
	require.Empty(t, faults)
	got, faults := casefile.Parse("f.yaml", []byte("\ufeff"+strings.ReplaceAll(sample(t), "\n", "\r\n")))
	require.Empty(t, faults)
	assert.Equal(t, want, got)
}

func TestFormatOfTheExampleParsesBack(t *testing.T) {
	want, faults := casefile.Parse("f.yaml", []byte(sample(t)))
	require.Empty(t, faults)
	out, err := casefile.Format(want)
	require.NoError(t, err)
	got, faults := casefile.Parse("g.yaml", out)
	require.Empty(t, faults, "%s", out)
	assert.Equal(t, want, got, "%s", out)
}

func TestFormatRefusesACaseThatNoFileCanSay(t *testing.T) {
	_, err := casefile.Format(&roof.Case{ID: "Not An Id", Property: roof.Property{Timezone: "UTC", Zone: time.UTC}})
	assert.ErrorContains(t, err, "cannot name a case")
}

func TestFormatAndParseAreInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := anyCase(t)
		out, err := casefile.Format(want)
		if err != nil {
			t.Fatal(err)
		}
		got, faults := casefile.Parse("g.yaml", out)
		if len(faults) > 0 {
			t.Fatalf("%v\n%s", faults, out)
		}
		assert.Equal(t, want, got, "%s", out)
	})
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(sample(f)))
	f.Add([]byte(minimal))
	f.Add([]byte("a: &a [*a]\n"))
	f.Add([]byte("? [a]\n: {b: |\n  c\n}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, faults := casefile.Parse("f.yaml", data)
		if (c == nil) == (len(faults) == 0) {
			t.Fatalf("a case and faults exclude each other: %v", faults)
		}
		for _, line := range faults.Lines(100) {
			if strings.ContainsAny(line, "\n\r") {
				t.Fatalf("a fault of more than one line: %q", line)
			}
		}
		if c == nil {
			return
		}
		out, err := casefile.Format(c)
		if err != nil {
			t.Fatalf("%v\n%s", err, data)
		}
		again, faults := casefile.Parse("g.yaml", out)
		if len(faults) > 0 || !assert.ObjectsAreEqual(c, again) {
			t.Fatalf("%v\n%s", faults, out)
		}
	})
}
