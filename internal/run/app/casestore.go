package app

import (
	"context"

	"dewcase/internal/door/store/sqlite"
)

// caseStore makes the store a casebook.Store.
type caseStore struct{ *sqlite.Store }

// WriteCase stores a case file.
func (s caseStore) WriteCase(ctx context.Context, id string, file []byte, by, ifMatch string) (string, bool, error) {
	return s.Store.WriteCase(ctx, sqlite.CasePut{ID: id, File: file, By: by, IfMatch: ifMatch})
}
