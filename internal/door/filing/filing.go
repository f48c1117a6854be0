// Package filing keeps what belongs to imported files beside the store: the
// originals under their digests, within a bound; the recipes; and files that
// were uploaded and that nobody has confirmed yet.
package filing

import (
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"github.com/klauspost/compress/gzip"

	"dewcase/internal/flow/exports"
	"dewcase/internal/roof"
)

// State keeps small blobs durably, in the store.
type State interface {
	PutState(ctx context.Context, kind, key string, blob []byte) error
	States(ctx context.Context, kind string) ([]roof.KeptState, error)
}

// The kinds of state.
const (
	recipeKind = "recipe"
	// OriginalKind is that of entries of imported files, under CASE/SHA256.
	OriginalKind = "original"
)

// The bounds of the folder.
const (
	maxOriginals = 1 << 30        // bytes of originals, packed; the oldest give way
	maxAside     = 64             // files that were uploaded and not confirmed
	asideFor     = 24 * time.Hour // how long one waits
)

// Cabinet is the folder of one installation. It is safe for concurrent use.
type Cabinet struct {
	dir   string
	state State
	now   func() time.Time
	max   int64 // bytes of originals
	mu    sync.Mutex
}

// New gives the cabinet in a data folder; it makes folders when it needs them.
func New(data string, state State, now func() time.Time) *Cabinet {
	return &Cabinet{dir: filepath.Join(data, "files"), state: state, now: now, max: maxOriginals}
}

// Recipes lists the kept recipes by name.
func (c *Cabinet) Recipes(ctx context.Context) ([]exports.Recipe, error) {
	kept, err := c.state.States(ctx, recipeKind)
	if err != nil {
		return nil, err
	}
	var out []exports.Recipe
	for _, k := range kept {
		r, err := exports.ReadRecipe("recipe "+k.Key, k.Blob)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// KeepRecipe keeps a recipe in place of the one of its name.
func (c *Cabinet) KeepRecipe(ctx context.Context, r exports.Recipe) error {
	return c.state.PutState(ctx, recipeKind, r.Name, exports.WriteRecipe(r))
}

// Lay lays an uploaded file aside under an id that cannot be guessed.
func (c *Cabinet) Lay(caseID, name string, body io.Reader) (id string, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if err := c.sweep(); err != nil {
		return "", err
	}
	id = rand.Text()
	f, err := os.OpenFile(c.aside(id), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", fmt.Errorf("laying %.60q aside: %w", name, err)
	}
	_, err = io.Copy(f, body)
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.WriteFile(c.aside(id)+".name", []byte(caseID+"\n"+filepath.Base(name)), 0o600)
	}
	if err != nil {
		c.forget(id)
		return "", fmt.Errorf("laying %.60q aside: %w", name, err)
	}
	return id, nil
}

// ErrGone is wrapped where a file that was laid aside is no longer there.
var ErrGone = roof.NewError(roof.NotFound, "the uploaded file is no longer there: it was taken, or waited over a day")

// Laid opens a file that was laid aside for a case.
func (c *Cabinet) Laid(caseID, id string) (f *os.File, name string, err error) {
	if !plain(id) {
		return nil, "", ErrGone
	}
	about, err := os.ReadFile(c.aside(id) + ".name")
	if err != nil {
		return nil, "", fmt.Errorf("%w: %w", ErrGone, err)
	}
	of, name, _ := cut(string(about))
	if of != caseID {
		return nil, "", ErrGone
	}
	if f, err = os.Open(c.aside(id)); err != nil {
		return nil, "", fmt.Errorf("%w: %w", ErrGone, err)
	}
	return f, name, nil
}

func cut(about string) (caseID, name string, ok bool) {
	for i := range len(about) {
		if about[i] == '\n' {
			return about[:i], about[i+1:], true
		}
	}
	return "", "", false
}

// Forget drops files that were laid aside.
func (c *Cabinet) Forget(ids ...string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, id := range ids {
		if plain(id) {
			c.forget(id)
		}
	}
}

func (c *Cabinet) forget(id string) {
	_ = os.Remove(c.aside(id))
	_ = os.Remove(c.aside(id) + ".name")
}

// plain keeps ids from being paths.
func plain(id string) bool {
	for i := range len(id) {
		if c := id[i]; !(c >= 'A' && c <= 'Z' || c >= '2' && c <= '7') {
			return false
		}
	}
	return len(id) >= 20 && len(id) <= 64
}

func (c *Cabinet) aside(id string) string { return filepath.Join(c.dir, "aside", id) }

// sweep makes room for one more file aside: what waited too long goes, then the
// oldest.
func (c *Cabinet) sweep() error {
	dir := filepath.Join(c.dir, "aside")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("making the folder of uploaded files: %w", err)
	}
	list, err := byAge(dir)
	if err != nil {
		return err
	}
	list = slices.DeleteFunc(list, func(f aged) bool { return !plain(f.name) })
	for i, f := range list {
		if len(list)-i >= maxAside || c.now().Sub(f.at) > asideFor {
			c.forget(f.name)
		}
	}
	return nil
}

