package commands

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"slices"
	"time"

	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/flow/qc"
	"dewcase/internal/reason/series"
	"dewcase/internal/roof"
	"dewcase/internal/run/app"
)

func assess(_ context.Context, args []string, s Streams) error {
	f := flags("assess", "-case FILE -readings FILE [-readings FILE] [-until TIME] [-format text|json] [-strict] "+
		asSynopsis, s)
	caseFile := f.String("case", "", "case file (YAML)")
	in := addReadings(f)
	until := f.String("until", "", "use only readings before this time (RFC 3339)")
	format := f.String("format", "text", "text for a person or json")
	strict := f.Bool("strict", false, "a bad row makes the whole file unusable")
	if err := parse(f, args, "case", "readings"); err != nil {
		return err
	}
	if *format != "text" && *format != "json" {
		return usageError{fmt.Sprintf("-format is text or json, not %q", *format)}
	}
	untilTime, err := timeOf(f, "until", *until)
	if err != nil {
		return err
	}
	// A winter of one-minute readings fits in less than 300 MiB if garbage is
	// collected before the heap has doubled.
	debug.SetGCPercent(50)
	debug.SetMemoryLimit(256 << 20)
	c, _, err := readCase(*caseFile)
	if err != nil {
		return withReadingsFaults(err, in, s)
	}
	cols, sum, err := in.columns(c, *strict, s)
	if err != nil {
		return err
	}
	set, err := recordOf(c, cols, untilTime)
	if err != nil {
		return err
	}
	notes := fileNotes(c, cols, sum)
	cols = nil // the set holds what is needed; a winter by the minute is large
	a, ahead := assessment.Whole(app.SideBySide, set)
	a.Take(ahead)
	if a.Until == nil && !untilTime.IsZero() {
		a.Until = &untilTime
	}
	a.Notes = append(a.Notes, notes...)
	for _, d := range a.Doubts {
		fmt.Fprintln(s.Err, d.Text)
	}
	out := bufio.NewWriter(s.Out)
	if *format == "json" {
		e := json.NewEncoder(out)
		e.SetIndent("", "  ")
		if err := e.Encode(a.Assessment); err != nil {
			return fmt.Errorf("writing the answer: %w", err)
		}
	} else {
		assessment.WriteText(out, a.Assessment, c)
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("writing the answer: %w", err)
	}
	return nil
}

// recordOf is the calibrated record of what was read, only of readings before a
// time unless that is zero.
func recordOf(c *roof.Case, cols *csvreadings.Columns, until time.Time) (*series.Set, error) {
	cols.Counts() // and all is in the order of time, for several to read
	flagged, err := qc.FlagBy(app.SideBySide, c, qc.Before(until, cols.Readings))
	if err != nil {
		return nil, err
	}
	untilMS := int64(0)
	if !until.IsZero() {
		untilMS = until.UnixMilli()
	}
	return series.NewBuilder(c, untilMS).Build(app.SideBySide, flagged)
}

// withReadingsFaults adds to a case file's faults what makes the readings file
// unusable too, so that both are put right in one go. Files in other forms are
// judged by the house's zone and loggers, which are not known then.
func withReadingsFaults(caseErr error, in *readingsFiles, s Streams) error {
	var all, more roof.Faults
	if !errors.As(caseErr, &all) || in.as != "" {
		return caseErr
	}
	for _, file := range in.files {
		r, name, done, err := openReadings(file, s)
		if err == nil {
			_, err = csvreadings.Read(name, r, time.Now(), func(roof.Reading, int) error { return nil })
			done()
		}
		if errors.As(err, &more) {
			all = slices.Concat(all, more)
		}
	}
	return all
}

// timeOf reads the time of a flag: zero where the flag was not given, and a
// wrong use where it was given empty.
func timeOf(f *flag.FlagSet, name, value string) (at time.Time, err error) {
	f.Visit(func(g *flag.Flag) {
		if g.Name != name {
			return
		}
		if at, err = roof.ParseTime(value); err != nil {
			err = usageError{fmt.Sprintf("-%s %q is %v", name, value, err)}
		}
	})
	return at, err
}

// openReadings opens a readings file, or standard input for -, which is also its
// name in what is said of its lines.
func openReadings(file string, s Streams) (in io.Reader, name string, done func(), err error) {
	if file == "-" {
		return s.In, "-", func() {}, nil
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, "", nil, roof.Faults{{File: file, Line: 1, Key: "file", Problem: plainError(err),
			Remedy: "name a readings file that can be read"}}
	}
	if info, err := f.Stat(); err == nil && info.IsDir() {
		_ = f.Close()
		return nil, "", nil, roof.Faults{{File: file, Line: 1, Key: "file", Problem: "is a folder",
			Remedy: "name a readings file that can be read"}}
	}
	return f, file, func() { _ = f.Close() }, nil
}

func tellBadRows(sum csvreadings.Summary, name string, strict bool, s Streams) error {
	if sum.Bad == 0 {
		return nil
	}
	faults := sum.Faults(name)
	shown := min(len(faults), roof.FaultLines)
	for _, line := range faults[:shown].Lines(roof.FaultLines) {
		fmt.Fprintln(s.Err, line)
	}
	if sum.Bad > shown {
		fmt.Fprintf(s.Err, "and %d more bad rows (%d in all)\n", sum.Bad-shown, sum.Bad)
	}
	if strict {
		return fmt.Errorf("%w: -strict refuses a file with bad rows", errShown)
	}
	return nil
}

func fileNotes(c *roof.Case, cols *csvreadings.Columns, sum csvreadings.Summary) []string {
	var out []string
	n := cols.Counts()
	if sum.Bad+n.Duplicates+n.Conflicts > 0 {
		out = append(out, fmt.Sprintf("readings file: %d bad rows left out, %d duplicates dropped, %d conflicts kept aside",
			sum.Bad, n.Duplicates, n.Conflicts))
	}
	for _, l := range cols.Loggers() {
		if _, known := c.Logger(l); !known {
			out = append(out, fmt.Sprintf("logger %s is not in the case file: its %d readings were not used", l, cols.Count(l)))
		}
	}
	return append(out, sum.Notes...)
}
