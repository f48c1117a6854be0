// Package casebook holds every case as its file says, parsed once and kept in
// step with what is stored, so that each message can ask whether its case and
// logger are known.
package casebook

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/roof"
)

// Shelf keeps the files.
type Shelf interface {
	Cases(ctx context.Context) ([]roof.CaseVersion, error) // without the files
	Case(ctx context.Context, id string) (file []byte, etag string, updated time.Time, err error)
	// WriteCase keeps a file; ifMatch "" does not ask for a version, otherwise
	// another one in force is refused with roof.ErrChanged.
	WriteCase(ctx context.Context, id string, file []byte, by, ifMatch string) (etag string, created bool, err error)
}

// Book is the cases by id. It is safe for concurrent use.
type Book struct {
	shelf   Shelf
	writing sync.Mutex // held from the shelf to by, so that both end with the same file
	mu      sync.RWMutex
	by      map[string]Entry
	told    []func(caseID string)
}

// Entry is one case in force. Case must not be changed.
type Entry struct {
	Case    *roof.Case
	ETag    string
	Updated time.Time
	known   map[string]bool
}

// Open reads every case. A file that no longer parses (one kept by an older
// version) is left out and named in the error; the book is usable all the same.
func Open(ctx context.Context, shelf Shelf) (*Book, error) {
	b := &Book{shelf: shelf, by: map[string]Entry{}}
	versions, err := shelf.Cases(ctx)
	if err != nil {
		return nil, fmt.Errorf("listing the cases: %w", err)
	}
	var bad []error
	for _, v := range versions {
		file, etag, updated, err := shelf.Case(ctx, v.Case)
		if err != nil {
			return nil, fmt.Errorf("reading case %s: %w", v.Case, err)
		}
		c, faults := casefile.Parse(v.Case+".yaml", file)
		if len(faults) > 0 {
			bad = append(bad, fmt.Errorf("case %s is left out: %w", v.Case, faults))
			continue
		}
		b.by[v.Case] = entry(c, etag, updated)
	}
	return b, errors.Join(bad...)
}

func entry(c *roof.Case, etag string, updated time.Time) Entry {
	known := map[string]bool{}
	for _, l := range c.Loggers {
		known[l.ID] = true
	}
	return Entry{Case: c, ETag: etag, Updated: updated, known: known}
}

// OnChange asks to be told of every case that was created or changed.
func (b *Book) OnChange(tell func(caseID string)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.told = append(b.told, tell)
}

// Get is a case in force; an error wraps roof.ErrNotFound.
func (b *Book) Get(id string) (Entry, error) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	e, ok := b.by[id]
	if !ok {
		return Entry{}, fmt.Errorf("case %q: %w", id, roof.ErrNotFound)
	}
	return e, nil
}

// All lists the cases by id.
func (b *Book) All() []Entry {
	b.mu.RLock()
	defer b.mu.RUnlock()
	out := make([]Entry, 0, len(b.by))
	for _, e := range b.by {
		out = append(out, e)
	}
	slices.SortFunc(out, func(x, y Entry) int { return strings.Compare(x.Case.ID, y.Case.ID) })
	return out
}

// Known reports whether there is such a case.
func (b *Book) Known(id string) bool {
	b.mu.RLock()
	defer b.mu.RUnlock()
	_, ok := b.by[id]
	return ok
}

// Fitted reports whether the case file names the logger.
func (b *Book) Fitted(id, logger string) bool {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.by[id].known[logger]
}

// File is a case file as it was written, with its entity tag.
func (b *Book) File(ctx context.Context, id string) ([]byte, string, error) {
	file, etag, _, err := b.shelf.Case(ctx, id)
	if err != nil {
		return nil, "", fmt.Errorf("case %q: %w", id, err)
	}
	return file, etag, nil
}

// Put checks and keeps a case file under its id. A faulty file is refused with
// roof.Faults, one that another change overtook with roof.ErrChanged. ifMatch
// is an If-Match header: entity tags, or * for any.
func (b *Book) Put(ctx context.Context, id string, file []byte, ifMatch, by string) (created bool, etag string,
	err error) {
	name := id + ".yaml"
	c, faults := casefile.Parse(name, file)
	if len(faults) > 0 {
		return false, "", faults
	}
	if c.ID != id {
		return false, "", roof.Faults{{File: name, Line: 1, Key: "case",
			Problem: fmt.Sprintf("is %q, but the file was sent for %q", c.ID, id),
			Remedy:  "send it to its own address or correct the id"}}
	}
	created, etag, told, err := b.keep(ctx, c, file, ifMatch, by)
	if err != nil {
		return false, "", err
	}
	for _, tell := range told {
		tell(id)
	}
	return created, etag, nil
}

// keep writes a checked case to the shelf and puts it in force.
func (b *Book) keep(ctx context.Context, c *roof.Case, file []byte, ifMatch, by string) (created bool, etag string,
	told []func(caseID string), err error) {
	b.writing.Lock()
	defer b.writing.Unlock()
	match, err := b.match(c.ID, ifMatch)
	if err != nil {
		return false, "", nil, err
	}
	etag, created, err = b.shelf.WriteCase(ctx, c.ID, file, by, match)
	if err != nil {
		return false, "", nil, err
	}
	_, _, updated, err := b.shelf.Case(ctx, c.ID)
	if err != nil {
		return false, "", nil, fmt.Errorf("reading case %s back: %w", c.ID, err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.by[c.ID] = entry(c, etag, updated)
	return created, etag, slices.Clone(b.told), nil
}

// match picks from an If-Match header the tag to write over.
func (b *Book) match(id, header string) (string, error) {
	if header == "" {
		return "", nil
	}
	e, err := b.Get(id)
	for _, tag := range strings.Split(header, ",") {
		tag = strings.Trim(strings.TrimPrefix(strings.TrimSpace(tag), "W/"), `"`)
		if err == nil && (tag == "*" || tag == e.ETag) {
			return e.ETag, nil
		}
	}
	return "", fmt.Errorf("case %q: %w", id, roof.ErrChanged)
}
