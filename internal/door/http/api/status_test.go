package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/roof"
)

func TestEveryKindOfErrorHasItsStatus(t *testing.T) {
	for _, c := range []struct {
		err  error
		want int
	}{
		{&http.MaxBytesError{Limit: 1}, http.StatusRequestEntityTooLarge},
		{roof.Faults{{File: "a.yaml", Line: 1, Key: "case", Problem: "is missing"}}, http.StatusUnprocessableEntity},
		{roof.ErrNotFound, http.StatusNotFound},
		{roof.ErrChanged, http.StatusPreconditionFailed},
		{ErrRequest, http.StatusBadRequest},
		{context.DeadlineExceeded, http.StatusServiceUnavailable},
		{context.Canceled, http.StatusServiceUnavailable},
		{errors.New("disk on fire"), http.StatusInternalServerError},
	} {
		assert.Equal(t, c.want, problemOf(fmt.Errorf("doing it: %w", c.err)).HTTPStatus(), c.err)
	}
}
