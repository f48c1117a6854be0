// Package words makes sentences. A typed statement enters, kind and figures; a
// sentence leaves, for a consultant, a household or a terminal. It is the only
// room with prose about verdict, cause, hours, alerts and household, so that one
// meaning has one wording wherever it is read.
//
// # What to use
//
// Figures: Hours, Percent, Share, Interval, Signed, Whole, Fixed, Count. Times:
// Date, Day, Duration, Ago. Places: Surface, Position, HomeSurface. A clause
// becomes a sentence by Sentence; no regular expression ever mends one.
//
// A Text is a sentence whose figures remember where in the assessment they stand;
// its String is the sentence.
package words
