// Package credentials keeps secrets as argon2id hashes and checks what a
// person, a program or a logger presents against them, in constant time.
package credentials

import (
	"bufio"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"

	"golang.org/x/crypto/argon2"
)

// The cost of one hash: RFC 9106 names argon2id; two passes over 19 MiB is the
// OWASP password storage minimum (from memory) and about 40 ms on a small
// server.
const (
	passes    = 2
	memoryKiB = 19 * 1024
	lanes     = 1
	saltBytes = 16
	keyBytes  = 32
)

// One hash at a time: on a small board two would swap.
var hashing sync.Mutex

// Hash makes the line to keep for a secret, in the PHC string format.
func Hash(secret string) (string, error) {
	salt := make([]byte, saltBytes)
	if _, err := rand.Read(salt); err != nil {
		return "", fmt.Errorf("drawing a salt: %w", err)
	}
	return phc(salt, derive(secret, salt)), nil
}

func derive(secret string, salt []byte) []byte {
	hashing.Lock()
	defer hashing.Unlock()
	return argon2.IDKey([]byte(secret), salt, passes, memoryKiB, lanes, keyBytes)
}

func phc(salt, key []byte) string {
	b := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, memoryKiB, passes, lanes,
		b.EncodeToString(salt), b.EncodeToString(key))
}

// ErrHash is returned for a kept line that is not one that Hash makes.
var ErrHash = errors.New("not a password hash made by `dewcase password`")

// Verify reports whether the secret is the one that was hashed.
func Verify(hash, secret string) (bool, error) {
	salt, key, err := taken(hash)
	if err != nil {
		return false, err
	}
	return subtle.ConstantTimeCompare(derive(secret, salt), key) == 1, nil
}

// taken takes a kept line apart, which costs nothing beside a hash.
func taken(hash string) (salt, key []byte, err error) {
	parts := strings.Split(hash, "$")
	want := strings.Split(phc(nil, nil), "$")
	if len(parts) != 6 || parts[1] != want[1] || parts[2] != want[2] || parts[3] != want[3] {
		return nil, nil, ErrHash
	}
	salt, err1 := base64.RawStdEncoding.DecodeString(parts[4])
	key, err2 := base64.RawStdEncoding.DecodeString(parts[5])
	if err1 != nil || err2 != nil || len(key) != keyBytes {
		return nil, nil, ErrHash
	}
	return salt, key, nil
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
		if _, _, err := taken(hash); err != nil {
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
