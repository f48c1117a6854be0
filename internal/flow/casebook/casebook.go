// Package casebook holds every stored case, parsed once and kept in step with
// the store, so that each incoming message can be matched to its case and
// logger.
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

// Store keeps the files.
type Store interface {
	Cases(ctx context.Context) ([]roof.CaseVersion, error) // without the files
	Case(ctx context.Context, id string) (file []byte, etag string, updated time.Time, err error)
	// WriteCase keeps a file; ifMatch "" does not ask for a version, otherwise
	// another one in force is refused with roof.ErrChanged.
	WriteCase(ctx context.Context, id string, file []byte, by, ifMatch string) (etag string, created bool, err error)
	CaseHistory(ctx context.Context, id string, limit, before int) ([]roof.CaseVersion, error)
	CaseVersion(ctx context.Context, id, version string) (roof.CaseVersion, error)
}

// Cases are the cases as the doors ask for them; a Book is.
type Cases interface {
	// All lists the cases in force by id.
	All() []*roof.Case
	// Case is one of them; an error wraps roof.ErrNotFound.
	Case(ctx context.Context, id string) (*roof.Case, error)
	// File is a case file as it was written, with its entity tag.
	File(ctx context.Context, id string) (file []byte, etag string, err error)
	// Put checks and keeps a case file under its id, if the conditions hold. A
	// faulty file is refused with roof.Faults, one that another change overtook
	// with roof.ErrChanged, one that is there and must not be with roof.ErrTaken.
	Put(ctx context.Context, id string, file []byte, when If, by string) (created bool, etag string, err error)
	// Create keeps a new case under the id that its file names.
	Create(ctx context.Context, file []byte, by string) (id string, err error)
	// History lists the versions of a case file without the files, newest first,
	// at most limit, older than the number before (0 for the newest).
	History(ctx context.Context, id string, limit, before int) ([]roof.CaseVersion, error)
	// Version is one of them by its number or entity tag.
	Version(ctx context.Context, id, version string) (roof.CaseVersion, error)
}

// If are conditions on what is in force, as HTTP's headers give them: entity tags,
// or * for any; "" sets none.
type If struct{ Match, NoneMatch string }

// Book is the cases by id. It is safe for concurrent use.
type Book struct {
	store   Store
	writing sync.Mutex // held from the store to by, so that both end with the same file
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
func Open(ctx context.Context, store Store) (*Book, error) {
	b := &Book{store: store, by: map[string]Entry{}}
	versions, err := store.Cases(ctx)
	if err != nil {
		return nil, fmt.Errorf("listing the cases: %w", err)
	}
	var bad []error
	for _, v := range versions {
		file, etag, updated, err := store.Case(ctx, v.Case)
		if err != nil {
			return nil, fmt.Errorf("reading case %s: %w", v.Case, err)
		}
		c, faults := casefile.ParseKept(v.Case+".yaml", file)
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

// Case is a case in force as its file says; an error wraps roof.ErrNotFound.
func (b *Book) Case(_ context.Context, id string) (*roof.Case, error) {
	e, err := b.Get(id)
	return e.Case, err
}

// All lists the cases by id.
func (b *Book) All() []*roof.Case {
	b.mu.RLock()
	defer b.mu.RUnlock()
	out := make([]*roof.Case, 0, len(b.by))
	for _, e := range b.by {
		out = append(out, e.Case)
	}
	slices.SortFunc(out, func(x, y *roof.Case) int { return strings.Compare(x.ID, y.ID) })
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
	file, etag, _, err := b.store.Case(ctx, id)
	if err != nil {
		return nil, "", fmt.Errorf("case %q: %w", id, err)
	}
	return file, etag, nil
}

// History lists the versions of a case file, newest first.
func (b *Book) History(ctx context.Context, id string, limit, before int) ([]roof.CaseVersion, error) {
	return b.store.CaseHistory(ctx, id, limit, before)
}

// Version is one version of a case file.
func (b *Book) Version(ctx context.Context, id, version string) (roof.CaseVersion, error) {
	return b.store.CaseVersion(ctx, id, version)
}

// Create keeps a new case under the id that its file names.
func (b *Book) Create(ctx context.Context, file []byte, by string) (id string, err error) {
	c, faults := casefile.Parse("case file", file)
	if len(faults) > 0 {
		return "", faults
	}
	_, _, err = b.put(ctx, c, file, If{NoneMatch: "*"}, by)
	return c.ID, err
}

// Put checks and keeps a case file under its id.
func (b *Book) Put(ctx context.Context, id string, file []byte, when If, by string) (created bool, etag string,
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
	return b.put(ctx, c, file, when, by)
}

func (b *Book) put(ctx context.Context, c *roof.Case, file []byte, when If, by string) (created bool, etag string,
	err error) {
	created, etag, told, err := b.keep(ctx, c, file, when, by)
	if err != nil {
		return false, "", err
	}
	for _, tell := range told {
		tell(c.ID)
	}
	return created, etag, nil
}

// keep writes a checked case to the store and puts it in force.
func (b *Book) keep(ctx context.Context, c *roof.Case, file []byte, when If, by string) (created bool, etag string,
	told []func(caseID string), err error) {
	b.writing.Lock()
	defer b.writing.Unlock()
	match, err := b.match(c.ID, when)
	if err != nil {
		return false, "", nil, err
	}
	etag, created, err = b.store.WriteCase(ctx, c.ID, file, by, match)
	if err != nil {
		return false, "", nil, err
	}
	_, _, updated, err := b.store.Case(ctx, c.ID)
	if err != nil {
		return false, "", nil, fmt.Errorf("reading case %s back: %w", c.ID, err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.by[c.ID] = entry(c, etag, updated)
	return created, etag, slices.Clone(b.told), nil
}

// Enter puts a case in force that is in the store and was not in force here.
func (b *Book) Enter(ctx context.Context, id string) error {
	b.writing.Lock()
	file, etag, updated, err := b.store.Case(ctx, id)
	if err != nil {
		b.writing.Unlock()
		return fmt.Errorf("case %q: %w", id, err)
	}
	c, faults := casefile.ParseKept(id+".yaml", file)
	if len(faults) > 0 {
		b.writing.Unlock()
		return faults
	}
	b.mu.Lock()
	b.by[id] = entry(c, etag, updated)
	told := slices.Clone(b.told)
	b.mu.Unlock()
	b.writing.Unlock()
	for _, tell := range told {
		tell(id)
	}
	return nil
}

// Leave takes a case out of force here; the store keeps it.
func (b *Book) Leave(id string) {
	b.writing.Lock()
	b.mu.Lock()
	delete(b.by, id)
	told := slices.Clone(b.told)
	b.mu.Unlock()
	b.writing.Unlock()
	for _, tell := range told {
		tell(id)
	}
}

// match holds the conditions against what is in force and picks the tag to write
// over.
func (b *Book) match(id string, when If) (string, error) {
	e, err := b.Get(id)
	if there := err == nil; there && tagged(when.NoneMatch, e.ETag) {
		return "", fmt.Errorf("case %s %w", id, roof.ErrTaken)
	} else if when.Match == "" {
		return "", nil
	} else if there && tagged(when.Match, e.ETag) {
		return e.ETag, nil
	}
	return "", fmt.Errorf("case %q: %w", id, roof.ErrChanged)
}

// tagged reports whether a header names an entity tag.
func tagged(header, etag string) bool {
	return slices.ContainsFunc(strings.Split(header, ","), func(tag string) bool {
		tag = strings.Trim(strings.TrimPrefix(strings.TrimSpace(tag), "W/"), `"`)
		return tag == "*" || tag == etag
	})
}
