package roof

import (
	"context"
	"errors"
)

// Problem is the kind of thing that went wrong: the one table from an error to
// what HTTP answers, what a page says and how a command ends.
type Problem int

// The problems, from what nobody outside can mend to what the asker can.
const (
	Internal  Problem = iota // the daemon's own: its log says why
	Busy                     // took too long, or whoever asked has left
	NotFound                 // what was asked for is not kept
	Changed                  // somebody else was faster
	Taken                    // what was to be created is there already
	Request                  // asked for in a way that cannot be answered
	Unusable                 // what was sent cannot be used
	OverLimit                // what was sent is over the limit
)

// problems is the table.
var problems = [...]struct{ http, exit int }{
	Internal: {500, 1}, Busy: {503, 1}, NotFound: {404, 1}, Changed: {412, 1}, Taken: {412, 1}, Request: {400, 2},
	Unusable: {422, 1}, OverLimit: {413, 1},
}

// HTTPStatus is what HTTP answers.
func (p Problem) HTTPStatus() int { return problems[p].http }

// ExitStatus is how a command ends: 2 where it was asked for wrongly.
func (p Problem) ExitStatus() int { return problems[p].exit }

// problemError is a sentinel that knows its problem.
type problemError struct {
	problem Problem
	text    string
}

func (e *problemError) Error() string { return e.text }

// NewError makes an error to wrap, of a kind of problem.
func NewError(p Problem, text string) error { return &problemError{p, text} }

// ProblemOf finds the kind of problem that an error is.
func ProblemOf(err error) Problem {
	var known *problemError
	var faults Faults
	switch {
	case errors.As(err, &known):
		return known.problem
	case errors.As(err, &faults):
		return Unusable
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		return Busy
	}
	return Internal
}
