package roof

import "time"

// ListedHouse is one house in the list of houses: what it is searched and sorted
// by, and its summary.
type ListedHouse struct {
	Case, Name           string
	Weight               int // how pressing it is that a person looks, silent loggers aside; 0 not at all
	WetNights, WetBefore int // of the last 7 nights, and of the 7 before
	Finding, Verdict     string
	Last                 time.Time // newest reading; zero without one
	Unseen               int       // alerts in force that nobody has seen
	SilentFrom           time.Time // when the next of its loggers counts as silent; zero never
	Made                 time.Time // when it was summed up; zero not yet
	Rests                [32]byte  // digest of what the summary rests on
	Data                 []byte    // the summary
}

// HouseOrder is what the list of houses is sorted by.
type HouseOrder string

// The orders, each with what most asks for a look first.
const (
	ByNeed  HouseOrder = "need"
	ByName  HouseOrder = "name"
	ByWet   HouseOrder = "wet"
	ByTrend HouseOrder = "trend" // more wet nights than the week before
	ByHeard HouseOrder = "heard" // longest unheard
)

// HouseNeed is why a house asks for a person.
type HouseNeed string

// The needs that a list can be narrowed to.
const (
	NeedsLook   HouseNeed = "look" // for whatever reason
	NeedsSilent HouseNeed = "silent"
	NeedsAlert  HouseNeed = "alert" // one in force that nobody has seen
)

// HouseQuery asks for a part of the list of houses.
type HouseQuery struct {
	Search        string    // in names and ids; "" all
	Findings      []string  // any of these; none all
	Verdicts      []string  // any of these; none all
	Need          HouseNeed // "" all
	Order         HouseOrder
	Offset, Limit int
	Now           time.Time
}

// HousePage is a part of the list of houses.
type HousePage struct {
	Rows        []ListedHouse
	All         int // houses listed
	Found, Need int // of these what was searched for, and which of them need a look
}

// SilentWeight is how pressing a silent logger is.
const SilentWeight = 40
