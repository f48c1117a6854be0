package payload

import (
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWhatMessagesWouldBecomeIsSaidWithTheMappingThatTookThem(t *testing.T) {
	mappings, faults := readAll(`
- {topic: "n/{logger}/{quantity}", case: c, form: number, fields: [{quantity: temp_c, segment: t, unit: C},
    {quantity: rh_pct, segment: h, unit: percent}]}
- {topic: "n/{logger}/state", case: c, fields: [{quantity: temp_c, pointer: /t, unit: C}]}
`)
	require.Empty(t, faults)
	at := func(s int) time.Time { return start.Add(time.Duration(s) * time.Second) }
	out, err := Become(mappings, []Message{
		{Topic: "n/a/t", Payload: []byte("4.3"), Arrived: at(0)},
		{Topic: "n/a/h", Payload: []byte("91"), Arrived: at(2)},
		{Topic: "n/a/state", Payload: []byte(`{"t":1}`), Arrived: at(3)},
		{Topic: "n/a/state", Payload: []byte(`{"x":1}`), Arrived: at(4)},
		{Topic: "dewcase/c/b", Payload: []byte(`{"temp_c":1}`), Arrived: at(5)},
		{Topic: "m", Payload: []byte(`1`), Arrived: at(6)},
	})
	require.NoError(t, err)
	var by []int
	for _, b := range out {
		by = append(by, b.Mapping)
	}
	assert.Equal(t, []int{0, 0, 1, -1, -1, -1}, by)
	require.Len(t, out[1].Readings, 1)
	assert.Equal(t, at(0), out[1].Readings[0].At, "a half joins the reading of the other")
	assert.Contains(t, out[3].Rejects[0].Detail, "(/t); what came is /x")
	_, err = Become([]Mapping{{Topic: "a"}}, nil)
	assert.ErrorContains(t, err, `mapping 1 (topic "a"): case: nothing tells it`)
}

func TestAMappingThatAnEarlierOneShadowsIsTold(t *testing.T) {
	const fields = "fields: [{quantity: temp_c, pointer: /t, unit: C}]"
	const byLevel, fixed = "case: c, " + fields, "case: c, logger: l, " + fields
	const bare = "case: c, form: number, fields: [{quantity: temp_c, unit: C, segment: t}]"
	const otherBare = "case: c, form: number, fields: [{quantity: rh_pct, unit: percent, segment: h}]"
	for name, tc := range map[string]struct {
		first, second string
		want          []Shadow
	}{
		"other topics": {`"a/{logger}", ` + byLevel, `"b/{logger}", ` + byLevel, nil},
		"the same topic": {`"a/{logger}", ` + byLevel, `a/+, ` + fixed,
			[]Shadow{{Place{"", 2, "a/+"}, Place{"", 1, "a/{logger}"}, false}}},
		"a literal under a name": {`"a/{logger}", ` + byLevel, `a/b, ` + fixed,
			[]Shadow{{Place{"", 2, "a/b"}, Place{"", 1, "a/{logger}"}, false}}},
		"a name under a literal": {`a/b, ` + fixed, `"a/{logger}", ` + byLevel, nil},
		"ignored from there on": {`"a/#", form: ignore`, `"a/{logger}/b", ` + byLevel,
			[]Shadow{{Place{"", 2, "a/{logger}/b"}, Place{"", 1, "a/#"}, true}}},
		"a condition": {`"a/{logger}", where: {/k: 1}, ` + byLevel, `"a/{logger}", ` + byLevel, nil},
		"the same condition": {`"a/{logger}", where: {/k: 1}, ` + byLevel,
			`"a/{logger}", where: {/k: 1}, ` + byLevel,
			[]Shadow{{Place{"", 2, "a/{logger}"}, Place{"", 1, "a/{logger}"}, false}}},
		"only where present": {`"a/{logger}", present: [/t], ` + byLevel, `"a/{logger}", ` + byLevel, nil},
		"another segment":    {`"a/{logger}/{quantity}", ` + bare, `"a/{logger}/{quantity}", ` + otherBare, nil},
		"a level with text": {`"a/{logger}_t", ` + byLevel, `a/b_t, ` + fixed,
			[]Shadow{{Place{"", 2, "a/b_t"}, Place{"", 1, "a/{logger}_t"}, false}}},
	} {
		t.Run(name, func(t *testing.T) {
			mappings, faults := readAll("- {topic: " + tc.first + "}\n- {topic: " + tc.second + "}")
			require.Empty(t, faults)
			assert.Equal(t, tc.want, Shadows(mappings, len(mappings)))
		})
	}
}

// While mappings of the houses come and go, each message that an
// unchanged mapping reads becomes one reading, and each of a mapping that comes
// and goes becomes one reading or one reject: nothing twice, nothing in between.
func TestMappingsExchangedWhileMessagesFlowLoseAndDoubleNothing(t *testing.T) {
	d := decoder(t, "- {topic: \"fixed/{logger}\", case: c, fields: [{quantity: temp_c, pointer: /t, unit: C}]}")
	coming, faults := readAll(`
- {topic: "coming/{logger}", case: c, fields: [{quantity: temp_c, pointer: /t, unit: C}],
    probes: [{suffix: -2, fields: [{quantity: temp_c, pointer: /u, unit: C}]}]}`)
	require.Empty(t, faults)
	var done atomic.Bool
	var work sync.WaitGroup
	var taken, rejected atomic.Int64
	for g := range 4 {
		work.Go(func() {
			for i := 0; i < 2500 || !t.Failed() && (taken.Load() == 0 || rejected.Load() == 0); i++ {
				topic := fmt.Sprintf("fixed/l%d", g)
				_, readings, rejects := d.Decode(Message{Topic: topic, Payload: []byte(`{"t":4}`), Arrived: start})
				if len(readings) != 1 || len(rejects) != 0 {
					t.Errorf("message %d of %d became %v %v", i, g, readings, rejects)
				}
				both := Message{Topic: "coming/l", Payload: []byte(`{"t":4,"u":5}`), Arrived: start}
				_, readings, rejects = d.Decode(both)
				switch {
				case len(readings) == 2 && len(rejects) == 0:
					taken.Add(1)
				case len(readings) == 0 && len(rejects) == 1:
					rejected.Add(1)
				default:
					t.Errorf("became %v %v", readings, rejects)
				}
			}
		})
	}
	work.Add(1)
	var exchanged int
	go func() {
		defer work.Done()
		for ; !done.Load(); exchanged++ {
			for _, some := range [][]Mapping{coming, nil} {
				put, err := d.Remap(OfHouses, some)
				if err != nil {
					t.Error(err)
				}
				put()
				time.Sleep(50 * time.Microsecond)
			}
		}
	}()
	for taken.Load()+rejected.Load() < 10_000 && !t.Failed() {
		time.Sleep(time.Millisecond)
	}
	done.Store(true)
	work.Wait()
	assert.Positive(t, taken.Load())
	assert.Positive(t, rejected.Load())
	assert.Positive(t, exchanged)
	assert.Contains(t, d.Filters(), "fixed/+")
}
