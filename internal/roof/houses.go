package roof

import "time"

// ListedHouse is one house in the list of houses: what it is searched and sorted
// by, and its summary.
type ListedHouse struct {
	Case, Name           string
	Weight               int       // how pressing it is that a person looks, silent loggers aside; 0 not at all
	Need                 HouseNeed // the most pressing of its needs, silent loggers aside; "" none
	WetNights, WetBefore int       // of the last 7 nights, and of the 7 before
	WetMonth             int       // of the last 30
	SeenWeek, SeenMonth  int       // nights observed of the last 7, and of the last 30
	Finding, Verdict     string
	Last                 time.Time // newest reading; zero without one
	Unseen               int       // alerts in force that nobody has seen
	SilentFrom           time.Time // when the next of its loggers counts as silent; zero never
	SilentAll            time.Time // when the last of them does; zero never
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

// The needs that a list can be narrowed to and that are no need of one kind.
const (
	NeedsLook   HouseNeed = "look" // for whatever reason
	NeedsSilent HouseNeed = "silent"
	NeedsAlert  HouseNeed = "alert"    // one in force that nobody has seen
	Sweating    HouseNeed = "sweating" // wet on SweatsFrom or more of its last nights
)

// The needs of one kind. Of several a house is counted under the most pressing one.
const (
	NeedAllSilent  HouseNeed = "all_silent"  // every logger
	NeedSomeSilent HouseNeed = "some_silent" // one logger or more, and not every one
	NeedWorse      HouseNeed = "got_worse"
	NeedNoChange   HouseNeed = "no_change_shown" // and its nights are wet
	NeedRepair     HouseNeed = "cause_named"     // and no repair is on file
	NeedCause      HouseNeed = "wet_untold"      // wet nights, and no cause named
	NeedAlertSeen  HouseNeed = "alert_unseen"
	NeedReadings   HouseNeed = "no_readings"
	NeedBattery    HouseNeed = "battery"
	NeedDoubt      HouseNeed = "doubtful" // figures of a logger that cannot be right
	NeedSurface    HouseNeed = "no_surface"
	NeedNights     HouseNeed = "not_observed"
)

// HouseNeeds are all those of one kind.
func HouseNeeds() []HouseNeed {
	return []HouseNeed{NeedAllSilent, NeedSomeSilent, NeedWorse, NeedNoChange, NeedRepair, NeedCause, NeedAlertSeen,
		NeedReadings, NeedBattery, NeedDoubt, NeedSurface, NeedNights}
}

const (
	// SweatsFrom is how many of its last 7 nights were wet where a house counts as one
	// that sweats.
	SweatsFrom = 3
	// LatelyHeard is how old the newest reading of a house may be if its last nights are
	// to say how it is now: last night and half a day.
	LatelyHeard = 36 * time.Hour
)

// Sweats reports whether a house was wet on SweatsFrom or more of its last nights,
// which were observed lately.
func (h *ListedHouse) Sweats(now time.Time) bool {
	return h.WetNights >= SweatsFrom && h.SeenWeek > 0 && now.Sub(h.Last) <= LatelyHeard
}

// Needs is for what a person should look at a house at a time, the most pressing.
func (h *ListedHouse) Needs(now time.Time) HouseNeed {
	switch {
	case !h.SilentAll.IsZero() && !h.SilentAll.After(now):
		return NeedAllSilent
	case !h.SilentFrom.IsZero() && !h.SilentFrom.After(now):
		return NeedSomeSilent
	}
	return h.Need
}

// Has reports whether a house has a need at a time; every house has "".
func (h *ListedHouse) Has(need HouseNeed, now time.Time) bool {
	most := h.Needs(now)
	switch need {
	case "":
		return true
	case NeedsLook:
		return most != ""
	case NeedsSilent:
		return most == NeedAllSilent || most == NeedSomeSilent
	case NeedsAlert:
		return h.Unseen > 0
	case Sweating:
		return h.Sweats(now)
	}
	return most == need
}

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
