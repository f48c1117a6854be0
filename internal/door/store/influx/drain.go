package influx

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	"dewcase/internal/roof"
)

// Outbox is where readings wait, durably, to be copied.
type Outbox interface {
	Pending(ctx context.Context, after int64, limit int) (out []roof.Outgoing, last int64, err error)
	Sent(ctx context.Context, upTo int64) error
	Refuse(ctx context.Context, o roof.Outgoing, why string) error
	Backlog(ctx context.Context) (waiting, refused int64, err error)
}

// DrainOptions tune a drain. Zero values take the defaults.
type DrainOptions struct {
	Log      *slog.Logger
	Batch    int           // readings a write; default 5000
	MinPause time.Duration // first pause after a failure; default 0.5 s
	MaxPause time.Duration // longest pause; default 1 min
	Regular  time.Duration // looks for work at least this often; default 10 s
	GiveUp   time.Duration // ends with the error after failing so long, or at once with errSetUp; 0: never
}

// Drain empties an outbox into an engine, in order: an entry leaves the outbox
// only when the engine has confirmed it, so that a failure or a kill between
// the two sends it again, which overwrites the point with itself.
type Drain struct {
	client *Client
	from   Outbox
	opt    DrainOptions
	wake   chan struct{}

	mu    sync.Mutex
	state DrainState
}

// DrainState is how the drain stands.
type DrainState struct {
	Waiting int64     // readings in the outbox
	Refused int64     // readings that the engine would not take
	Written int64     // readings written since the start
	Err     error     // of the last write; nil while all is well
	Since   time.Time // since when writing fails
}

// NewDrain makes a drain; Run runs it.
func NewDrain(client *Client, from Outbox, opt DrainOptions) *Drain {
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	if opt.Batch <= 0 {
		opt.Batch = 5000
	}
	if opt.MinPause <= 0 {
		opt.MinPause = 500 * time.Millisecond
	}
	if opt.MaxPause <= 0 {
		opt.MaxPause = time.Minute
	}
	if opt.Regular <= 0 {
		opt.Regular = 10 * time.Second
	}
	return &Drain{client: client, from: from, opt: opt, wake: make(chan struct{}, 1)}
}

// Wake tells the drain that there is something new.
func (d *Drain) Wake() {
	select {
	case d.wake <- struct{}{}:
	default:
	}
}

// State says how the drain stands.
func (d *Drain) State(ctx context.Context) (DrainState, error) {
	waiting, refused, err := d.from.Backlog(ctx)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.state.Waiting, d.state.Refused = waiting, refused
	return d.state, err
}

// Run drains until the context ends.
func (d *Drain) Run(ctx context.Context) {
	tick := time.NewTicker(d.opt.Regular)
	defer tick.Stop()
	for ctx.Err() == nil {
		if err := d.pass(ctx, true); err != nil && ctx.Err() == nil {
			d.opt.Log.Warn("copying to InfluxDB failed", "error", err)
			if !sleep(ctx, d.opt.MinPause) {
				return
			}
		}
		select {
		case <-ctx.Done():
		case <-d.wake:
			sleep(ctx, gather)
		case <-tick.C:
		}
	}
}

// gather is how long new readings collect before they are written: one write
// and one confirmation for many, so that copying out takes next to nothing from
// ingest.
const gather = 500 * time.Millisecond

// part is some of the outbox's content on its way.
type part struct {
	out  []roof.Outgoing
	last int64
	err  error
}

// Empty drains until nothing waits. While the engine fails it keeps trying,
// with growing pauses; it returns early only if the outbox itself fails or the
// context ends. Reading the next part, writing one and confirming the one
// before go on side by side.
func (d *Drain) Empty(ctx context.Context) error { return d.pass(ctx, false) }

// pass is Empty; where untilShort it ends with the first part that is not full,
// so that a steady flow is not chased reading by reading.
func (d *Drain) pass(ctx context.Context, untilShort bool) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	read := make(chan part, 1)
	written := make(chan int64, 1)
	var wg sync.WaitGroup
	defer wg.Wait()
	wg.Go(func() {
		defer close(read)
		for after := int64(0); ; {
			out, last, err := d.from.Pending(ctx, after, d.opt.Batch)
			if err == nil && last == after {
				return
			}
			select {
			case read <- part{out, last, err}:
			case <-ctx.Done():
				return
			}
			if err != nil || untilShort && len(out) < d.opt.Batch {
				return
			}
			after = last
		}
	})
	confirmed := make(chan error, 1)
	wg.Go(func() {
		var err error
		for upTo := range written {
			if err == nil {
				err = d.from.Sent(ctx, upTo)
			}
			if err != nil {
				cancel()
			}
		}
		confirmed <- err
	})
	err := func() error {
		defer close(written)
		for p := range read {
			if p.err != nil {
				return p.err
			}
			for i := 0; i < len(p.out); i += 2 * d.opt.Batch { // a day's entry can be long
				if err := d.persist(ctx, p.out[i:min(i+2*d.opt.Batch, len(p.out))]); err != nil {
					return err
				}
			}
			written <- p.last
		}
		return ctx.Err()
	}()
	if e := <-confirmed; e != nil {
		return e
	}
	return err
}

// persist writes until it is written.
func (d *Drain) persist(ctx context.Context, out []roof.Outgoing) error {
	began := time.Now()
	for pause := d.opt.MinPause; ; pause = min(2*pause, d.opt.MaxPause) {
		err := d.write(ctx, out)
		d.note(len(out), err)
		if err == nil || ctx.Err() != nil {
			return err
		}
		var own outboxError
		if errors.As(err, &own) || d.opt.GiveUp > 0 && (errors.Is(err, errSetUp) || time.Since(began) > d.opt.GiveUp) {
			return err
		}
		// Between half and all of it, so that many do not come back together.
		if !sleep(ctx, pause/2+rand.N(pause/2+1)) {
			return ctx.Err()
		}
	}
}

// outboxError is one of the outbox, not of the engine.
type outboxError struct{ error }

func (o outboxError) Unwrap() error { return o.error }

// write writes once. Where the engine refuses a part, the halves are tried, so
// that what it will not have takes nothing with it.
func (d *Drain) write(ctx context.Context, out []roof.Outgoing) error {
	if len(out) == 0 {
		return nil
	}
	err := d.client.Write(ctx, out)
	if !errors.Is(err, ErrRefused) {
		return err
	}
	if len(out) > 1 {
		if err := d.write(ctx, out[:len(out)/2]); err != nil {
			return err
		}
		return d.write(ctx, out[len(out)/2:])
	}
	d.opt.Log.Error("InfluxDB will not have a reading; it stays in the outbox's list of refused ones", "case", out[0].Case,
		"logger", out[0].Reading.Logger, "at", out[0].Reading.At, "error", err)
	if err := d.from.Refuse(ctx, out[0], err.Error()); err != nil {
		return outboxError{fmt.Errorf("noting a refusal: %w", err)}
	}
	return nil
}

func (d *Drain) note(n int, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case err == nil:
		if d.state.Err != nil {
			d.opt.Log.Info("copying to InfluxDB works again", "failed_since", d.state.Since)
		}
		d.state.Err, d.state.Since = nil, time.Time{}
		d.state.Written += int64(n)
	case d.state.Err == nil:
		d.state.Err, d.state.Since = err, time.Now()
		d.opt.Log.Warn("copying to InfluxDB fails; readings wait in the outbox", "error", err)
	default:
		d.state.Err = err
	}
}

func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
