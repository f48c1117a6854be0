package roof

import (
	"context"
	"errors"
	"iter"
	"time"
)

// Quantity names one measured thing; it is also the column and JSON name.
type Quantity uint8

// The quantities a reading can carry, in column order.
const (
	TempC Quantity = iota
	RHPct
	BatteryPct
	RainMM
	WoodPct
	WindMS
	SunWM2
	quantities
)

// QuantityCount is how many quantities there are.
const QuantityCount = int(quantities)

// A set of quantities is a byte, in memory and in the stores; this does not
// compile with more than it holds.
const _ uint8 = 1 << (quantities - 1)

var quantityNames = [QuantityCount]string{"temp_c", "rh_pct", "battery_pct", "rain_mm", "wood_pct", "wind_ms",
	"sun_w_m2"}

// String is the quantity's name on the wire.
func (q Quantity) String() string { return quantityNames[q] }

// ParseQuantity finds a quantity by its wire name.
func ParseQuantity(name string) (Quantity, bool) {
	for i, n := range quantityNames {
		if n == name {
			return Quantity(i), true
		}
	}
	return 0, false
}

// Values are the measured quantities of a reading; what was not measured is
// absent, not zero.
type Values struct {
	has uint8
	v   [QuantityCount]float64
}

// Set stores a measured value as received.
func (v *Values) Set(q Quantity, x float64) { v.has |= 1 << q; v.v[q] = x }

// Get returns a value and whether it was measured.
func (v Values) Get(q Quantity) (float64, bool) { return v.v[q], v.has&(1<<q) != 0 }

// Has reports whether the quantity was measured.
func (v Values) Has(q Quantity) bool { return v.has&(1<<q) != 0 }

// Without returns the values but for one quantity.
func (v Values) Without(q Quantity) Values {
	v.has &^= 1 << q
	v.v[q] = 0
	return v
}

// OfAir reports whether temperature or humidity was measured: what hours, nights
// and causes rest on.
func (v Values) OfAir() bool { return v.Has(TempC) || v.Has(RHPct) }

// Measured reports whether anything was measured but the logger's own battery;
// nothing else makes a reading.
func (v Values) Measured() bool { return !v.Without(BatteryPct).Empty() }

// Empty reports that nothing was measured.
func (v Values) Empty() bool { return v.has == 0 }

// Flags say what is doubtful about a stored reading; they never delete it.
type Flags uint32

// The flags. Only the excluding ones keep a reading out of hours (design).
const (
	FlagArrivalTime   Flags = 1 << iota // no time of its own, arrival time used
	FlagClockWrong                      // its clock cannot be right (excludes)
	FlagFutureTime                      // dated after it arrived, within the day allowed
	FlagBeforeFitting                   // older than the logger's first fitting (excludes)
	FlagMakerRange                      // beyond the maker's range
	FlagJump                            // steps further than air can
	FlagFlatLine                        // the probe stood still for 8 h while neighbours moved (excludes)
	FlagSaturated                       // at 100 %RH, the sensor's limit
	FlagOverRange                       // 100..105 %RH as received, used as 100
	_                                   // never set; stored flags keep their bits
	FlagRetained                        // came as a retained message with its own time
	_                                   // never set: a reading belongs to the position of its fitting
	FlagTempAlive                       // with FlagFlatLine: the humidity stood still, the temperature did not and counts
)

// Excluding are the flags that say a value cannot be what it claims.
const Excluding = FlagClockWrong | FlagBeforeFitting | FlagFlatLine

// Doubtful are the flags that speak against a logger when many of its readings bear
// them.
const Doubtful = FlagFlatLine | FlagJump | FlagMakerRange

var flagNames = []string{"arrival_time", "clock_wrong", "future_time", "before_fitting", "maker_range", "jump",
	"flat_line", "saturated", "over_range", "", "retained", "", "temperature_alive"}

// Names lists the flags that are set, in plain lower-case words.
func (f Flags) Names() []string {
	var out []string
	for i, n := range flagNames {
		if n != "" && f&(1<<i) != 0 {
			out = append(out, n)
		}
	}
	return out
}

