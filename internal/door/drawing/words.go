// Package drawing turns a case's record and answers into the view models of
// its pictures: the winter sheet, the margin chart, the positions, and the
// roof without its repair. It takes a timeline and an assessment and returns
// models for package picture, which does the drawing.
package drawing

import (
	"slices"
	"sort"

	"dewcase/internal/door/picture"
	"dewcase/internal/roof"
)

// placeRank orders positions from indoors to outdoors.
var placeRank = map[roof.Place]int{
	roof.IndoorAir: 0, roof.LoftAir: 1, roof.Timber: 2, roof.UnderlayUnderside: 3,
	roof.BattenVoidAir: 4, roof.CoveringUnderside: 5, roof.OutdoorAir: 6, roof.Other: 7,
}

// Rank is a place's order from indoors to outdoors.
func Rank(p roof.Place) int { return placeRank[p] }

// FromIndoors are the case's positions from indoors to outdoors.
func FromIndoors(c *roof.Case) []roof.Position {
	out := slices.Clone(c.Positions)
	slices.SortStableFunc(out, func(a, b roof.Position) int { return Rank(a.Place) - Rank(b.Place) })
	return out
}

// Events are the case's events in time order, as pictures show them.
func Events(c *roof.Case) []picture.Event {
	out := make([]picture.Event, 0, len(c.Events))
	for _, e := range c.Events {
		out = append(out, picture.Event{At: e.At, Kind: string(e.Kind), What: e.What})
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].At.Before(out[j].At) })
	return out
}
