package sqlite

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// lockDir takes the folder for this process until release is called or the
// process ends, however it ends.
func lockDir(dir string) (release func() error, err error) {
	name := filepath.Join(dir, lockName)
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("taking the data folder %s: %w", dir, err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		defer f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			holder := make([]byte, 32)
			n, _ := f.ReadAt(holder, 0)
			return nil, fmt.Errorf("the data folder %s is in use by another dewcase%s: stop that one first or give this one "+
				"a folder of its own (-data)",
				dir, by(string(holder[:n])))
		}
		return nil, fmt.Errorf("taking the data folder %s: %w", dir, err)
	}
	// The number only helps whoever reads the message; the lock is the kernel's.
	if err := f.Truncate(0); err == nil {
		_, _ = f.WriteAt(fmt.Appendf(nil, "%d\n", os.Getpid()), 0)
	}
	return f.Close, nil
}

// Held reports whether a daemon or another command has the data folder.
func Held(dir string) bool {
	f, err := os.Open(filepath.Join(dir, lockName))
	if err != nil {
		return false
	}
	defer f.Close()
	return errors.Is(syscall.Flock(int(f.Fd()), syscall.LOCK_SH|syscall.LOCK_NB), syscall.EWOULDBLOCK)
}

func by(pid string) string {
	if pid = strings.TrimSpace(pid); pid == "" {
		return ""
	}
	return " (process " + pid + ")"
}

// syncDir makes a change of names in a folder durable.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
