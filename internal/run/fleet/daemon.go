package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"runtime/pprof"
	"strconv"
	"strings"
	"syscall"
	"time"

	"dewcase/internal/run/app"
	"dewcase/internal/run/config"
)

// daemon serves as `dewcase serve` does, by a clock that began at nowhere.
// SIGUSR1 begins a processor profile, SIGUSR2 ends it and writes the heap's.
func daemon(ctx context.Context, o options, out io.Writer) error {
	began := time.Unix(0, o.daemonSince)
	c := config.Default()
	c.Data, c.HTTP.Listen, c.MQTT.Listen, c.MQTT.Broker = filepath.Join(o.dir, "data"), "127.0.0.1:0", "127.0.0.1:0",
		o.broker
	go profile(ctx, o.profiles)
	a, err := app.New(ctx, app.Options{Config: c, Version: "fleet", Out: out, Pace: o.speed,
		Log: slog.New(slog.NewTextHandler(os.Stderr, nil)),
		Now: func() time.Time { return nowhere.Add(time.Duration(float64(time.Since(began)) * o.speed)) }})
	if err != nil {
		return err
	}
	return a.Run(ctx)
}

func profile(ctx context.Context, dir string) {
	asked := make(chan os.Signal, 1)
	signal.Notify(asked, syscall.SIGUSR1, syscall.SIGUSR2)
	for n := 1; ; n++ {
		select {
		case <-ctx.Done():
			return
		case s := <-asked:
			if dir == "" {
				continue
			}
			if s == syscall.SIGUSR1 {
				if f, err := os.Create(filepath.Join(dir, fmt.Sprint("cpu", n))); err == nil {
					defer f.Close()
					_ = pprof.StartCPUProfile(f)
				}
				continue
			}
			pprof.StopCPUProfile()
			if f, err := os.Create(filepath.Join(dir, fmt.Sprint("heap", n))); err == nil {
				runtime.GC()
				_ = pprof.WriteHeapProfile(f)
				_ = f.Close()
			}
		}
	}
}

// child is the daemon under load.
type child struct {
	cmd        *exec.Cmd
	began      time.Time
	http, mqtt string
	client     http.Client
}

// start starts the daemon and waits until it is ready.
func start(o options) (*child, error) {
	c := &child{began: time.Now(), client: http.Client{Timeout: 2 * time.Minute}}
	if o.profiles != "" {
		if err := os.MkdirAll(o.profiles, 0o700); err != nil {
			return nil, err
		}
	}
	c.cmd = exec.Command(os.Args[0], "-daemon-since", strconv.FormatInt(c.began.UnixNano(), 10), "-dir", o.dir,
		"-broker", o.broker, "-profiles", o.profiles, "-speed", fmt.Sprint(o.speed))
	log, err := os.Create(filepath.Join(o.dir, "log"))
	if err != nil {
		return nil, err
	}
	defer log.Close()
	c.cmd.Stderr = log
	lines, err := c.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := c.cmd.Start(); err != nil {
		return nil, err
	}
	want := 2
	if o.broker != "" {
		c.mqtt = strings.TrimPrefix(o.broker, "mqtt://")
		want = 1
	}
	for s := bufio.NewScanner(lines); want > 0; want-- {
		if !s.Scan() {
			return nil, errors.Join(errors.New("the daemon ended before it was ready"), c.cmd.Wait())
		}
		if rest, ok := strings.CutPrefix(s.Text(), "mqtt://"); ok {
			c.mqtt = rest
		} else {
			c.http = s.Text()
		}
	}
	go func() { _, _ = io.Copy(io.Discard, lines) }()
	return c, nil
}

func (c *child) stop() {
	_ = c.cmd.Process.Signal(syscall.SIGTERM)
	_ = c.cmd.Wait()
}

func (c *child) signal(s syscall.Signal) { _ = c.cmd.Process.Signal(s) }

// get asks for a path and gives the body and how long it took.
func (c *child) get(ctx context.Context, path string) (body []byte, took time.Duration, err error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, c.http+path, nil)
	if err != nil {
		return nil, 0, err
	}
	began := time.Now()
	resp, err := c.client.Do(req)
	if err != nil {
		return nil, 0, err
	}
	defer resp.Body.Close()
	body, err = io.ReadAll(resp.Body)
	if err == nil && resp.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %s", path, resp.Status)
	}
	return body, time.Since(began), err
}

// metric reads one sample of /metrics by its name.
func (c *child) metric(ctx context.Context, name string) (float64, error) {
	body, _, err := c.get(ctx, "/metrics")
	for line := range bytes.Lines(body) {
		if rest, ok := strings.CutPrefix(string(line), name+" "); ok {
			return strconv.ParseFloat(strings.TrimSpace(rest), 64)
		}
	}
	return 0, errors.Join(err, fmt.Errorf("no %s in /metrics", name))
}

// used is what the daemon has used so far.
type used struct {
	cpu       time.Duration // user and system
	rss, peak int64         // bytes
	written   int64         // bytes to the disk
}

func (c *child) used() (u used, err error) {
	dir := fmt.Sprintf("/proc/%d/", c.cmd.Process.Pid)
	stat, err := os.ReadFile(dir + "stat")
	if err != nil {
		return u, err
	}
	f := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:]))
	for _, ticks := range f[11:13] { // utime, stime; of a hundredth of a second (proc(5), getconf CLK_TCK)
		n, err := strconv.ParseInt(ticks, 10, 64)
		if err != nil {
			return u, err
		}
		u.cpu += time.Duration(n) * 10 * time.Millisecond
	}
	for _, x := range []struct {
		file, key string
		unit      int64
		into      *int64
	}{{"status", "VmRSS:", 1024, &u.rss}, {"status", "VmHWM:", 1024, &u.peak}, {"io", "write_bytes:", 1, &u.written}} {
		text, err := os.ReadFile(dir + x.file)
		if err != nil {
			return u, err
		}
		for line := range strings.Lines(string(text)) {
			if f := strings.Fields(line); len(f) > 1 && f[0] == x.key {
				n, err := strconv.ParseInt(f[1], 10, 64)
				if err != nil {
					return u, err
				}
				*x.into = n * x.unit
			}
		}
	}
	return u, nil
}
