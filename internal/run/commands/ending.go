package commands

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// Signal is the cause of a context that a signal ended.
type Signal struct{ syscall.Signal }

func (s Signal) Error() string {
	return "ended by a signal (" + s.String() + ") before it was done"
}

// exitStatus is what a shell gives to a command that a signal ended.
func (s Signal) exitStatus() int { return 128 + int(s.Signal) }

// UntilSignal gives a context that SIGINT and SIGTERM end, with the Signal as its
// cause.
func UntilSignal(parent context.Context) (ctx context.Context, stop func()) {
	ctx, cancel := context.WithCancelCause(parent)
	came := make(chan os.Signal, 1)
	signal.Notify(came, syscall.SIGINT, syscall.SIGTERM)
	go func() {
		select {
		case s := <-came:
			cancel(Signal{s.(syscall.Signal)})
		case <-ctx.Done():
		}
	}()
	return ctx, func() { signal.Stop(came); cancel(nil) }
}

// tidyFor is how long a command that a signal ends has for putting things away.
const tidyFor = 500 * time.Millisecond

// interruptible lets a signal end a command that reads: a read from a pipe that
// nobody writes to cannot be called off, and a file may have no end, so that the
// command is left behind where it is. What it has kept by then is whole.
func interruptible(run func(context.Context, []string, Streams) error) func(context.Context, []string, Streams) error {
	return func(ctx context.Context, args []string, s Streams) error {
		done := make(chan error, 1)
		go func() { done <- run(ctx, args, s) }()
		var err error
		select {
		case err = <-done:
		case <-ctx.Done():
			err = context.Cause(ctx)
			select {
			case err = <-done:
			case <-time.After(tidyFor):
			}
		}
		if err != nil && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		return err
	}
}

// output remembers whether everything written to it arrived.
type output struct {
	io.Writer
	err error
}

func (o *output) Write(p []byte) (int, error) {
	n, err := o.Writer.Write(p)
	if err != nil && o.err == nil {
		o.err = fmt.Errorf("writing to standard output: %w", err)
	}
	return n, err
}

var errNobodyReads = errors.New("standard output is closed, or /dev/null opened for reading too: the answer would be " +
	"lost; write > /dev/null where it is not wanted")

// read refuses a standard output that was closed. At the program's start the
// language's runtime opens /dev/null for reading and writing in such a place,
// which nobody does who throws output away on purpose in a shell.
func (o *output) read() error {
	f, ok := o.Writer.(*os.File)
	if !ok {
		return nil
	}
	var st unix.Stat_t
	flags, err := unix.FcntlInt(f.Fd(), unix.F_GETFL, 0)
	if err != nil || unix.Fstat(int(f.Fd()), &st) != nil {
		return errNobodyReads
	}
	if st.Mode&unix.S_IFMT == unix.S_IFCHR && st.Rdev == unix.Mkdev(1, 3) && flags&unix.O_ACCMODE == unix.O_RDWR {
		return errNobodyReads
	}
	return nil
}

// answering is a command whose answer is what it prints.
func answering(run func(context.Context, []string, Streams) error) func(context.Context, []string, Streams) error {
	return func(ctx context.Context, args []string, s Streams) error {
		if o, ok := s.Out.(*output); ok {
			if err := o.read(); err != nil {
				return err
			}
		}
		return run(ctx, args, s)
	}
}
