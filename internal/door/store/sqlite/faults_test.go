package sqlite

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

// childDir, set in a child process of these tests, makes it write to the store
// there until it is killed or its time is over, instead of running tests.
const childDir = "DEWCASE_TEST_WRITE_TO"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		if os.Getenv(childFile) != "" {
			os.Exit(storeFileUntilKilled(dir))
		}
		os.Exit(writeUntilKilled(dir))
	}
	os.Exit(m.Run())
}

// childFile makes the child store a file's parts instead.
const childFile = "DEWCASE_TEST_FILE"

const childLoggers = 4

// writeUntilKilled appends numbered readings by several callers, says each
// number on standard output once its Append has returned, and meanwhile seals
// and backs up.
func writeUntilKilled(dir string) int {
	ctx := context.Background()
	start, _ := strconv.Atoi(os.Getenv("DEWCASE_TEST_START"))
	most, _ := strconv.Atoi(os.Getenv("DEWCASE_TEST_MOST"))
	s, err := Open(ctx, dir, toSeal)
	if err != nil {
		fmt.Println("open", err)
		return 3
	}
	var out sync.Mutex
	say := func(args ...any) {
		out.Lock()
		defer out.Unlock()
		fmt.Println(args...)
	}
	say("ready")
	var wg sync.WaitGroup
	for c := range childLoggers {
		wg.Go(func() {
			for n := start; most == 0 || n < start+most; n++ {
				// Every seventh reading is late, so that sealed days open again.
				_, err := s.Append(ctx, house, []roof.Reading{numbered(c, n)})
				if err != nil {
					say("fail", c, n, strings.ReplaceAll(err.Error(), "\n", " "))
					continue
				}
				say("ack", c, n)
			}
		})
	}
	done := make(chan struct{})
	go func() {
		for {
			select {
			case <-done:
				return
			default:
				_, _ = s.Seal(ctx)
				if most == 0 {
					_, _ = s.Backup(ctx, filepath.Join(dir, "kept.backup"))
				}
			}
		}
	}()
	wg.Wait()
	close(done)
	if err := s.Close(); err != nil {
		say("close", err)
	}
	return 0
}

func numbered(c, n int) roof.Reading {
	at := n * 60
	if n%7 == 0 {
		at = n*60 - 20*86400 + 30
	}
	return storetest.TRH(fmt.Sprint("k", c), float64(at), float64(n)/100, 50)
}

// child starts this test binary as a writer, perhaps under another program.
func child(t *testing.T, dir string, start, most int, under ...string) (*exec.Cmd, io.ReadCloser) {
	t.Helper()
	args := append(under, os.Args[0])
	cmd := exec.CommandContext(t.Context(), args[0], args[1:]...)
	cmd.Env = append(os.Environ(), childDir+"="+dir, "DEWCASE_TEST_START="+strconv.Itoa(start),
		"DEWCASE_TEST_MOST="+strconv.Itoa(most))
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	return cmd, out
}

// said is what a child reported.
type said struct {
	acked  map[[2]int]bool
	failed []string
	lines  []string
}

func (s *said) take(line string) {
	var c, n int
	if _, err := fmt.Sscanf(line, "ack %d %d", &c, &n); err == nil {
		s.acked[[2]int{c, n}] = true
		return
	}
	if strings.HasPrefix(line, "fail") {
		s.failed = append(s.failed, line)
	}
	s.lines = append(s.lines, line)
}

// requireKept requires every acknowledged reading to be there, each once, and
// the store to be sound.
func requireKept(t *testing.T, dir string, acked map[[2]int]bool) {
	t.Helper()
	s := openIn(t, dir, Options{SealAfter: -1})
	require.Empty(t, incidents(t, s), "no commit that was made is missing")
	total := 0
	for c := range childLoggers {
		have := map[int64]roof.Reading{}
		for _, r := range storetest.All(t, s, house, fmt.Sprint("k", c)) {
			require.NotContains(t, have, r.At.UnixMilli(), "stored twice")
			have[r.At.UnixMilli()] = r
		}
		total += len(have)
		for a := range acked {
			if a[0] == c {
				want := numbered(c, a[1])
				got, ok := have[want.At.UnixMilli()]
				require.True(t, ok, "number %d of logger k%d was acknowledged and is lost", a[1], c)
				require.Empty(t, storetest.Difference(want, got))
			}
		}
	}
	require.GreaterOrEqual(t, total, len(acked))
	r, err := s.Check(t.Context())
	require.NoError(t, err)
	require.NoError(t, r.Err())
	require.EqualValues(t, total, r.Readings)
}

// Faults, rows 1 and 2: killed at random moments, while appending, sealing,
// reopening sealed days and backing up.
func TestKilledAtAnyMomentNothingAcknowledgedIsLost(t *testing.T) {
	dir := t.TempDir()
	all := said{acked: map[[2]int]bool{}}
	rng := rand.New(rand.NewPCG(1, uint64(time.Now().UnixNano())))
	backups := 0
	kill := 0
	for ; kill < 25 || len(all.acked) <= 100; kill++ { // a slow machine writes little between two of them
		require.Less(t, kill, 500, "%d acknowledged by now", len(all.acked))
		// Overlapping numbers: what was sent last is sent again.
		cmd, out := child(t, dir, max(0, len(all.acked)/childLoggers-20), 0)
		lines := bufio.NewScanner(out)
		require.True(t, lines.Scan(), "the writer starts again after kill %d", kill)
		require.Equal(t, "ready", lines.Text())
		time.AfterFunc(time.Duration(rng.IntN(250))*time.Millisecond, func() { _ = cmd.Process.Kill() })
		for lines.Scan() {
			all.take(lines.Text())
		}
		require.Error(t, cmd.Wait())
		if _, err := os.Stat(filepath.Join(dir, "kept.backup")); err == nil {
			r, err := checkBackup(t.Context(), filepath.Join(dir, "kept.backup"))
			require.NoError(t, err)
			require.NoError(t, r.Err(), "never half a file under the final name")
			backups++
		}
	}
	require.Empty(t, all.failed)
	t.Logf("%d readings acknowledged over %d kills, %d times a whole backup was there", len(all.acked), kill, backups)
	requireKept(t, dir, all.acked)
	require.NoError(t, failed(Backup(t.Context(), dir, filepath.Join(dir, "kept.backup"))))
	left, err := filepath.Glob(filepath.Join(dir, ".*.part*"))
	require.NoError(t, err)
	require.Empty(t, left, "no unfinished copy stays")
}

