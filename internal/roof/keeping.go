package roof

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// ErrNotFound is wrapped when what was asked for is not kept.
var ErrNotFound = NewError(NotFound, "not found")

// ErrChanged is wrapped when something was changed by someone else since it
// was read, so that writing it would lose their change.
var ErrChanged = NewError(Changed, "changed by someone else in the meantime")

// ErrTaken is wrapped when something was to be created that is there already.
var ErrTaken = NewError(Taken, "is there already")

// MaxCaseFileBytes is the largest case file that is taken (contract, section 5).
const MaxCaseFileBytes = 1 << 20

// CaseVersion is one kept version of a case file: who changed what, and when.
type CaseVersion struct {
	Case    string
	Number  int    // counts the versions of one case from 1; 0 where it was not asked for
	ETag    string // digest of the file; "" says that the case was removed
	Updated time.Time
	By      string // who wrote it, as far as known
	Size    int    // bytes of the file; 0 where it was not asked for
	File    []byte // nil in listings
}

// Incident is a doubt about the store itself, such as an older copy put in its
// place. It stands until a person confirms that it is known.
type Incident struct {
	At        time.Time `json:"at"` // when it was noticed
	What      string    `json:"what"`
	By        string    `json:"by,omitempty"` // who confirmed it
	Confirmed time.Time `json:"confirmed,omitzero"`
}

// Open reports whether nobody has confirmed the incident yet.
func (i Incident) Open() bool { return i.Confirmed.IsZero() }

// KeptReject is a reject as the log keeps it.
type KeptReject struct {
	ID int64 // rising in the order of arrival
	Reject
}

// HeardName is a case or logger that was heard but is not known.
type HeardName struct {
	Case, Logger string
	Count        int64
	First, Last  time.Time
}

// Meet says what becomes of a reading that meets the kept record of its logger
// and time: a duplicate where it says nothing that the record or one kept
// aside does not say, a conflict where it gives a present quantity another
// value, and otherwise merged, with the record that results. The kept record's
// arrival stands; flags add up.
func Meet(kept Reading, aside []Values, late Reading) (Outcome, Reading) {
	news, clash := false, false
	for q := range Quantity(QuantityCount) {
		x, ok := late.Values.Get(q)
		if !ok {
			continue
		}
		k, had := kept.Values.Get(q)
		switch {
		case !had:
			news = true
		case k != x:
			clash = true
		}
	}
	switch {
	case clash:
		for _, a := range aside {
			if a.Says(late.Values) {
				return Duplicate, kept
			}
		}
		return Conflict, kept
	case !news:
		return Duplicate, kept
	}
	for q := range Quantity(QuantityCount) {
		if x, ok := late.Values.Get(q); ok && !kept.Values.Has(q) {
			kept.Values.Set(q, x)
		}
	}
	kept.Flags |= late.Flags
	return Merged, kept
}

// Says reports whether v holds every value of w.
func (v Values) Says(w Values) bool {
	for q := range Quantity(QuantityCount) {
		if x, ok := w.Get(q); ok {
			if k, had := v.Get(q); !had || k != x {
				return false
			}
		}
	}
	return true
}

// The bounds of a time that a store keeps: years 1..9999, so that every such
// time can be written in RFC 3339.
var (
	earliest = time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC)
	latest   = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC)
)

// Storable says why a store cannot keep a reading; nil if it can. Quality is
// judged before, on arrival: this only guards the record itself.
func (r Reading) Storable() error {
	switch {
	case r.Logger == "":
		return errors.New("a reading without a logger's name")
	case len(r.Logger) > 255:
		return fmt.Errorf("a logger's name of %d bytes; at most 255", len(r.Logger))
	case r.At.Before(earliest) || !r.At.Before(latest):
		return fmt.Errorf("logger %s: the time is outside the years 1 to 9999", r.Logger)
	case r.Values.Empty():
		return fmt.Errorf("logger %s: a reading without any quantity", r.Logger)
	}
	for q := range Quantity(QuantityCount) {
		if x, ok := r.Values.Get(q); ok && (math.IsNaN(x) || math.IsInf(x, 0)) {
			return fmt.Errorf("logger %s: %s is not a finite number", r.Logger, q)
		}
	}
	return nil
}

// KeptState is one kept blob of the daemon's own state.
type KeptState struct {
	Key  string
	At   time.Time
	Blob []byte
}

// ErrElsewhere is wrapped when readings asked for lie in another engine alone.
var ErrElsewhere = errors.New("these readings are kept in the other store")

// Outgoing is a stored reading on its way to another engine.
type Outgoing struct {
	Case    string
	Reading Reading
	Aside   int64 // 0 for the record; else the number of the one kept aside
}

// KeptDay is one logger's UTC day as a store knows it.
type KeptDay struct {
	Case, Logger string
	Day          time.Time // its first moment
	Count        int64
}

// DaySum says what a store holds of one logger's UTC day: equal sums are equal
// readings.
type DaySum struct {
	Logger string
	Day    int64 // since 1970-01-01
	Count  int64
	Sum    [32]byte
}

// Derived is a value that was worked out from the record and is kept for the
// next time. It is no evidence: it can be dropped at any time.
type Derived struct {
	AtMS  int64    // of what: the start of a stretch in Unix ms, 0 where there is one a case
	Rests [32]byte // digest of everything that it rests on
	Made  time.Time
	Data  []byte
}

// The kinds of state, each under a house's id, that say that another instance keeps
// it or is about to. Its days are not given to another engine any more: that
// instance writes the same points there, dated by its own arrivals.
const (
	StateAway    = "house_away"
	StateLeaving = "house_leaving" // for a day at most
)

// HouseState is a blob of the daemon's own state that belongs to one house.
type HouseState struct {
	Kind string `json:"kind"`
	Key  string `json:"key"`
	Blob []byte `json:"blob"`
}
