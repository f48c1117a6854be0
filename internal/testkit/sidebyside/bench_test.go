// Package sidebyside measures the daemon against time-series databases, on the
// same data, on the same machine, in the same run: what one machine does in a
// second says little, how it compares does.
package sidebyside

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/benchwinter"
	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/patience"
)

func TestMain(m *testing.M) {
	status := m.Run()
	crashtest.RemoveBinary()
	os.Exit(status)
}

// database is a time-series database that takes the line protocol.
type database struct {
	name    string
	dir     string
	addr    string
	command func(d *database) []string
	ready   string   // answers when it serves
	settle  []string // asked for once all is written, so that everything is in its files
	query   []string // the hourly means of both quantities of all loggers
	stop    syscall.Signal
	cmd     *exec.Cmd
}

var (
	until  = benchwinter.Begin.AddDate(0, 0, benchwinter.Days)
	hourly = "/api/cases/bench-house/timeline?" + url.Values{"from": {benchwinter.Begin.Format(time.RFC3339)},
		"to": {until.Format(time.RFC3339)}, "step": {"3600"}}.Encode()
)

// victoriaMetrics is the Debian package of this name.
func victoriaMetrics() *database {
	d := &database{name: "VictoriaMetrics", ready: "/health", settle: []string{"/internal/force_flush"},
		stop: syscall.SIGINT}
	d.command = func(d *database) []string {
		return []string{"victoria-metrics", "-storageDataPath=" + filepath.Join(d.dir, "data"), "-retentionPeriod=100y",
			"-httpListenAddr=" + d.addr, "-loggerLevel=ERROR"}
	}
	for _, q := range []string{"air_temp_c", "air_rh_pct"} {
		d.query = append(d.query, "/api/v1/query_range?"+url.Values{"query": {"avg_over_time(" + q + "[1h])"},
			"step":  {"1h"},
			"start": {fmt.Sprint(benchwinter.Begin.Add(time.Hour).Unix())}, "end": {fmt.Sprint(until.Unix())}}.Encode())
	}
	return d
}

// influxDB is the Debian package influxdb, 1.6.
func influxDB() *database {
	d := &database{name: "InfluxDB", ready: "/ping", stop: syscall.SIGTERM}
	d.command = func(d *database) []string {
		conf := filepath.Join(d.dir, "conf")
		text := fmt.Sprintf("reporting-disabled = true\nbind-address = %q\n[meta]\ndir = %q\n"+
			"[data]\ndir = %q\nwal-dir = %q\nquery-log-enabled = false\n"+
			"cache-snapshot-write-cold-duration = \"2s\"\ncompact-full-write-cold-duration = \"2s\"\n"+
			"[monitor]\nstore-enabled = false\n[http]\nbind-address = %q\nlog-enabled = false\n[logging]\nlevel = \"error\"\n",
			freeAddr(), filepath.Join(d.dir, "meta"), filepath.Join(d.dir, "data"), filepath.Join(d.dir, "wal"), d.addr)
		_ = os.WriteFile(conf, []byte(text), 0o600)
		return []string{"influxd", "-config", conf}
	}
	d.query = []string{"/query?" + url.Values{"db": {"roof"}, "epoch": {"ms"},
		"q": {fmt.Sprintf("SELECT mean(temp_c), mean(rh_pct) FROM air WHERE time >= '%s' AND time < '%s' "+
			"GROUP BY time(1h), logger", benchwinter.Begin.Format(time.RFC3339), until.Format(time.RFC3339))}}.Encode()}
	return d
}

func freeAddr() string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return ""
	}
	defer l.Close()
	return l.Addr().String()
}

func (d *database) start(b *testing.B) {
	d.addr = freeAddr()
	args := d.command(d)
	d.cmd = exec.Command(args[0], args[1:]...)
	d.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	require.NoError(b, d.cmd.Start(), "%s is needed, as Debian packages it", d.name)
	patience.Until(b, d.name+" answers", func() bool {
		res, err := http.Get("http://" + d.addr + d.ready)
		if err != nil {
			return false
		}
		res.Body.Close()
		return res.StatusCode < 300
	})
}

