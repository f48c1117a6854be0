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

func TestMain(m *testing.M) { crashtest.Main(m) }

// database is a time-series database that takes the line protocol.
type database struct {
	name    string
	dir     string
	addr    string
	command func(d *database) []string
	ready   string   // answers when it serves
	settle  []string // asked for once all is written, so that everything is in its files
	query   [forms][]string
	stop    syscall.Signal
	cmd     *exec.Cmd
}

// What is asked for, of both quantities of all loggers by the hour.
const (
	means = iota // and nothing else
	whole        // with least, greatest and how much was observed; ours adds dew and frost points and the margin
	forms
)

var formNames = [forms]string{"means", "whole"}

var (
	until  = benchwinter.Begin.AddDate(0, 0, benchwinter.Days)
	hourly = "/api/cases/bench-house/timeline?" + url.Values{"from": {benchwinter.Begin.Format(time.RFC3339)},
		"to": {until.Format(time.RFC3339)}, "step": {"3600"}}.Encode()
	ours = [forms]string{means: hourly + "&columns=temp_c.mean,rh_pct.mean", whole: hourly}
)

// victoriaMetrics is the Debian package of this name.
func victoriaMetrics() *database {
	d := &database{name: "VictoriaMetrics", ready: "/health", settle: []string{"/internal/force_flush"},
		stop: syscall.SIGINT}
	d.command = func(d *database) []string {
		return []string{"victoria-metrics", "-storageDataPath=" + filepath.Join(d.dir, "data"), "-retentionPeriod=100y",
			"-httpListenAddr=" + d.addr, "-loggerLevel=ERROR"}
	}
	for form, queries := range [forms][]string{
		means: {"avg_over_time(air_temp_c[1h])", "avg_over_time(air_rh_pct[1h])"},
		// rollup gives mean, least and greatest in one
		whole: {"rollup(air_temp_c[1h])", "rollup(air_rh_pct[1h])", "count_over_time(air_temp_c[1h])",
			"count_over_time(air_rh_pct[1h])"},
	} {
		for _, q := range queries {
			d.query[form] = append(d.query[form], "/api/v1/query_range?"+url.Values{"query": {q}, "step": {"1h"},
				"start": {fmt.Sprint(benchwinter.Begin.Add(time.Hour).Unix())}, "end": {fmt.Sprint(until.Unix())}}.Encode())
		}
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
	for form, fields := range [forms]string{
		means: "mean(temp_c), mean(rh_pct)",
		whole: "mean(temp_c), min(temp_c), max(temp_c), count(temp_c), mean(rh_pct), min(rh_pct), max(rh_pct), count(rh_pct)",
	} {
		d.query[form] = []string{"/query?" + url.Values{"db": {"roof"}, "epoch": {"ms"},
			"q": {fmt.Sprintf("SELECT %s FROM air WHERE time >= '%s' AND time < '%s' GROUP BY time(1h), logger", fields,
				benchwinter.Begin.Format(time.RFC3339), until.Format(time.RFC3339))}}.Encode()}
	}
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
const warmRounds = 9

// times are how long answers took: the first after a start, and the medians of the
// next, made anew from what is kept or given again as they were. A database has
// its own ways of keeping; what it does when asked the same again is its kept.
type times struct{ cold, anew, kept time.Duration }

// queried asks for the first time, then again: with a number above 0 in another
// address each time, with 0 in the first one.
func queried(ask func(n int)) (t times) {
	took := func(n int) time.Duration {
		began := time.Now()
		ask(n)
		return time.Since(began)
	}
	t.cold = took(0)
	var anew, kept []time.Duration
	for n := range warmRounds {
		anew, kept = append(anew, took(n+1)), append(kept, took(0))
	}
	t.anew, t.kept = median(anew), median(kept)
	return t
}

func (t times) String() string {
	return fmt.Sprintf("%v cold, %v warm, %v given again", t.cold, t.anew, t.kept)
}

// What is reported is ours over theirs: of bytes and times, less is better; of
// rates, more.
func BenchmarkAgainstDatabases(b *testing.B) {
	dir := b.TempDir()
	csv, house, lines := data(b, dir)
	crashtest.Binary(b)
	for b.Loop() {
		var kept string
		const imports = 3 // of which the median counts
		var imported []time.Duration
		theirs := []*database{victoriaMetrics(), influxDB()}
		written := make([][]time.Duration, len(theirs))
		for range imports {
			kept = b.TempDir()
			began := time.Now()
			out, status := crashtest.Run(b, "import", "-case", house, "-readings", csv, "-data", kept)
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
		bytes, _ := bytesOf(b, kept)
		size := float64(bytes) / benchwinter.Count
		b.ReportMetric(rate, "readings/s")
		b.ReportMetric(size, "B/reading")

		asked := func(path string) times {
			daemon := crashtest.Serve(b, kept)
			defer daemon.Stop()
			t := queried(func(n int) {
				path := path
				if n > 0 {
					path += "&n=" + strconv.Itoa(n)
				}
				require.Greater(b, len(daemon.Do(http.MethodGet, path, nil, http.StatusOK)), 50_000)
			})
			daemon.Do(http.MethodGet, "/api/cases/bench-house/assessment", nil, http.StatusOK) // kept for the next start
			return t
		}
		b.Logf("dewcase: %.0f readings/s, %.2f B/reading; %s just after the import: %v", rate, size, formNames[whole],
			asked(ours[whole]).cold)
		var own [forms]times
		for form, path := range ours {
			own[form] = asked(path)
			b.Logf("dewcase: %s %v", formNames[form], own[form])
		}

		for i, d := range theirs {
			theirRate := benchwinter.Count / median(written[i]).Seconds()
			d.rest(b)
			d.end(b)
			theirBytes, _ := bytesOf(b, d.dir)
			theirSize := float64(theirBytes) / benchwinter.Count
			b.Logf("%s: %.0f readings/s, %.2f B/reading", d.name, theirRate, theirSize)
			b.ReportMetric(rate/theirRate, "x-import-"+d.name)
			b.ReportMetric(size/theirSize, "x-bytes-"+d.name)
			for form, t := range own {
				d.start(b)
				theirs := queried(func(int) {
					for _, q := range d.query[form] {
						require.Greater(b, len(d.ask(b, q)), 50_000)
					}
				})
				d.end(b)
				b.Logf("%s: %s %v", d.name, formNames[form], theirs)
				for name, pair := range map[string][2]time.Duration{"cold": {t.cold, theirs.cold},
					"warm": {t.anew, theirs.kept}, "again": {t.kept, theirs.kept}} {
					b.ReportMetric(pair[0].Seconds()/pair[1].Seconds(), "x-"+formNames[form]+"-"+name+"-"+d.name)
				}
			}
		}
	}
}
