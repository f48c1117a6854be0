package app

import (
	"context"

	"dewcase/internal/door/store/sqlite"
)

// caseStore adapts the store to casebook.Shelf.
type caseStore struct{ *sqlite.Store }

// WriteCase stores a case file.
func (s caseStore) WriteCase(ctx context.Context, id string, file []byte, by, ifMatch string) (string, bool, error) {
	return s.Store.WriteCase(ctx, sqlite.CasePut{ID: id, File: file, By: by, IfMatch: ifMatch})
}
