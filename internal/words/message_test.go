package words

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
)

func TestWhatAMessageBecomesIsSaid(t *testing.T) {
	r := roof.Reading{Logger: "k7-loft", At: time.Date(2026, 1, 14, 6, 20, 0, 5e6, time.UTC), Flags: roof.FlagArrivalTime}
	r.Values.Set(roof.TempC, 4.31)
	r.Values.Set(roof.RHPct, 92.4)
	for got, want := range map[string]string{
		MessageTaker(""): "read as it comes",
		MessageTaker(MappingName("", 2, "a/{logger}")): "read by mapping 2 (a/{logger})",
		MessageRival(MappingName("larch-3", 1, "a/+"), MappingName("", 2, "a/#")): "mapping 1 of house larch-3 (a/+) would " +
			"read it too, but comes after mapping 2 (a/#)",
		MessageProposal(nil): "a mapping that would read it:",
		MessageReading("larch-3", r): "a reading of house larch-3, logger k7-loft, at 2026-01-14T06:20:00.005Z: " +
			"temp_c 4.31, rh_pct 92.4 (arrival time)",
		MessageUntaken(false, "/t2", "1.5", roof.TempC): "not read: /t2 is 1.5, which looks like temp_c; a further probe " +
			"stands under probes: in the mapping",
		MessageUntaken(true, "/t2", "1.5", roof.TempC): "not read: /t2 is 1.5, which looks like temp_c; a further probe is " +
			"sent as a logger of its own, on a topic with its name",
		MessageShadow(MappingName("", 2, "a/b"), MappingName("", 1, "a/#"), true): "mapping 2 (a/b) comes after " +
			"mapping 1 (a/#) and gets no message; put it first, or give the earlier one a where or present",
		MessageProposal([]string{"/t", "/time"}): "a mapping that would read it; look at what is said of /t, /time, which " +
			"the message does not tell:",
	} {
		assert.Equal(t, want, got)
	}
}

func TestUnitsSayWhatTheValuesWouldBe(t *testing.T) {
	assert.Equal(t, ": 4.3 to 4.9 °C", WouldBe("temp_c", 4.3, 4.9))
	assert.Equal(t, ": −15.4 °C", WouldBe("temp_c", -15.4, -15.4))
	assert.Equal(t, ": 92.1 %", WouldBe("rh_pct", 92.1, 92.1))
}

func TestWhyNothingCanBeProposedIsTold(t *testing.T) {
	for payload, want := range map[string]string{
		"<data><t>4</t></data>": "XML is not read; let the gateway send JSON or text such as t=4.3 h=92",
		`{"a":1}`:               "nothing in it is named like a temperature, a humidity or another quantity that is read",
		"4.3;92":                "numbers without names: no level of the topic says what they measure",
		"online": "it is neither JSON, SenML, line protocol nor text that names its values, such as " +
			"t=4.3 h=92",
	} {
		assert.Equal(t, want, MessageSenseless(payload), payload)
	}
}
