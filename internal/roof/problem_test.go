package roof_test

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/door/http/api"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/reason/alert"
	"dewcase/internal/roof"
)

// The one table of errors, with every sentinel that a door turns into an answer,
// however deep it is wrapped and whatever else is wrapped beside it.
func TestEveryErrorHasOneAnswerAtEveryDoor(t *testing.T) {
	for _, c := range []struct {
		err        error
		problem    roof.Problem
		http, exit int
	}{
		{roof.ErrNotFound, roof.NotFound, http.StatusNotFound, 1},
		{alert.ErrNoAlert, roof.NotFound, http.StatusNotFound, 1},
		{roof.ErrChanged, roof.Changed, http.StatusPreconditionFailed, 1},
		{roof.ErrTaken, roof.Taken, http.StatusPreconditionFailed, 1},
		{timeline.ErrTooLong, roof.Request, http.StatusBadRequest, 2},
		{alert.ErrSnooze, roof.Request, http.StatusBadRequest, 2},
		{api.ErrRequest, roof.Request, http.StatusBadRequest, 2},
		{ingest.ErrUnusable, roof.Unusable, http.StatusUnprocessableEntity, 1},
		{roof.Faults{{File: "a.yaml", Line: 1, Key: "case", Problem: "is missing"}}, roof.Unusable,
			http.StatusUnprocessableEntity, 1},
		{context.DeadlineExceeded, roof.Busy, http.StatusServiceUnavailable, 1},
		{context.Canceled, roof.Busy, http.StatusServiceUnavailable, 1},
		{errors.New("disk on fire"), roof.Internal, http.StatusInternalServerError, 1},
		{nil, roof.Internal, http.StatusInternalServerError, 1},
	} {
		for _, err := range []error{c.err, fmt.Errorf("doing it: %w: %w", errors.New("for a reason"), c.err)} {
			assert.Equal(t, c.problem, roof.ProblemOf(err), c.err)
		}
		assert.Equal(t, c.http, c.problem.HTTPStatus(), c.err)
		assert.Equal(t, c.exit, c.problem.ExitStatus(), c.err)
	}
	assert.Equal(t, http.StatusRequestEntityTooLarge, roof.OverLimit.HTTPStatus())
}
