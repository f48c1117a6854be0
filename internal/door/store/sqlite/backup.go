package sqlite

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// Backup writes a copy of a data folder's store to a file, also while a daemon
// serves from it: one consistent state, checked, and under its name only once
// it is whole and on the disk. A file of that name is replaced. The report is
// the copy's; it says, too, how many readings the copy does not hold because
// another engine alone has them. Files beside the store, by their names in the
// folder, go into the copy as well.
func Backup(ctx context.Context, dir, to string, files ...string) (r Report, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("backing up %s to %s: %w", dir, to, err)
		}
	}()
	file := filepath.Join(dir, fileName)
	if _, err := os.Stat(file); err != nil {
		return r, fmt.Errorf("there is no store: %w", err)
	}
	if to, err = filepath.Abs(to); err != nil {
		return r, err
	}
	for _, own := range []string{fileName, fileName + "-wal", fileName + "-shm", lockName, markName} {
		if same(to, filepath.Join(dir, own)) {
			return r, errors.New("that is the store's own file: name another one")
		}
	}
	if st, err := os.Stat(to); err == nil && !st.Mode().IsRegular() {
		return r, errors.New("that is not a file: name the file to write")
	}
	id, _, err := ends(ctx, file)
	if err != nil {
		return r, explain(err)
	}
	done := sweepBackups(dir, filepath.Dir(to), id)
	defer done()
	tmp := beside(to, id)
	defer os.Remove(tmp)
	// Made beforehand, so that only its owner can ever read it.
	f, err := os.OpenFile(tmp, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return r, err
	}
	if err := f.Close(); err != nil {
		return r, err
	}
	if err := copyStore(ctx, file, tmp); err != nil {
		return r, explain(err)
	}
	if err := copyBeside(ctx, dir, tmp, files); err != nil {
		return r, explain(err)
	}
	return publish(ctx, tmp, to)
}

// Backup writes a copy of the open store to a file, as the function Backup does.
func (s *Store) Backup(ctx context.Context, to string) (Report, error) {
	return Backup(ctx, s.dir, to)
}

// Check verifies the open store, as the function Check does.
func (s *Store) Check(ctx context.Context) (Report, error) { return Check(ctx, s.dir) }

func copyStore(ctx context.Context, file, tmp string) error {
	db, err := openToRead(ctx, file)
	if err != nil {
		return err
	}
	defer db.Close()
	if v, err := schemaOf(ctx, db); err != nil || v == 0 {
		if err == nil {
			err = errForeign
		}
		return err
	}
	_, err = db.ExecContext(ctx, `VACUUM INTO ?`, tmp)
	return err
}

// publish gives a finished file its name: synced, checked, renamed, and the
// name synced too.
func publish(ctx context.Context, tmp, to string) (Report, error) {
	f, err := os.OpenFile(tmp, os.O_RDWR, 0)
	if err != nil {
		return Report{}, err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return Report{}, fmt.Errorf("bringing it to the disk: %w", err)
	}
	r, err := checkBackup(ctx, tmp)
	if err == nil {
		err = r.Err()
	}
	if err != nil {
		return r, err
	}
	if err := os.Rename(tmp, to); err != nil {
		return r, err
	}
	return r, syncDir(filepath.Dir(to))
}

// beside names an unfinished file of a store next to the one it will become.
func beside(file, id string) string {
	b := make([]byte, 6)
	_, _ = rand.Read(b) // never fails
	return filepath.Join(filepath.Dir(file), fmt.Sprintf(".%s.%.8s-%x.part", filepath.Base(file), id, b))
}

// sweepBackups takes away what killed backups of this store left in a folder,
// each a full copy that nobody sees. While one is being made its maker shares a
// lock on the store's mark, and nothing is taken away; done gives that lock up.
func sweepBackups(dir, of, id string) (done func()) {
	f, err := os.Open(filepath.Join(dir, markName))
	if err != nil {
		return func() {}
	}
	if syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB) == nil {
		sweep(of, fmt.Sprintf(".*.%.8s-????????????.part*", id))
	}
	_ = syscall.Flock(int(f.Fd()), syscall.LOCK_SH)
	return func() { _ = f.Close() }
}

// sweep removes the unfinished files of a folder.
func sweep(dir, pattern string) {
	found, _ := filepath.Glob(filepath.Join(escapeGlob(dir), pattern))
	for _, name := range found {
		_ = os.Remove(name)
	}
}

// escapeGlob makes a folder's name mean itself in a pattern.
func escapeGlob(dir string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(dir)
}

func same(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	if errX == nil && errY == nil {
		return os.SameFile(x, y)
	}
	p, err := filepath.Abs(b)
	return err == nil && p == a
}

// Restore puts a backup, with the files that it carries, into a data folder that
// holds no store yet. The backup
// is checked before, the store after. Where the folder's own store had gone on
// since, lost says so, and the next opening keeps it as an incident.
func Restore(ctx context.Context, from, dir string) (lost string, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("restoring %s into %s: %w", from, dir, err)
		}
	}()
	r, err := checkBackup(ctx, from)
	if err == nil {
		err = r.Err()
	}
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", err
	}
	release, err := lockDir(dir)
	if err != nil {
		return "", err
	}
	defer release()
	sweep(dir, "."+fileName+".*.part*")
	to := filepath.Join(dir, fileName)
	for _, name := range []string{to, to + "-wal"} {
		if _, err := os.Lstat(name); !errors.Is(err, os.ErrNotExist) {
			return "", fmt.Errorf("the folder already holds a store, which would be lost: name an empty folder, or move %s "+
				"away first", name)
		}
	}
	id, c, err := ends(ctx, from)
	if err != nil {
		return "", err
	}
	restored := c.mark(id)
	m, marked := readMark(dir)
	if marked && m.store != restored.store {
		return "", fmt.Errorf("the folder was in use by another store%s: name an empty folder, or move that file away first",
			m.words())
	}
	tmp := beside(to, id)
	defer os.Remove(tmp)
	if err := copyFile(ctx, from, tmp); err != nil {
		return "", err
	}
	if err := layBeside(ctx, tmp, dir); err != nil {
		return "", err
	}
	if _, err := publish(ctx, tmp, to); err != nil {
		return "", err
	}
	if marked && m.seq > restored.seq {
		return fmt.Sprintf("the store in this folder had gone on%s; the backup ends at commit %d of %s, and what came after "+
			"is lost", m.words(), restored.seq, fromMS(restored.at).Format(stamp)), nil
	}
	// The restored state is the folder's own, not a lost tail.
	if err := writeMark(dir, restored); err != nil {
		return "", err
	}
	r, err = Check(ctx, dir)
	if err != nil {
		return "", err
	}
	return "", r.Err()
}

func copyFile(ctx context.Context, from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, readerFunc(func(b []byte) (int, error) {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		return in.Read(b)
	}))
	return errors.Join(err, out.Close())
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(b []byte) (int, error) { return f(b) }