func (d *database) end(b *testing.B) {
	require.NoError(b, d.cmd.Process.Signal(d.stop))
	_ = d.cmd.Wait()
}

func (d *database) ask(b *testing.B, path string) []byte {
	res, err := http.Get("http://" + d.addr + path)
	require.NoError(b, err)
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	require.NoError(b, err)
	require.Equal(b, http.StatusOK, res.StatusCode, "%s: %.300s", path, body)
	return body
}

// write sends the line protocol in requests of 10,000 lines, as its makers
// advise, as many at a time as there are processors, and waits until all is taken.
func (d *database) write(b *testing.B, lines [][]byte) time.Duration {
	if d.name == "InfluxDB" {
		patience.Until(b, "a database is there", func() bool {
			res, err := http.PostForm("http://"+d.addr+"/query", url.Values{"q": {"CREATE DATABASE roof"}})
			require.NoError(b, err)
			res.Body.Close()
			res, err = http.Get("http://" + d.addr + "/query?q=SHOW+DATABASES")
			require.NoError(b, err)
			defer res.Body.Close()
			list, err := io.ReadAll(res.Body)
			require.NoError(b, err)
			return strings.Contains(string(list), `"roof"`)
		})
	}
	began := time.Now()
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for _, part := range lines {
		group.Go(func() error {
			res, err := http.Post("http://"+d.addr+"/write?db=roof&precision=ms", "text/plain", bytes.NewReader(part))
			if err == nil {
				res.Body.Close()
				if res.StatusCode != http.StatusNoContent {
					err = fmt.Errorf("%s answers %s", d.name, res.Status)
				}
			}
			return err
		})
	}
	require.NoError(b, group.Wait())
	for _, path := range d.settle {
		d.ask(b, path)
	}
	return time.Since(began)
}

// bytesOf is the room that the files of a folder take on the disk; logs is what of
// it is in logs that a database has not yet worked off.
func bytesOf(b *testing.B, dir string) (sum, logs int64) {
	require.NoError(b, filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return nil // files of a database come and go
		}
		var st syscall.Stat_t
		if syscall.Stat(path, &st) == nil {
			sum += st.Blocks * 512
			if filepath.Ext(path) == ".wal" {
				logs += st.Blocks * 512
			}
		}
		return nil
	}))
	return sum, logs
}

// rest waits until a database no longer works on its files.
func (d *database) rest(b *testing.B) {
	last := int64(-1)
	for still, began := 0, time.Now(); still < 5 && time.Since(began) < time.Minute; time.Sleep(time.Second) {
		sum, logs := bytesOf(b, d.dir)
		if still++; sum != last || logs > 0 {
			still = 0
		}
		last = sum
	}
}

// data is the winter as files: for the daemon, and in the line protocol.
func data(b *testing.B, dir string) (csv, house string, lines [][]byte) {
	csv, house = filepath.Join(dir, "winter.csv"), filepath.Join(dir, "house.yaml")
	require.NoError(b, os.WriteFile(house, []byte(benchwinter.CaseFile), 0o600))
	f, err := os.Create(csv)
	require.NoError(b, err)
	out := bufio.NewWriter(f)
	require.NoError(b, benchwinter.WriteCSV(out, benchwinter.Days))
	require.NoError(b, out.Flush())
	require.NoError(b, f.Close())
	var part []byte
	n := 0
	for r := range benchwinter.Interleaved(benchwinter.Days) {
		t, _ := r.Values.Get(roof.TempC)
		rh, _ := r.Values.Get(roof.RHPct)
		part = append(append(part, "air,logger="...), r.Logger...)
		part = strconv.AppendFloat(append(part, " temp_c="...), t, 'f', -1, 64)
		part = strconv.AppendFloat(append(part, ",rh_pct="...), rh, 'f', -1, 64)
		part = append(strconv.AppendInt(append(part, ' '), r.At.UnixMilli(), 10), '\n')
		if n++; n%10_000 == 0 {
			lines, part = append(lines, part), nil
		}
	}
	return csv, house, append(lines, part)
}

