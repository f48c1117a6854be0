// Package mappings keeps the mappings that people make on the pages with the house
// whose messages they read. Every version stays, with who wrote it and when, as of
// a case file; the newest is in force, beside the mappings of the configuration.
package mappings

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
)

// Store keeps a blob under a kind and a key.
type Store interface {
	States(ctx context.Context, kind string) ([]roof.KeptState, error)
	PutState(ctx context.Context, kind, key string, blob []byte) error
}

// Kind is the kind of state that versions are kept as, under CASE/NUMBER.
const Kind = "house_mappings"

// maxBytes bounds the mappings of one house.
const maxBytes = 128 << 10

// Version is one set of mappings of one house.
type Version struct {
	Case   string    `json:"case"`
	Number int       `json:"number"` // counts the versions of one house from 1
	At     time.Time `json:"at"`
	By     string    `json:"by"`
	What   string    `json:"what"` // what was changed, in words
	Text   string    `json:"text"` // as the configuration writes mappings
}

// Book is the mappings in force of every house. It is safe for concurrent use.
type Book struct {
	store   Store
	now     func() time.Time
	inForce func(all []payload.Mapping) error

	changing sync.Mutex // held from the store to what is in force
	mu       sync.RWMutex
	last     map[string]Version
	parsed   map[string][]payload.Mapping
}

// Open reads what is kept; inForce takes over the mappings of all houses together,
// now and after each change. A house whose mappings can no longer be read (kept by
// another version of the program) goes without; the error names it, and the book
// is usable all the same.
func Open(ctx context.Context, store Store, now func() time.Time,
	inForce func([]payload.Mapping) error) (*Book, error) {
	b := &Book{store: store, now: now, inForce: inForce}
	err := b.Again(ctx)
	if b.last == nil {
		return nil, err
	}
	return b, err
}

// Again reads what is kept anew, as after a house came from another store.
func (b *Book) Again(ctx context.Context) error {
	b.changing.Lock()
	defer b.changing.Unlock()
	kept, err := b.store.States(ctx, Kind)
	if err != nil {
		return fmt.Errorf("reading the mappings of houses: %w", err)
	}
	last, parsed := map[string]Version{}, map[string][]payload.Mapping{}
	for _, k := range kept { // by key, so that the newest of each comes last
		var v Version
		if err := json.Unmarshal(k.Blob, &v); err != nil {
			return fmt.Errorf("reading the mappings %s: %w", k.Key, err)
		}
		last[v.Case] = v
	}
	var bad []error
	for id, v := range last {
		all, err := read(id, v.Text)
		if err != nil {
			bad = append(bad, fmt.Errorf("the mappings of house %s are left out: %w", id, err))
			continue
		}
		parsed[id] = all
	}
	b.mu.Lock()
	b.last, b.parsed = last, parsed
	b.mu.Unlock()
	return errors.Join(append(bad, b.inForce(b.All()))...)
}

// read reads the mappings of a house, each of which must be for it.
func read(caseID, text string) ([]payload.Mapping, error) {
	name := caseID + " mappings"
	if len(text) > maxBytes {
		return nil, roof.Faults{{File: name, Line: 1, Key: "mappings", Problem: fmt.Sprintf("are %d bytes", len(text)),
			Remedy: fmt.Sprintf("keep them under %d bytes; put what is the same for many houses into the configuration",
				maxBytes)}}
	}
	all, faults := payload.ReadMappings(name, []byte(text))
	for i, m := range all {
		if m.Case != caseID && m.Form != payload.IgnoreForm {
			faults = append(faults, roof.Fault{File: name, Line: 1, Key: fmt.Sprintf("[%d].case", i),
				Problem: fmt.Sprintf("is %q", m.Case), Remedy: "write case: " + caseID +
					"; a mapping for several houses belongs into the configuration"})
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return all, nil
}

// all are the mappings of every house, by the houses' ids.
func (b *Book) all() []payload.Mapping {
	var out []payload.Mapping
	for _, id := range slices.Sorted(maps.Keys(b.parsed)) {
		out = append(out, b.parsed[id]...)
	}
	return out
}

// Of is the version in force of a house; the zero value where it has none.
func (b *Book) Of(caseID string) (Version, []payload.Mapping) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.last[caseID], slices.Clone(b.parsed[caseID])
}

// All are the mappings in force of every house.
func (b *Book) All() []payload.Mapping {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.all()
}

// Put keeps other mappings of a house and puts them in force at once. before is the
// number of the version that they are to follow; another in the meantime is refused
// with roof.ErrChanged, a faulty text with roof.Faults, and nothing changes.
func (b *Book) Put(ctx context.Context, v Version, before int) error {
	b.changing.Lock()
	defer b.changing.Unlock()
	parsed, err := read(v.Case, v.Text)
	if err != nil {
		return err
	}
	last, was := b.Of(v.Case)
	if last.Number != before {
		return fmt.Errorf("the mappings of %s: %w", v.Case, roof.ErrChanged)
	}
	if strings.TrimSpace(v.Text) == strings.TrimSpace(last.Text) {
		return nil
	}
	v.Number, v.At = last.Number+1, b.now().UTC().Truncate(time.Second)
	b.set(v, parsed)
	err = b.inForce(b.All())
	if err == nil {
		err = b.keep(ctx, v)
	}
	if err != nil {
		b.set(last, was)
		return errors.Join(err, b.inForce(b.All()))
	}
	return nil
}

func (b *Book) keep(ctx context.Context, v Version) error {
	blob, err := json.Marshal(v)
	if err == nil {
		err = b.store.PutState(ctx, Kind, fmt.Sprintf("%s/%08d", v.Case, v.Number), blob)
	}
	if err != nil {
		return fmt.Errorf("keeping the mappings of %s: %w", v.Case, err)
	}
	return nil
}

func (b *Book) set(v Version, parsed []payload.Mapping) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.last[v.Case], b.parsed[v.Case] = v, parsed
}

// History lists the versions of a house's mappings, newest first, at most limit.
func (b *Book) History(ctx context.Context, caseID string, limit int) ([]Version, error) {
	kept, err := b.store.States(ctx, Kind)
	if err != nil {
		return nil, fmt.Errorf("reading the mappings of %s before: %w", caseID, err)
	}
	var out []Version
	for _, k := range slices.Backward(kept) {
		var v Version
		if !strings.HasPrefix(k.Key, caseID+"/") || json.Unmarshal(k.Blob, &v) != nil {
			continue
		}
		if out = append(out, v); len(out) == limit {
			break
		}
	}
	return out, nil
}
