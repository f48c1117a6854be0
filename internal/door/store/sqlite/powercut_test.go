package sqlite

import (
	"bufio"
	"encoding/hex"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// platter is what a disk may hold when the power goes: what was synced, and of
// what was written since any choice of sectors, in any order of arrival. Names
// of files become durable with a sync of their folder, earlier ones first.
type platter struct {
	dir    string
	names  map[string]*inode // as the running program sees them
	synced map[string]*inode // as they certainly are after a cut
	since  []func(map[string]*inode)
	acked  map[[2]int]bool
	under  map[string]string // by thread: the beginning of a call under way
	awaits map[string]func() // by thread: what its call makes durable once it returns
}

// inode is one file's bytes: durable ones and what was written since.
type inode struct {
	durable []byte
	since   []*change
}

// change is a write of bytes, or a new size where bytes is nil.
type change struct {
	at    int
	bytes []byte
	done  bool
}

const sector = 512

func (c *change) over(b []byte, keep func() bool) []byte {
	if c.bytes == nil {
		if keep() {
			b = append(b, make([]byte, max(0, c.at-len(b)))...)[:c.at]
		}
		return b
	}
	for from := 0; from < len(c.bytes); {
		to := min(len(c.bytes), (c.at+from)/sector*sector+sector-c.at)
		if keep() {
			b = append(b, make([]byte, max(0, c.at+to-len(b)))...)
			copy(b[c.at+from:], c.bytes[from:to])
		}
		from = to
	}
	return b
}

var (
	tracedLine = regexp.MustCompile(`^(\d+) +(.*)$`)
	fileCall   = regexp.MustCompile(`^(pwrite64|write|ftruncate|fsync|fdatasync)\(\d+<((?:\\x[0-9a-f]{2})*)>(?:, "((?:\\x[0-9a-f]{2})*)", \d+)?(?:, (\d+))?`)
	nameCall   = regexp.MustCompile(`^(open|openat|unlink|unlinkat)\((?:AT_FDCWD(?:<[^>]*>)?, )?"((?:\\x[0-9a-f]{2})*)"(.*)$`)
	resumed    = regexp.MustCompile(`^<\.\.\. \w+ resumed>(.*)$`)
)

// read takes one line of strace's into account.
func (p *platter) read(line string) {
	m := tracedLine.FindStringSubmatch(line)
	if m == nil {
		return
	}
	thread, call := m[1], m[2]
	if begun, ok := strings.CutSuffix(call, " <unfinished ...>"); ok {
		p.under[thread] = begun
		p.begins(thread, begun)
		return
	}
	if r := resumed.FindStringSubmatch(call); r != nil {
		p.returns(thread, p.under[thread]+r[1])
		return
	}
	p.begins(thread, call)
	p.returns(thread, call)
}

// begins notes a write as soon as it may have reached the disk, and of a sync
// what is certain to be covered by it.
func (p *platter) begins(thread, call string) {
	m := fileCall.FindStringSubmatch(call)
	if m == nil {
		return
	}
	var number [2]int
	if _, err := fmt.Sscanf(string(unhex(m[3])), "ack %d %d", &number[0], &number[1]); err == nil && m[1] == "write" {
		p.acked[number] = true
		return
	}
	file := string(unhex(m[2]))
	if file == p.dir { // a sync of the folder
		covered := p.since
		p.awaits[thread] = func() {
			for _, f := range covered {
				f(p.synced)
			}
			p.since = p.since[len(covered):]
		}
		return
	}
	c := p.names[file]
	if c == nil {
		return
	}
	switch at, _ := strconv.Atoi(m[4]); m[1] {
	case "pwrite64", "ftruncate":
		w := &change{at: at, bytes: unhex(m[3])}
		if m[1] == "ftruncate" {
			w.bytes = nil
		}
		c.since = append(c.since, w)
		p.awaits[thread] = func() { w.done = true }
	case "fsync", "fdatasync":
		var covered []*change
		for _, w := range c.since {
			if w.done {
				covered = append(covered, w)
			}
		}
		p.awaits[thread] = func() {
			for _, w := range covered {
				c.durable = w.over(c.durable, func() bool { return true })
			}
			c.since = slices.DeleteFunc(c.since, func(w *change) bool { return slices.Contains(covered, w) })
		}
	}
}

func (p *platter) returns(thread, call string) {
	failed := strings.Contains(call, ") = -1 ")
	if f := p.awaits[thread]; f != nil && !failed {
		f()
	}
	delete(p.awaits, thread)
	m := nameCall.FindStringSubmatch(call)
	if m == nil || failed {
		return
	}
	name := string(unhex(m[2]))
	if filepath.Dir(name) != p.dir {
		return
	}
	change := func(in map[string]*inode) { delete(in, name) }
	if strings.HasPrefix(m[1], "open") {
		if p.names[name] != nil || !strings.Contains(m[3], "O_CREAT") {
			return
		}
		made := &inode{}
		change = func(in map[string]*inode) { in[name] = made }
	}
	change(p.names)
	p.since = append(p.since, change)
}

func unhex(s string) []byte {
	b, _ := hex.DecodeString(strings.ReplaceAll(s, `\x`, "")) // the pattern lets nothing else through
	return b
}

// cut lays down what the disk may hold if the power goes now.
func (p *platter) cut(t *testing.T, rng *rand.Rand, to string) {
	t.Helper()
	share := []float64{0, 0.5, 0.9, 1}[rng.IntN(4)]
	names := maps.Clone(p.synced)
	for _, f := range p.since[:rng.IntN(len(p.since)+1)] {
		f(names)
	}
	for name, c := range names {
		if strings.HasSuffix(name, "-shm") {
			continue // shared memory: not written by any call, and made anew by whoever opens first
		}
		b := slices.Clone(c.durable)
		for _, w := range c.since {
			b = w.over(b, func() bool { return rng.Float64() < share })
		}
		require.NoError(t, os.WriteFile(filepath.Join(to, filepath.Base(name)), b, 0o600))
	}
}

// Faults, row 3: the power goes, and with it any part of what was not synced. The
// writer's own calls are recorded, and played back up to a hundred moments.
func TestAPowerCutTakesNothingThatWasAcknowledged(t *testing.T) {
	if _, err := exec.LookPath("strace"); err != nil {
		t.Skip("strace is not installed: it records what was written and synced")
	}
	dir, trace := filepath.Join(t.TempDir(), "data"), filepath.Join(t.TempDir(), "trace")
	require.NoError(t, os.Mkdir(dir, 0o700))
	cmd, out := child(t, dir, 0, 150, "strace", "-f", "-qq", "-y", "-xx", "-s", "4194304", "-o", trace,
		"-e", "trace=?open,openat,?unlink,unlinkat,pwrite64,write,ftruncate,fsync,fdatasync", "-e", "signal=none")
	said := said{acked: map[[2]int]bool{}}
	for lines := bufio.NewScanner(out); lines.Scan(); {
		said.take(lines.Text())
	}
	require.NoError(t, cmd.Wait())
	require.Len(t, said.acked, childLoggers*150, "%v", said.lines)

	text, err := os.ReadFile(trace)
	require.NoError(t, err)
	lines := strings.Split(string(text), "\n")
	seed := uint64(time.Now().UnixNano())
	t.Logf("%d calls, seed %d", len(lines), seed)
	rng := rand.New(rand.NewPCG(3, seed))
	moments := map[int]bool{}
	for range 100 {
		moments[rng.IntN(len(lines))] = true
	}
	p := &platter{dir: dir, names: map[string]*inode{}, synced: map[string]*inode{}, acked: map[[2]int]bool{},
		under: map[string]string{}, awaits: map[string]func(){}}
	for i, line := range lines {
		p.read(line)
		if moments[i] {
			to := t.TempDir()
			p.cut(t, rng, to)
			requireKept(t, to, p.acked)
			require.False(t, t.Failed(), "power cut at call %d with %d readings acknowledged", i, len(p.acked))
		}
	}
	require.Equal(t, said.acked, p.acked, "every acknowledgement was seen in the record")
	for name, c := range p.names {
		if strings.HasSuffix(name, ".db") {
			b := c.durable
			for _, w := range c.since {
				b = w.over(b, func() bool { return true })
			}
			there, err := os.ReadFile(name)
			require.NoError(t, err)
			require.Equal(t, there, b, "played back to the end, the record is the file")
		}
	}
}
