package filing

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"

	"github.com/klauspost/compress/gzip"
)

// packed is the name of a kept original: its digest.
var packed = regexp.MustCompile(`^[0-9a-f]{64}\.gz$`)

// Originals lists the originals of a data folder by their names in it, which is
// what a backup has to hold; none where nothing was ever imported.
func Originals(data string) (names []string, err error) {
	list, err := byAge(filepath.Join(data, "files", "originals"))
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	for _, f := range list {
		if packed.MatchString(f.name) {
			names = append(names, filepath.Join("files", "originals", f.name))
		}
	}
	return names, err
}

// Verify holds every kept original of a data folder against its digest, also while
// a daemon serves. It says how many are sound and names each that is not; one that
// gave way meanwhile is neither.
func Verify(ctx context.Context, data string) (sound int, changed []string, err error) {
	names, err := Originals(data)
	for _, name := range names {
		if err := ctx.Err(); err != nil {
			return sound, changed, err
		}
		f, err := os.Open(filepath.Join(data, name))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err == nil {
			err = errors.Join(matches(f, filepath.Base(name)), f.Close())
		}
		if err != nil {
			changed = append(changed, fmt.Sprintf("%s: %v", filepath.ToSlash(name), err))
			continue
		}
		sound++
	}
	return sound, changed, err
}

// matches says whether a packed original is the one that its name says.
func matches(r io.Reader, name string) error {
	z, err := gzip.NewReader(r)
	if err != nil {
		return fmt.Errorf("it cannot be unpacked: %w", err)
	}
	h := sha256.New()
	if _, err := io.Copy(h, z); err != nil {
		return fmt.Errorf("it cannot be unpacked: %w", err)
	}
	if sum := hex.EncodeToString(h.Sum(nil)); sum+".gz" != name {
		return fmt.Errorf("its SHA-256 is %s, which is not that of the file that was imported", sum)
	}
	return nil
}
