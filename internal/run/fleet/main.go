// Command fleet loads a daemon as many houses would, and measures what it
// costs. `make fleet` runs it; HOUSES=10000 is the whole.
//
// The houses stand in a few simulated winters, of which records are made that
// differ in date, phase and values; houses share these, each under loggers' offsets
// of its own. The records up to now are put into the store; then six loggers a house
// publish over MQTT, QoS 1, one reading in five minutes each, while the list of
// houses and single houses are asked for. The daemon is this program once more, in a
// process of its own, with the code of `dewcase serve`. Its clock stands in a January
// and runs SPEED times as fast as the world's, and so do the loggers.
//
// Processor time is the daemon's, user and system, from /proc. One round is one
// reading of every logger of every house. What is left of the round in which the
// daemon became ready goes by while pages are asked for; then whole rounds are
// measured without pages, and others with. To see that alerts come in time, the
// covering of some houses is wetted: what counts is the time on the daemon's clock
// from the reading that completes the wetting to the alert.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"
)

// options are what a run is made of.
type options struct {
	houses, days           int
	winters, records       int
	rounds, paged, nightly int
	speed                  float64
	dir, broker, profiles  string
	daemonSince            int64 // not 0: be the daemon, with a clock that began then, Unix ns
}

// interval is between two readings of a logger.
const interval = 5 * time.Minute

// nowhere is when the daemon's clock begins: an evening in January.
var nowhere = time.Date(2027, 1, 20, 18, 0, 0, 0, time.UTC)

func main() {
	var o options
	flag.IntVar(&o.houses, "houses", 200, "houses of six loggers")
	flag.IntVar(&o.days, "days", 8, "days of record that each house has at the start; a winter is 120")
	flag.IntVar(&o.winters, "winters", 6, "winters that are simulated")
	flag.IntVar(&o.records, "records", 60, "records that differ, made of the winters; houses share them, each under "+
		"offsets of its own")
	flag.IntVar(&o.rounds, "rounds", 6, "rounds of readings without pages; 0 prepares a folder and ends")
	flag.IntVar(&o.paged, "paged", 6, "further rounds, in which pages are asked for")
	flag.IntVar(&o.nightly, "nightly", 10, "houses without an assessment, whose nightly work is done first and whose "+
		"pages are asked for; 0: any house's pages, which then wait for an assessment")
	flag.Float64Var(&o.speed, "speed", 10, "how much faster than the world the daemon's clock and the loggers run")
	flag.StringVar(&o.dir, "dir", "", "folder to work in, kept and used again; empty: a temporary one")
	flag.StringVar(&o.broker, "broker", "", "an outside broker, mqtt://HOST:PORT; empty: the daemon's own")
	flag.StringVar(&o.profiles, "profiles", "", "folder for processor and heap profiles of the daemon")
	flag.Int64Var(&o.daemonSince, "daemon-since", 0, "internal: run as the daemon")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	run := load
	if o.daemonSince != 0 {
		run = daemon
	}
	if err := run(ctx, o, os.Stdout); err != nil && !errors.Is(err, context.Canceled) {
		fmt.Fprintln(os.Stderr, "fleet:", err)
		os.Exit(1)
	}
}

// load is a whole run.
func load(ctx context.Context, o options, out io.Writer) (err error) {
	if o.houses < 1 || o.winters < 1 || o.records < 1 || o.days < 1 || o.speed <= 0 {
		return errors.New("houses, winters, records, days and speed must be above 0")
	}
	if o.dir == "" {
		if o.dir, err = os.MkdirTemp("", "dewcase-fleet-"); err != nil {
			return err
		}
		defer os.RemoveAll(o.dir)
	}
	t, err := newTown(o)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "%d houses of %d loggers, %d days of record each, of which %d differ; %d winters simulated\n",
		o.houses, len(t.winters[0].loggers), o.days, t.records, len(t.winters))
	seeded, err := t.seed(ctx, filepath.Join(o.dir, "data"))
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "record: %s\n", seeded)
	c, err := start(o)
	if err != nil {
		return err
	}
	defer c.stop()
	t.began = c.began
	if err := c.settle(ctx, t.options, out); err != nil || o.rounds == 0 {
		return err
	}
	l, err := newLoggers(ctx, t, c)
	if err != nil {
		return err
	}
	defer l.stop()
	return measure(ctx, o, t, c, l, out)
}
