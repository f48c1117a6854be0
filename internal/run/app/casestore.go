package app

import (
	"context"

	"dewcase/internal/door/store/sqlite"
)

// shelf adapts the store to casebook.Shelf.
type shelf struct{ *sqlite.Store }

// WriteCase stores a case file.
func (s shelf) WriteCase(ctx context.Context, id string, file []byte, by, ifMatch string) (string, bool, error) {
	return s.Store.WriteCase(ctx, sqlite.CasePut{ID: id, File: file, By: by, IfMatch: ifMatch})
}
