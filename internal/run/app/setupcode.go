package app

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"dewcase/internal/run/config"
)

// setUpCode lays a new code down for whoever may read the data folder: the
// log-in page takes it once, for setting the consultant's password. A code of an
// earlier start is dead; with a password there is none, and "" comes back.
func (a *App) setUpCode(hash string, demand bool) (string, error) {
	file := a.opt.Config.SetUpCodeFile()
	if hash != "" || !demand {
		return "", removed(file)
	}
	code := rand.Text()
	if err := private(file, code+"\n"); err != nil {
		return "", fmt.Errorf("keeping the code that sets the consultant's password: %w", err)
	}
	a.opt.Log.Warn("the consultant's password is not set: open the pages and set it with the code in this file, which "+
		"works once, until the next start", "file", file)
	return code, nil
}

// keepPassword makes a password that was set on the log-in page durable.
func (a *App) keepPassword(hash string) error {
	if err := private(a.opt.Config.PasswordHashFile(), hash+"\n"); err != nil {
		return fmt.Errorf("keeping the consultant's password: %w", err)
	}
	if err := removed(a.opt.Config.SetUpCodeFile()); err != nil {
		a.opt.Log.Warn("the used set-up code could not be removed; it opens nothing any more", "error", err)
	}
	return nil
}

func removed(file string) error {
	if err := os.Remove(file); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// private writes a file that its owner alone may read, whole or not at all.
func private(file, text string) (err error) {
	f, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+"-*") // of mode 0600
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), file)
	}
	if err != nil {
		_ = os.Remove(f.Name())
	}
	return err
}

// httpSecrets are the consultant's hash and the administrator's token as the
// configuration has them, judged.
func httpSecrets(c config.Config) (hash, token string, err error) {
	if token, err = config.Secret(c.HTTP.TokenFile, "DEWCASE_TOKEN"); err != nil {
		return "", "", fmt.Errorf("the administrator's token: %w", err)
	}
	hash, err = c.PasswordHash()
	return hash, token, err
}