type aged struct {
	name string
	at   time.Time
	size int64
}

// byAge lists the files of a folder, the oldest first.
func byAge(dir string) ([]aged, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("listing %s: %w", dir, err)
	}
	var out []aged
	for _, e := range entries {
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() {
			out = append(out, aged{e.Name(), info.ModTime(), info.Size()})
		}
	}
	slices.SortFunc(out, func(a, b aged) int { return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.name, b.name)) })
	return out, nil
}

// Keep keeps a file as it is, under its digest, and says what became of it. A
// file that is there already gets a further entry only for another house.
func (c *Cabinet) Keep(ctx context.Context, in *os.File, o roof.Original) (roof.Original, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	dir := filepath.Join(c.dir, "originals")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return o, fmt.Errorf("making the folder of originals: %w", err)
	}
	tmp, err := os.CreateTemp(dir, ".original-*")
	if err != nil {
		return o, fmt.Errorf("keeping %.60q: %w", o.Name, err)
	}
	defer func() { _ = os.Remove(tmp.Name()) }()
	h := sha256.New()
	z := gzip.NewWriter(tmp)
	o.Bytes, err = io.Copy(io.MultiWriter(h, z), io.NewSectionReader(in, 0, 1<<62))
	if err = errors.Join(err, z.Close(), tmp.Sync(), tmp.Close()); err != nil {
		return o, fmt.Errorf("keeping %.60q: %w", o.Name, err)
	}
	o.SHA256 = hex.EncodeToString(h.Sum(nil))
	if err := os.Rename(tmp.Name(), c.original(o.SHA256)); err != nil {
		return o, fmt.Errorf("keeping %.60q: %w", o.Name, err)
	}
	if err := c.bound(dir); err != nil {
		return o, err
	}
	blob, err := json.Marshal(o)
	if err != nil {
		return o, fmt.Errorf("keeping %.60q: %w", o.Name, err)
	}
	return o, c.state.PutState(ctx, OriginalKind, o.Case+"/"+o.SHA256, blob)
}

func (c *Cabinet) original(sum string) string { return filepath.Join(c.dir, "originals", sum+".gz") }

// bound lets the oldest originals go; their entries stay.
func (c *Cabinet) bound(dir string) error {
	list, err := byAge(dir)
	if err != nil {
		return err
	}
	total := int64(0)
	for _, f := range list {
		total += f.size
	}
	for _, f := range list[:max(len(list)-1, 0)] {
		if total <= c.max {
			break
		}
		if err := os.Remove(filepath.Join(dir, f.name)); err != nil {
			return fmt.Errorf("making room for originals: %w", err)
		}
		total -= f.size
	}
	return nil
}

// Originals lists the imported files of a house, the oldest first.
func (c *Cabinet) Originals(ctx context.Context, caseID string) ([]roof.Original, error) {
	kept, err := c.state.States(ctx, OriginalKind)
	if err != nil {
		return nil, err
	}
	var out []roof.Original
	for _, k := range kept {
		var o roof.Original
		if err := json.Unmarshal(k.Blob, &o); err != nil {
			return nil, fmt.Errorf("reading the entry of an original: %w", err)
		}
		if o.Case != caseID {
			continue
		}
		_, missing := os.Stat(c.original(o.SHA256))
		o.BytesThere = missing == nil
		out = append(out, o)
	}
	slices.SortFunc(out, func(a, b roof.Original) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Name, b.Name)) })
	return out, nil
}

// Original opens a kept file of a house, byte by byte as it was imported.
func (c *Cabinet) Original(ctx context.Context, caseID, sum string) (io.ReadCloser, string, error) {
	all, err := c.Originals(ctx, caseID)
	if err != nil {
		return nil, "", err
	}
	i := slices.IndexFunc(all, func(o roof.Original) bool { return o.SHA256 == sum })
	if i < 0 {
		return nil, "", fmt.Errorf("the original %.70q: %w", sum, roof.ErrNotFound)
	}
	f, err := os.Open(c.original(sum))
	if err != nil {
		return nil, "", fmt.Errorf("the original %.70q: %w: %w", sum, roof.ErrNotFound, err)
	}
	z, err := gzip.NewReader(f)
	if err != nil {
		return nil, "", errors.Join(fmt.Errorf("unpacking the original %.70q: %w", sum, err), f.Close())
	}
	return unpacked{z, f}, all[i].Name, nil
}

type unpacked struct {
	*gzip.Reader
	f *os.File
}

func (u unpacked) Close() error { return errors.Join(u.Reader.Close(), u.f.Close()) }
