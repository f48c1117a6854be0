package payload

import (
	"path/filepath"
	"strings"
	"testing"

	"dewcase/internal/flow/strictyaml"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEachFaultOfAMappingNamesItsKeyAndLine(t *testing.T) {
	const field = "fields: [{quantity: temp_c, pointer: /t, unit: C}]"
	for name, tc := range map[string]struct{ text, want string }{
		"no topic":      {"- {case: c, logger: l, " + field + "}", "m.yaml:1: [0].topic: is missing"},
		"unknown key":   {"- {topic: a, cases: c}", "[0].cases: is not a known key; did you mean case?"},
		"a level mixed": {"- {topic: a/b+, case: c, logger: l, " + field + "}", "[0].topic: the level \"b+\" mixes"},
		"unknown level": {"- {topic: \"a/{point}\", case: c, logger: l, " + field + "}",
			"[0].topic: the level \"{point}\" mixes"},
		"a level twice": {"- {topic: \"{logger}/{logger}\", case: c, " + field + "}",
			"[0].topic: {logger} occurs twice"},
		"# not last":       {"- {topic: \"a/#/b\", case: c, logger: l, " + field + "}", "[0].topic: the level \"#\""},
		"the native topic": {"- {topic: \"dewcase/{case}/{logger}\", " + field + "}", "[0].topic: is the native topic"},
		"no case":          {"- {topic: \"a/{logger}\", " + field + "}", "[0].case: nothing tells it"},
		"two cases": {"- {topic: \"{case}/{logger}\", case: c, " + field + "}",
			"[0].case: both the topic and the mapping tell it"},
		"a bad case": {"- {topic: \"a/{logger}\", case: C, " + field + "}", "[0].case: \"C\" cannot name a case"},
		"no logger":  {"- {topic: a, case: c, " + field + "}", "[0].logger: nothing tells it"},
		"a bad rename": {"- {topic: \"a/{logger}\", case: c, loggers: {x: \"a b\"}, " + field + "}",
			"[0].loggers: \"a b\", for \"x\", cannot name"},
		"no unit": {"- topic: a/{logger}\n  case: c\n  fields:\n    - {quantity: rh_pct, pointer: /h}",
			"m.yaml:4: [0].fields[0].unit: is missing, and a unit is never guessed; write one of percent, fraction"},
		"the wrong unit": {"- {topic: \"a/{logger}\", case: c, fields: [{quantity: temp_c, pointer: /t, unit: percent}]}",
			"[0].fields[0].unit: \"percent\" is not a unit of temp_c"},
		"no pointer": {"- {topic: \"a/{logger}\", case: c, fields: [{quantity: temp_c, unit: C}]}",
			"[0].fields[0].pointer: is missing"},
		"a bad pointer": {"- {topic: \"a/{logger}\", case: c, fields: [{quantity: temp_c, pointer: t, unit: C}]}",
			"[0].fields[0].pointer: \"t\" is not a JSON Pointer"},
		"no quantity": {"- {topic: \"a/{logger}\", case: c, fields: [{quantity: dew, pointer: /t, unit: C}]}",
			"[0].fields[0].quantity: \"dew\" is not a word known here"},
		"no fields": {"- {topic: \"a/{logger}\", case: c}", "[0].fields: are missing"},
		"a bad decimal": {"- {topic: \"a/{logger}\", case: c, fields: [{quantity: temp_c, pointer: /t, unit: C, " +
			"decimal: x}]}", "[0].fields[0].decimal: \"x\" is not known"},
		"two bare numbers": {"- {topic: \"a/{logger}\", case: c, form: number, fields: [{quantity: temp_c, unit: C}, " +
			"{quantity: rh_pct, unit: percent}]}", "[0].fields: a bare number is one quantity"},
		"a lost segment": {"- {topic: \"a/{logger}/{quantity}\", case: c, form: number, fields: [{quantity: temp_c, " +
			"unit: C}]}", "[0].fields[0].segment: goes with {quantity}"},
		"senml with fields": {"- {topic: \"a/{logger}\", case: c, form: senml, " + field + "}",
			"[0].form: senml has no fields"},
		"an unknown form": {"- {topic: \"a/{logger}\", case: c, form: xml, " + field + "}",
			"[0].form: \"xml\" is not a word known here"},
		"a bad time form": {"- {topic: \"a/{logger}\", case: c, time: {pointer: /t, form: epoch}, " + field + "}",
			"[0].time.form: \"epoch\" is not known"},
		"no time pointer": {"- {topic: \"a/{logger}\", case: c, time: {form: s}, " + field + "}",
			"[0].time.pointer: is missing"},
		"a bad layout": {"- {topic: \"a/{logger}\", case: c, time: {pointer: /t, form: layout, layout: DD Mon, zone: " +
			"UTC}, " + field + "}", "[0].time.layout: \"DD Mon\" cannot be read"},
		"no zone": {"- {topic: \"a/{logger}\", case: c, time: {pointer: /t, form: layout, layout: YYYY-MM-DD " +
			"hh:mm}, " + field + "}", "[0].time.zone: \"\" is not a known time zone"},
		"retained": {"- {topic: \"a/{logger}\", case: c, retained: once, " + field + "}",
			"[0].retained: \"once\" is not a word known here"},
		"pairing too long": {"- {topic: \"a/{logger}\", case: c, pair_s: 7200, " + field + "}",
			"[0].pair_s: 7200 cannot be"},
	} {
		t.Run(name, func(t *testing.T) {
			doc := strictyaml.Parse("m.yaml", []byte(tc.text), 1<<20)
			var all []Mapping
			for _, n := range doc.Root().List() {
				all = append(all, ReadMapping(n))
			}
			assert.Contains(t, doc.Faults().Error(), tc.want)
			_, err := New(all)
			if !strings.Contains(tc.want, "known key") && !strings.Contains(tc.want, "word known") &&
				!strings.Contains(tc.want, "7200") {
				assert.Error(t, err, "New refuses it too")
			}
		})
	}
}

func TestFiltersCoverTheNativeTopicAndEachMapping(t *testing.T) {
	d := decoder(t, "- {topic: \"a/{logger}/{quantity}/+/#\", case: c, form: number, fields: [{quantity: temp_c, "+
		"segment: t, unit: C}]}\n- {topic: \"a/+/+/+/#\", form: ignore}\n")
	assert.Equal(t, []string{"dewcase/#", "a/+/+/+/#"}, d.Filters())
}

func TestATemplateMatchesByLevels(t *testing.T) {
	read := func(topic string, segments ...string) template {
		out, bad := parseTemplate(topic, segments)
		require.Empty(t, bad)
		return out
	}
	m := read("a/{case}/+/{logger}/#")
	c, ok := m.match(strings.Split("a/b/c/d/e/f", "/"))
	require.True(t, ok)
	assert.Equal(t, captured{caseID: "b", logger: "d"}, c)
	for _, topic := range []string{"a", "a/b/c", "x/b/c/d/e"} {
		_, ok := m.match(strings.Split(topic, "/"))
		assert.False(t, ok, topic)
	}
	_, ok = m.match(strings.Split("a/b/c/d", "/"))
	assert.True(t, ok, "# matches its parent level too (MQTT 3.1.1, section 4.7.1.2)")
	_, ok = read("a/+").match([]string{"a", "b", "c"})
	assert.False(t, ok)

	m = read("states/{logger}_{quantity}/state", "temperature", "humidity")
	assert.Equal(t, "states/+/state", m.filter())
	c, ok = m.match(strings.Split("states/loft_air_humidity/state", "/"))
	require.True(t, ok)
	assert.Equal(t, captured{logger: "loft_air", quantity: "humidity"}, c)
	for _, topic := range []string{"states/loft_battery/state", "states/_humidity/state", "states/loft_humidity2/state"} {
		_, ok = m.match(strings.Split(topic, "/"))
		assert.False(t, ok, topic)
	}
}

func TestMappingsAreReadAsTheyWereWritten(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(goldens, "*.txtar"))
	require.NoError(t, err)
	for _, file := range files {
		archive, err := txtar.ParseFile(file)
		require.NoError(t, err)
		all, faults := ReadMappings("m.yaml", archive.Files[0].Data)
		require.Empty(t, faults)
		again, faults := ReadMappings("m.yaml", []byte(WriteMappings(all)))
		require.Empty(t, faults, WriteMappings(all))
		assert.Equal(t, all, again)
	}
	for _, s := range []string{"yes", "null", "1e3", "0x1f", "~",
		"a: b", "- x", "ä\u2028\x01", "{a}", "#", "'", "\"", "12:30"} {
		m := Mapping{Topic: "a", Case: "c", Logger: "l", Where: []Condition{{"/k", s}},
			Loggers: map[string]string{s: "x"}, Fields: []Field{{Pointer: "/t", Unit: Celsius, Suffix: s, Scale: -0.01}}}
		again, faults := ReadMappings("m.yaml", []byte(WriteMappings([]Mapping{m})))
		require.Empty(t, faults, s)
		assert.Equal(t, []Mapping{m}, again)
	}
}
