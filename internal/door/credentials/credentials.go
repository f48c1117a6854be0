// Package credentials keeps secrets as argon2id hashes and verifies in
// constant time what a person, a program or a logger presents.
package credentials

import (
	"bufio"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"

	"github.com/alexedwards/argon2id"
)

// cost is that of hashes made today: RFC 9106 names argon2id; two passes over
// 19 MiB is the OWASP password storage minimum (from memory) and about 40 ms on a
// small server. A kept hash carries its own, so that this can be raised without
// locking anybody out.
var cost = &argon2id.Params{Memory: 19 << 10, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}

// What a kept hash may ask for at most, and at least: no line of a file may take a
// small board's memory, or stand for hardly any work.
const (
	minKiB, maxKiB = 8 << 10, 256 << 10
	maxPasses      = 16
	maxLanes       = 16
	minBytes       = 8 // of salt and key
	maxBytes       = 64
)

// One hash at a time: on a small board two would swap.
var hashing sync.Mutex

// Hash makes the line to keep for a secret, in the PHC string format.
func Hash(secret string) (string, error) {
	hashing.Lock()
	defer hashing.Unlock()
	return argon2id.CreateHash(secret, cost)
}

// ErrHash is returned for a kept line that is not one that Hash makes.
var ErrHash = errors.New("not a password hash made by `dewcase password`")

// Verify reports whether the secret is the one that was hashed, at the cost that
// the hash names.
func Verify(hash, secret string) (bool, error) {
	if err := usable(hash); err != nil {
		return false, err
	}
	hashing.Lock()
	defer hashing.Unlock()
	return argon2id.ComparePasswordAndHash(secret, hash)
}

// usable looks at a kept line without hashing.
func usable(hash string) error {
	p, _, _, err := argon2id.DecodeHash(hash)
	if err != nil || p.Memory < minKiB || p.Iterations < 1 || p.Parallelism < 1 ||
		min(p.SaltLength, p.KeyLength) < minBytes {
		return ErrHash
	}
	if p.Memory > maxKiB || p.Iterations > maxPasses || p.Parallelism > maxLanes ||
		max(p.SaltLength, p.KeyLength) > maxBytes {
		return fmt.Errorf("%w: it asks for more than %d KiB, %d passes, %d lanes or %d bytes", ErrHash, maxKiB, maxPasses,
			maxLanes, maxBytes)
	}
	return nil
}

// Same compares two secrets in time that depends on neither.
func Same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

// Users are MQTT users, a name and a hash each.
type Users struct {
	hashes map[string]string
	topics map[string]Topics
	mu     sync.Mutex
	seen   map[[32]byte]bool // verified name and secret, so that reconnects cost no hash
}

// Topics are the topic filters a user may read and publish to.
type Topics struct{ Read, Write []string }

// topicsOf reads `topic,topic`, to read and to write, or `read=topic,topic;write=topic`.
func topicsOf(s string) (Topics, error) {
	if !strings.HasPrefix(s, "read=") && !strings.HasPrefix(s, "write=") {
		all := strings.Split(s, ",")
		return Topics{all, all}, nil
	}
	var t Topics
	for part := range strings.SplitSeq(s, ";") {
		key, list, _ := strings.Cut(part, "=")
		to := map[string]*[]string{"read": &t.Read, "write": &t.Write}[key]
		if to == nil || *to != nil || list == "" {
			return t, fmt.Errorf("topics are topic,topic or read=topic,topic;write=topic, not %q", s)
		}
		*to = strings.Split(list, ",")
	}
	return t, nil
}

// ReadUsers reads a file of lines `name:hash`, `name:hash:topic,topic` or
// `name:hash:read=topic,topic;write=topic`; empty lines and lines that start with
// # are skipped. Hashes are those of `dewcase password`.
func ReadUsers(file string) (*Users, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("reading the MQTT users: %w", err)
	}
	defer f.Close()
	u := &Users{hashes: map[string]string{}, topics: map[string]Topics{}, seen: map[[32]byte]bool{}}
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		name, hash, ok := strings.Cut(line, ":")
		if !ok || name == "" {
			return nil, fmt.Errorf("%s:%d: a line is name:hash, name:hash:topic,topic or "+
				"name:hash:read=topic,topic;write=topic", file, n)
		}
		hash, topics, named := strings.Cut(hash, ":")
		if err := usable(hash); err != nil {
			return nil, fmt.Errorf("%s:%d: user %s: %w", file, n, name, err)
		}
		if _, twice := u.hashes[name]; twice {
			return nil, fmt.Errorf("%s:%d: user %s stands above already; keep one of the two lines", file, n, name)
		}
		u.hashes[name] = hash
		if named {
			if u.topics[name], err = topicsOf(topics); err != nil {
				return nil, fmt.Errorf("%s:%d: user %s: %w", file, n, name, err)
			}
		}
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("reading the MQTT users: %w", err)
	}
	return u, nil
}

// Changed reports whether a user's line is another one than before, or gone.
func (u *Users) Changed(before *Users, name string) bool {
	now, then := u.topics[name], before.topics[name]
	return u.hashes[name] != before.hashes[name] || !slices.Equal(now.Read, then.Read) ||
		!slices.Equal(now.Write, then.Write)
}

// Check reports whether the user has this secret.
func (u *Users) Check(name, secret string) bool {
	hash, ok := u.hashes[name]
	if !ok {
		return false
	}
	key := sha256.Sum256([]byte(hash + "\x00" + name + "\x00" + secret))
	u.mu.Lock()
	known := u.seen[key]
	u.mu.Unlock()
	if known {
		return true
	}
	if good, err := Verify(hash, secret); err != nil || !good {
		return false
	}
	u.mu.Lock()
	u.seen[key] = true
	u.mu.Unlock()
	return true
}

// Topics are those named for a user, if any are.
func (u *Users) Topics(name string) (t Topics, named bool) {
	t, named = u.topics[name]
	return t, named
}
