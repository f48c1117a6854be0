package credentials

import (
	"bufio"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"os"
	"slices"
	"strings"
)

// PushTokens are tokens with which programs may do one thing: send messages on the
// topics named for them, or read the counts of houses. They are random, so that a plain digest keeps them.
type PushTokens struct {
	by map[string]pushToken // by the token's digest in hexadecimal
}

type pushToken struct {
	name   string
	topics []string
}

// NewPushToken makes a token and the line of the file that keeps it; without
// topics a name CASE/LOGGER may send on its own topic.
func NewPushToken(name string, topics []string) (token, line string) {
	raw := make([]byte, 32)
	_, _ = rand.Read(raw) // never fails: crypto/rand ends the program instead
	token = base64.RawURLEncoding.EncodeToString(raw)
	line = name + ":" + digest(token)
	if len(topics) > 0 {
		line += ":" + strings.Join(topics, ",")
	}
	return token, line
}

func digest(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// ReadPushTokens reads a file of lines `NAME:DIGEST` or `NAME:DIGEST:topic,topic`,
// as `dewcase token` prints them; empty lines and lines that start with # are
// skipped.
func ReadPushTokens(file string) (*PushTokens, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("reading the push tokens: %w", err)
	}
	defer f.Close()
	out := &PushTokens{by: map[string]pushToken{}}
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		parts := strings.SplitN(line, ":", 3)
		if raw, err := hex.DecodeString(parts[min(1, len(parts)-1)]); len(parts) < 2 || parts[0] == "" || err != nil ||
			len(raw) != sha256.Size {
			return nil, fmt.Errorf("%s:%d: a line is NAME:DIGEST or NAME:DIGEST:topic,topic, as `dewcase token` prints it",
				file, n)
		}
		t := pushToken{name: parts[0]}
		if len(parts) == 3 {
			t.topics = strings.Split(parts[2], ",")
		} else if caseID, logger, ok := strings.Cut(parts[0], "/"); ok && caseID != "" && logger != "" {
			t.topics = []string{"dewcase/" + parts[0]}
		} else {
			return nil, fmt.Errorf("%s:%d: %s is not CASE/LOGGER and may send on no topic; name its topics behind the digest",
				file, n, parts[0])
		}
		key := strings.ToLower(parts[1])
		if _, twice := out.by[key]; twice {
			return nil, fmt.Errorf("%s:%d: this token stands above already; keep one of the two lines", file, n)
		}
		out.by[key] = t
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("reading the push tokens: %w", err)
	}
	return out, nil
}

// Holder is whose token it is and whether it may send on the topic.
func (p *PushTokens) Holder(token, topic string) (name string, known, may bool) {
	if p == nil {
		return "", false, false
	}
	t, known := p.by[digest(token)]
	for _, filter := range t.topics {
		may = may || Covers(filter, topic)
	}
	return t.name, known, may && known
}

// Counts is what stands for a topic in the line of a token that may read the counts
// of houses; no message can be sent on it.
const Counts = "$houses/figures"

// ReadsCounts is whose token it is and whether it may read the counts of houses.
func (p *PushTokens) ReadsCounts(token string) (name string, may bool) {
	if p == nil {
		return "", false
	}
	t := p.by[digest(token)]
	return t.name, slices.Contains(t.topics, Counts)
}

// Covers reports that an MQTT topic filter matches a topic, or all that another
// filter matches.
func Covers(filter, wanted string) bool {
	f, w := strings.Split(filter, "/"), strings.Split(wanted, "/")
	for i, level := range f {
		if level == "#" {
			return true
		}
		if i >= len(w) || w[i] == "#" {
			return false
		}
		if level != "+" && level != w[i] {
			return false
		}
	}
	return len(f) == len(w)
}
