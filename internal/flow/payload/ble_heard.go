package payload

import (
	"hash/maphash"
	"time"

	"dewcase/internal/roof"
)

// How long the same frame is the same measurement. A node says a measurement over and
// over until the next, and each gateway in reach passes it on, within seconds. The
// frame holds a count of measurements: one of 8 bits in BTHome (a packet id), of 16
// bits in RAWv2, so that the same bytes again later can be another measurement, with
// the same values to the last digit.
const (
	heardBTHome = time.Minute
	heardRAWv2  = 5 * time.Minute
	maxHeard    = 20_000
)

// heardFrame is a frame of one logger, by its bytes.
type heardFrame struct {
	caseID, logger string
	digest         uint64
}

var heardSeed = maphash.MakeSeed()

// sameFrame dates the readings of a frame that counts its measurements, and that has no
// time, by the first arrival of the same bytes: what two gateways heard is then one
// reading, which the store keeps once. A frame that differs in one bit is another.
func (d *Decoder) sameFrame(m *decoding, readings []roof.Reading, frame value, bytes []byte, form Form) {
	within := heardBTHome
	_, counted := frame.get("packet")
	if form == RAWv2Form {
		_, counted = frame.get("measurement")
		within = heardRAWv2
	}
	if !counted {
		return
	}
	digest := maphash.Bytes(heardSeed, bytes)
	d.mu.Lock()
	defer d.mu.Unlock()
	for i := range readings {
		if r := &readings[i]; r.Flags&roof.FlagArrivalTime != 0 {
			r.At = d.firstHeard(heardFrame{m.caseID, r.Logger, digest}, m.Arrived, within)
		}
	}
}

// firstHeard is when a frame was heard first; this arrival where that is too long ago.
func (d *Decoder) firstHeard(f heardFrame, arrived time.Time, within time.Duration) time.Time {
	if at, ok := d.heard[f]; ok && arrived.Sub(at).Abs() <= within {
		return at
	}
	if d.heard == nil || len(d.heard) >= maxHeard { // forgetting costs a repeat, and no value
		d.heard = map[heardFrame]time.Time{}
	}
	d.heard[f] = arrived
	return arrived
}
