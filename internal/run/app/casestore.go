package app

import (
	"context"
	"fmt"
	"slices"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/roof"
)

// caseStore makes the store a casebook.Store of the cases that this instance
// serves. One that it no longer serves stays in the store, and rests.
type caseStore struct {
	*sqlite.Store
	where *whereabouts // nil: all are served
}

func (s caseStore) serves(id string) bool { return s.where == nil || s.where.keeps(id) }

// Cases lists the cases that this instance serves.
func (s caseStore) Cases(ctx context.Context) ([]roof.CaseVersion, error) {
	all, err := s.Store.Cases(ctx)
	return slices.DeleteFunc(all, func(v roof.CaseVersion) bool { return !s.serves(v.Case) }), err
}

var errAnother = roof.NewError(roof.Request,
	"is not served by this instance, by the key cases of its configuration; write it to the one that does")

// WriteCase stores a case file.
func (s caseStore) WriteCase(ctx context.Context, id string, file []byte, by, ifMatch string) (string, bool, error) {
	if !s.serves(id) {
		return "", false, fmt.Errorf("case %q %w", id, errAnother)
	}
	return s.Store.WriteCase(ctx, sqlite.CasePut{ID: id, File: file, By: by, IfMatch: ifMatch})
}
