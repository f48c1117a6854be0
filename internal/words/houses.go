package words

import (
	"fmt"
	"time"

	"dewcase/internal/roof"
)

// needs are what a person should look at a house for.
var needs = map[roof.HouseNeed]string{
	roof.NeedAllSilent:  "every logger is silent",
	roof.NeedSomeSilent: "a logger is silent, others are heard",
	roof.NeedWorse:      "the repair made it worse",
	roof.NeedNoChange:   "the repair has shown no change, and nights are wet",
	roof.NeedRepair:     "a cause is named and no repair is on file",
	roof.NeedCause:      "nights are wet, and the cause cannot be told yet",
	roof.NeedAlertSeen:  "an alert is in force that nobody has seen",
	roof.NeedsLook:      "for any reason",
	roof.NeedsSilent:    "a logger is silent",
	roof.NeedsAlert:     "an alert is not seen",
	roof.Sweating:       "wet on 3 or more of the last 7 nights",
	roof.NeedReadings:   "no readings yet",
	roof.NeedBattery:    "a battery is low",
	roof.NeedDoubt:      "the figures of a logger cannot be right",
	roof.NeedSurface:    "no surface is in the case file",
	roof.NeedNights:     "nights of the last week were not observed",
}

// HouseNeed is what a person should look at a house for.
func HouseNeed(k roof.HouseNeed) string { return needs[k] }

// Finding is a finding for a heading over several houses.
func Finding(finding string) string {
	switch finding {
	case "":
		return "not assessed yet"
	case Undetermined:
		return "the cause cannot be told yet"
	}
	return CauseName(finding)
}

// RepairsHold is a verdict for a heading over several houses.
func RepairsHold(verdict string) string {
	if verdict == "" {
		return "none on file, or not assessed yet"
	}
	return VerdictKind(verdict).String()
}

// HousesSweat says how many of the houses that were heard sweat.
func HousesSweat(sweating, heard, all int) string {
	if heard == 0 {
		return "No house was observed in its last 7 nights."
	}
	said := fmt.Sprintf("%d of %s observed %s wet on %d or more of the last 7 nights", sweating, Count(heard, "house"),
		were(sweating), roof.SweatsFrom)
	if sweating == 0 {
		said = fmt.Sprintf("None of %s observed was wet on %d or more of the last 7 nights", Count(heard, "house"),
			roof.SweatsFrom)
	}
	if left := all - heard; left > 0 {
		said += fmt.Sprintf("; %s not observed", Count(left, "house")+" "+were(left))
	}
	return said + "."
}

func were(n int) string {
	if n == 1 {
		return "was"
	}
	return "were"
}

// HousesRepaired says how many repairs hold of those that can be judged.
func HousesRepaired(worked, noChange, worse, tooEarly int) string {
	judged := worked + noChange + worse
	if judged+tooEarly == 0 {
		return "No house has a repair that was assessed."
	}
	said := "No repair can be judged yet"
	if judged > 0 {
		said = fmt.Sprintf("%d of %s that can be judged worked", worked, Count(judged, "repair"))
	}
	if tooEarly > 0 {
		said += fmt.Sprintf("; on %d it is too early to say", tooEarly)
	}
	return said + "."
}

// HousesSilent says in how many houses loggers are silent.
func HousesSilent(all, some int) string {
	if all+some == 0 {
		return "No logger is silent."
	}
	said := fmt.Sprintf("A logger or more is silent in %s", Count(all+some, "house"))
	if all > 0 {
		said += fmt.Sprintf(", and in %d of them every logger", all)
	}
	return said + "."
}

// HouseAway says where a house is kept that moved to another instance.
func HouseAway(house, to string, at time.Time) string {
	return fmt.Sprintf("%s is kept at %s since %s.", house, to, at.UTC().Format("2 January 2006, 15:04 MST"))
}

// HouseArriving says that a house is on its way here from another instance.
func HouseArriving(house, from string, since time.Time) string {
	return fmt.Sprintf("%s is on its way here from %s since %s: its readings are taken here already, and its pages and "+
		"alerts are there until the move is finished.", house, from, since.UTC().Format("2 January 2006, 15:04 MST"))
}

// Counted is what an instance counted of its houses; At is zero where it never
// answered.
type Counted struct {
	Houses, NeedALook, Sweating int
	At                          time.Time
}

// InstancesPooled says over how many of the instances houses are counted.
func InstancesPooled(missing, all int) string {
	if missing == 0 {
		return fmt.Sprintf("Counted over all %s.", Count(all, "instance"))
	}
	return fmt.Sprintf("Counted over %d of %s: more houses are at %s that did not answer.", all-missing,
		Count(all, "instance"), Count(missing, "instance"))
}

// InstanceCounted says what an instance counted and as of when, and why it did not
// answer just now, if it did not.
func InstanceCounted(c Counted, failed string) string {
	if c.At.IsZero() {
		return "Did not answer, and its houses are not counted: " + failed + "."
	}
	said := fmt.Sprintf("%s as of %s: %d need a look, %d sweat.", Count(c.Houses, "house"),
		c.At.UTC().Format("2 January 2006, 15:04 MST"), c.NeedALook, c.Sweating)
	if failed != "" {
		said += " It does not answer now, so these older figures are counted: " + failed + "."
	}
	return said
}
