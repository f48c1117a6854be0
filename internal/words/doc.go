// Package words turns typed statements, a kind and its figures, into sentences
// for a consultant, a household or a terminal. It is the only room with prose
// about verdicts, causes, hours, alerts and households, so that one meaning
// has one wording wherever it is read.
//
// # What to use
//
// Figures: Hours, Percent, Share, Interval, Signed, Whole, Fixed, Count.
// Times: Date, Day, Duration, Ago. Places: Surface, Position, HomeSurface.
// Sentence turns a clause into a sentence; no regular expression ever edits
// one.
//
// A Text is a sentence whose figures remember where in the assessment they
// stand; its String method returns the sentence.
package words