// Faults, row 4: writing or syncing fails. Nothing is acknowledged by that
// commit, the error says what failed, and writing goes on when the disk does.
func TestFailingDiskIsToldAndNotAcknowledged(t *testing.T) {
	if _, err := exec.LookPath("strace"); err != nil {
		t.Skip("strace is not installed: it makes system calls fail")
	}
	for name, inject := range map[string]string{
		"a sync fails once":        "fsync,fdatasync:error=EIO:when=12",
		"every third sync fails":   "fsync,fdatasync:error=EIO:when=9+3",
		"syncs fail from then on":  "fsync,fdatasync:error=EIO:when=15+",
		"a write fails now and on": "pwrite64:error=EIO:when=40+37",
		"no space left":            "pwrite64:error=ENOSPC:when=50+41",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			put(t, dir, numbered(0, 0))
			// strace counts the calls of each thread by itself, and how many
			// readings share a commit follows the load of the machine: where the
			// call that is to fail was never reached, more is written.
			var got said
			messages := 60
			for ; messages <= 60<<6; messages *= 2 {
				got = said{acked: map[[2]int]bool{}}
				cmd, out := child(t, dir, 1, messages, "strace", "-f", "-qq", "-o", "/dev/null",
					"-e", "trace=fsync,fdatasync,pwrite64", "-e", "inject="+inject)
				lines := bufio.NewScanner(out)
				for lines.Scan() {
					got.take(lines.Text())
				}
				require.NoError(t, cmd.Wait(), "no crash: %v", got.lines)
				if len(got.failed) > 0 {
					break
				}
			}
			require.NotEmpty(t, got.failed, "the fault was met: %v", got.lines)
			for _, f := range got.failed {
				require.Regexp(t, `the disk failed|the disk is full`, f)
			}
			require.NotEmpty(t, got.acked)
			require.Equal(t, childLoggers*messages, len(got.acked)+len(got.failed))
			requireKept(t, dir, got.acked)
		})
	}
}

// Faults, row 5: the disk fills up and is freed.
func TestFullDiskStopsAcknowledgingUntilThereIsSpace(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=3m"); err != nil {
		if errors.Is(err, syscall.EPERM) {
			t.Skip("only root can mount a small disk to fill")
		}
		require.NoError(t, err)
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(dir, syscall.MNT_DETACH)) })
	data := filepath.Join(dir, "data")
	s := openIn(t, data, Options{SealAfter: -1})
	first := storetest.TRH("k0", -60, 1, 1)
	storetest.Put(t, s, house, first)
	filler := filepath.Join(dir, "filler")
	f, err := os.Create(filler)
	require.NoError(t, err)
	for err == nil {
		_, err = f.Write(make([]byte, 4096))
	}
	require.ErrorIs(t, err, syscall.ENOSPC)
	require.NoError(t, f.Close())

	acked := map[[2]int]bool{}
	n := 0
	appendOne := func() error {
		_, err := s.Append(t.Context(), house, []roof.Reading{numbered(0, n)})
		if err == nil {
			acked[[2]int{0, n}] = true
		}
		n++
		return err
	}
	for err = nil; err == nil; {
		require.Less(t, n, 20_000)
		err = appendOne()
	}
	require.ErrorContains(t, err, "the disk is full")
	require.NotNil(t, s.Failing())
	for range 20 {
		require.ErrorContains(t, appendOne(), "the disk is full")
	}
	require.Len(t, storetest.Read(t, s, house, "k0", first.At, first.At.Add(time.Millisecond)), 1, "reading goes on")

	require.NoError(t, os.Remove(filler))
	require.NoError(t, appendOne(), "resumes by itself")
	require.Nil(t, s.Failing())
	for range 200 {
		require.NoError(t, appendOne())
	}
	require.NoError(t, s.Close())
	requireKept(t, data, acked)
}

// Faults, row 13.
func TestFolderThatCannotBeWrittenIsRefusedClearly(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, storetest.TRH("k7", 0, 1, 1))
	ro := filepath.Join(t.TempDir(), "ro")
	require.NoError(t, os.MkdirAll(ro, 0o700))
	if err := syscall.Mount(dir, ro, "", syscall.MS_BIND, ""); err != nil {
		t.Skip("only root can mount a folder that cannot be written")
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(ro, syscall.MNT_DETACH)) })
	require.NoError(t, syscall.Mount("", ro, "", syscall.MS_BIND|syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))
	_, err := Open(t.Context(), ro, Options{})
	require.ErrorContains(t, err, ro)
	require.ErrorContains(t, err, "read-only file system")
	r, err := Check(t.Context(), ro)
	require.NoError(t, err)
	require.NoError(t, r.Err(), "it can still be checked")
	require.EqualValues(t, 1, r.Readings)
	to := filepath.Join(t.TempDir(), "b")
	require.NoError(t, failed(Backup(t.Context(), ro, to)), "and backed up")
}