// Reading is what one logger measured at one time, raw as received.
type Reading struct {
	Logger  string
	At      time.Time // measured, UTC, whole milliseconds
	Arrived time.Time // when it reached us, UTC
	Values  Values
	Flags   Flags // set on arrival; flags that need the history are derived on reading
}

// Reason says why something could not be used; it is the metric's label.
type Reason string

// The reasons for rejection.
const (
	NotFinite      Reason = "not_finite"
	TempOutOfRange Reason = "temp_out_of_range"
	RHOutOfRange   Reason = "rh_out_of_range"
	NoQuantity     Reason = "no_quantity"
	TimeTooOld     Reason = "time_too_old"
	TimeAhead      Reason = "time_ahead"
	BadTime        Reason = "bad_time"
	BadValue       Reason = "bad_value"
	BadPayload     Reason = "bad_payload"
	TooLarge       Reason = "too_large"
	BadTopic       Reason = "bad_topic"
	UnknownCase    Reason = "unknown_case"
	TooManyLoggers Reason = "too_many_loggers"
	RetainedNoTime Reason = "retained_without_time"
	Unpaired       Reason = "unpaired"
	BadLogger      Reason = "bad_logger"
	BadRow         Reason = "bad_row"
	Unsupported    Reason = "unsupported_format"
	Forbidden      Reason = "forbidden"
)

// Reasons lists every reason, in a fixed order.
func Reasons() []Reason {
	return []Reason{NotFinite, TempOutOfRange, RHOutOfRange, NoQuantity, TimeTooOld, TimeAhead, BadTime,
		BadValue,
		BadPayload, TooLarge, BadTopic, UnknownCase, TooManyLoggers, RetainedNoTime, Unpaired, BadLogger, BadRow, Unsupported,
		Forbidden}
}

// RejectPayloadBytes is how much of what came the log of rejects keeps.
const RejectPayloadBytes = 4 << 10

// Reject is something that could not be used, kept with its reason.
type Reject struct {
	At      time.Time // when it arrived
	Case    string    // as far as known
	Logger  string
	Source  string // topic or file name
	Line    int    // of a file; 0 otherwise
	Reason  Reason
	Detail  string // plain words: what was wrong and what would be right
	Payload []byte // what came, cut short by the log's limit
	// Retained says of a message that it was a retained one: nobody knows how old
	// it is unless it has a time of its own.
	Retained bool
}

// Outcome is what became of one appended reading.
type Outcome uint8

// The outcomes of an append.
const (
	Stored    Outcome = iota // a new record
	Merged                   // added quantities to the record of that logger and time
	Duplicate                // said nothing new, dropped
	Conflict                 // other values for that logger and time; kept aside
)

// LoggerSpan summarises what a store holds of one logger.
type LoggerSpan struct {
	Logger      string
	Count       int64
	First, Last time.Time
}

// Conflicting is a reading kept aside because another came first.
type Conflicting struct {
	Reading Reading
	Kept    Values
}

// ErrDamaged is wrapped when a store finds that its own record was altered.
var ErrDamaged = errors.New("the store is damaged")

// ReadingStore keeps the raw record of every case. All methods are safe for
// concurrent use. Times are UTC milliseconds; spans are [from, until), and a
// zero bound is open.
type ReadingStore interface {
	// Append makes the readings durable before it returns and says what became
	// of each; an error means that none of them may be acknowledged (some may
	// be stored: a repeat is harmless).
	Append(ctx context.Context, caseID string, readings []Reading) ([]Outcome, error)
	// Range yields one logger's readings in time order.
	Range(ctx context.Context, caseID, logger string, from, until time.Time) iter.Seq2[Reading, error]
	// Spans summarises the loggers heard in the case, by name.
	Spans(ctx context.Context, caseID string) ([]LoggerSpan, error)
	// Conflicts lists what was kept aside, newest first, at most limit.
	Conflicts(ctx context.Context, caseID string, limit int) ([]Conflicting, error)
}
