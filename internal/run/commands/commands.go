// Package commands implements the command line. Each command parses its flags,
// does one thing and ends with a documented exit status.
package commands

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"

	"dewcase/internal/roof"
)

// The exit statuses of every command; one that a signal ended adds 128 to its
// number.
const (
	OK       = 0 // done
	Unusable = 1 // the input or the surroundings cannot be used
	Usage    = 2 // the command was asked for wrongly
)

// Streams are where a command reads and writes.
type Streams struct {
	In       io.Reader
	Out, Err io.Writer
}

// command is one verb.
type command struct {
	name, about string
	run         func(ctx context.Context, args []string, s Streams) error
}

func all() []command {
	return []command{
		{"serve", "run the daemon", serve},
		{"demo", "run the daemon with an invented house whose loggers publish", runDemo},
		{"assess", "analyse a case file and a readings file in one shot", interruptible(answering(assess))},
		{"report", "write the report of a case file and a readings file, PDF or HTML", interruptible(answering(writeReport))},
		{"import", "store a case file and a readings file", interruptible(answering(importFiles))},
		{"try", "show what a message would become under the mappings", try},
		{"check", "verify the store", check},
		{"doctor", "name what is wrong with an installation", examine},
		{"backup", "copy the store to one file, also while serving", backup},
		{"restore", "lay a backup down as a new data folder", restore},
		{"pack", "write the evidence of one house into a sealed file", interruptible(answering(pack))},
		{"verify", "compare a packed house with its seal and its readings", interruptible(answering(verify))},
		{"migrate", "move the readings to InfluxDB or back, or verify them there", migrate},
		{"move", "move a house from one running instance to another", interruptible(moveHouse)},
		{"password", "make the hash to keep for a password", interruptible(answering(password))},
		{"token", "make a token that may send messages by HTTP and nothing else", newToken},
		{"about", "print how the answers are made, and how often rightly", answering(about)},
		{"version", "print the version", answering(version)},
	}
}

// Run does what the arguments ask and returns the exit status.
func Run(ctx context.Context, args []string, s Streams) int {
	if len(args) == 0 || args[0] == "help" || args[0] == "-h" || args[0] == "-help" || args[0] == "--help" {
		fmt.Fprint(s.Err, overview())
		if len(args) == 0 {
			return Usage
		}
		return OK
	}
	for _, c := range all() {
		if c.name == args[0] {
			out := &output{Writer: s.Out}
			err := c.run(ctx, args[1:], Streams{s.In, out, s.Err})
			return status(cmp.Or(err, out.err), s)
		}
	}
	fmt.Fprintf(s.Err, "dewcase: there is no command %q\n\n%s", args[0], overview())
	return Usage
}

func overview() string {
	var b strings.Builder
	b.WriteString("dewcase COMMAND [-flag ...]; dewcase COMMAND -h lists its flags\n\n")
	for _, c := range all() {
		fmt.Fprintf(&b, "  %-9s %s\n", c.name, c.about)
	}
	return b.String()
}

// usageError is a command asked for wrongly.
type usageError struct{ text string }

func (e usageError) Error() string { return e.text }

// errShown is wrapped by an error whose words have reached the person already.
var errShown = errors.New("already told")

// status tells the person what went wrong, one line a fault, and gives the exit
// status for it.
func status(err error, s Streams) int {
	var usage usageError
	var faults roof.Faults
	var ended Signal
	switch {
	case err == nil, errors.Is(err, flag.ErrHelp):
		return OK
	case errors.As(err, &ended):
		fmt.Fprintln(s.Err, "dewcase: "+ended.Error())
		return ended.exitStatus()
	case errors.As(err, &usage):
		if usage.text != "" {
			fmt.Fprintln(s.Err, "dewcase: "+usage.text)
		}
		return Usage
	case errors.Is(err, errShown):
	case errors.As(err, &faults):
		for _, line := range faults.Lines(roof.FaultLines) {
			fmt.Fprintln(s.Err, line)
		}
	default:
		fmt.Fprintln(s.Err, "dewcase: "+err.Error())
	}
	return roof.ProblemOf(err).ExitStatus()
}

// flags is a command's flag set; what is wrong with its arguments is told once
// and ends with the usage status.
func flags(name, synopsis string, s Streams) *flag.FlagSet {
	f := flag.NewFlagSet(name, flag.ContinueOnError)
	f.SetOutput(s.Err)
	f.Usage = func() {
		fmt.Fprintf(s.Err, "usage: dewcase %s %s\n", name, synopsis)
		f.PrintDefaults()
	}
	return f
}

// parse reads a command's flags and refuses it where a required one is missing.
func parse(f *flag.FlagSet, args []string, required ...string) error {
	if err := f.Parse(args); err != nil {
		if errors.Is(err, flag.ErrHelp) {
			return err
		}
		return usageError{} // the flag package has said it
	}
	without := ""
	if f.NArg() > 0 {
		return usageError{fmt.Sprintf("%s takes no argument %q; flags begin with -", f.Name(), f.Arg(0))}
	}
	f.Visit(func(g *flag.Flag) {
		if strings.HasPrefix(g.Usage, "with -as: ") && f.Lookup("as").Value.String() == "" {
			without = "-" + g.Name
		}
	})
	if without != "" {
		return usageError{without + " goes with -as auto, or -as RECIPE"}
	}
	for _, n := range required {
		if f.Lookup(n).Value.String() == "" {
			return usageError{fmt.Sprintf("%s needs -%s; dewcase %s -h lists the flags", f.Name(), n, f.Name())}
		}
	}
	return nil
}
