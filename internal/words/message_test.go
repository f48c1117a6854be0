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