func median(of []time.Duration) time.Duration {
	of = slices.Sorted(slices.Values(of))
	return of[len(of)/2]
}

// warmRounds is how often a query is asked again.
const warmRounds = 5

// cold and warm are the first answer after a start and the median of the next.
func queried(ask func()) (cold, warm time.Duration) {
	var again []time.Duration
	for i := range 1 + warmRounds {
		began := time.Now()
		ask()
		if took := time.Since(began); i == 0 {
			cold = took
		} else {
			again = append(again, took)
		}
	}
	return cold, median(again)
}

// What is reported is ours over theirs: of bytes and times, less is better; of
// rates, more.
func BenchmarkAgainstDatabases(b *testing.B) {
	dir := b.TempDir()
	csv, house, lines := data(b, dir)
	crashtest.Binary(b)
	for b.Loop() {
		ours := b.TempDir()
		const imports = 3 // of which the median counts
		var imported []time.Duration
		theirs := []*database{victoriaMetrics(), influxDB()}
		written := make([][]time.Duration, len(theirs))
		for range imports {
			ours = b.TempDir()
			began := time.Now()
			out, status := crashtest.Run(b, "import", "-case", house, "-readings", csv, "-data", ours)
			imported = append(imported, time.Since(began))
			require.Zero(b, status, out)
			for i, d := range theirs {
				d.dir = b.TempDir()
				d.start(b)
				written[i] = append(written[i], d.write(b, lines))
				if len(imported) < imports {
					d.end(b)
				}
			}
		}
		rate := benchwinter.Count / median(imported).Seconds()
		bytes, _ := bytesOf(b, ours)
		size := float64(bytes) / benchwinter.Count
		b.ReportMetric(rate, "readings/s")
		b.ReportMetric(size, "B/reading")

		var first, cold, warm time.Duration
		for _, to := range []*time.Duration{&first, &cold} { // after the import, and after any later start
			daemon := crashtest.Serve(b, ours)
			*to, warm = queried(func() {
				require.Greater(b, len(daemon.Do(http.MethodGet, hourly, nil, http.StatusOK)), 50_000)
			})
			daemon.Do(http.MethodGet, "/api/cases/bench-house/assessment", nil, http.StatusOK) // kept for the next start
			daemon.Stop()
		}
		b.Logf("dewcase: %.0f readings/s, %.2f B/reading, hourly timeline %v after the import, %v after a start, %v warm",
			rate, size, first, cold, warm)

		for i, d := range theirs {
			theirRate := benchwinter.Count / median(written[i]).Seconds()
			d.rest(b)
			d.end(b)
			theirBytes, _ := bytesOf(b, d.dir)
			theirSize := float64(theirBytes) / benchwinter.Count
			d.start(b)
			theirCold, theirWarm := queried(func() {
				for _, q := range d.query {
					require.Greater(b, len(d.ask(b, q)), 50_000)
				}
			})
			d.end(b)
			b.Logf("%s: %.0f readings/s, %.2f B/reading, hourly means %v cold, %v warm", d.name, theirRate, theirSize,
				theirCold, theirWarm)
			b.ReportMetric(rate/theirRate, "x-import-"+d.name)
			b.ReportMetric(size/theirSize, "x-bytes-"+d.name)
			b.ReportMetric(cold.Seconds()/theirCold.Seconds(), "x-cold-"+d.name)
			b.ReportMetric(warm.Seconds()/theirWarm.Seconds(), "x-warm-"+d.name)
		}
	}
}
