package app

import (
	"context"

	"dewcase/internal/door/store/sqlite"
)

// shelf shows the store as the case book's shelf.
type shelf struct{ *sqlite.Store }

// WriteCase keeps a case file.
func (s shelf) WriteCase(ctx context.Context, id string, file []byte, by, ifMatch string) (string, bool, error) {
	return s.Store.WriteCase(ctx, sqlite.CasePut{ID: id, File: file, By: by, IfMatch: ifMatch})
}
