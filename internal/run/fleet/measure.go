package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"sync"
	"syscall"
	"time"

	"dewcase/internal/reason/alert"
)

// settle waits until every house was examined once and the nightly work of
// those that lack it is done.
func (c *child) settle(ctx context.Context, o options, out io.Writer) error {
	began := time.Now()
	for {
		examined, err := c.metric(ctx, "dewcase_houses_examined_total")
		if err != nil {
			return err
		}
		nights, err := c.metric(ctx, "dewcase_nights_assessed_total")
		if err != nil {
			return err
		}
		if int(examined) >= o.houses && int(nights) >= min(o.nightly, o.houses) {
			break
		}
		if time.Since(began) > time.Hour {
			return fmt.Errorf("%.0f houses examined, %.0f nights assessed, after an hour", examined, nights)
		}
		time.Sleep(time.Second)
	}
	u, err := c.used()
	fmt.Fprintf(out, "start: every house examined and %d assessed within %.1f s of processor time and %.0f s, %d MiB "+
		"resident\n", min(o.nightly, o.houses), u.cpu.Seconds(), time.Since(c.began).Seconds(), u.rss>>20)
	return err
}

// measure runs the rounds and tells what they cost, each line as soon as it is known.
func measure(ctx context.Context, o options, t *town, c *child, l *loggers, out io.Writer) error {
	dry, err := c.wetCoverings(ctx, t)
	if err != nil {
		return err
	}
	behind := watchBehind(ctx, c)
	begun := func() error { _, err := l.run(ctx, 1); return err }
	if err := c.whileAsked(ctx, t, out, "the begun round", begun); err != nil {
		return err
	}
	if err := c.rounds(ctx, "rounds", o.rounds, l, out); err != nil {
		return err
	}
	if o.paged > 0 {
		if err := c.whileAsked(ctx, t, out, "the rounds with pages", func() error {
			return c.rounds(ctx, "rounds with pages", o.paged, l, out)
		}); err != nil {
			return err
		}
	}
	fmt.Fprintf(out, "alerts: readings waited to be examined at most %.0f s on the daemon's clock\n", behind())
	return c.tellAlerts(ctx, l, dry, out)
}

// rounds runs a number of rounds and tells what each cost, and all of them.
func (c *child) rounds(ctx context.Context, name string, rounds int, l *loggers, out io.Writer) error {
	if rounds == 0 {
		return nil
	}
	commits := func() float64 { n, _ := c.metric(ctx, "dewcase_store_commits_total"); return n }
	first, err := c.used()
	if err != nil {
		return err
	}
	made, began, before := commits(), time.Now(), first
	c.signal(syscall.SIGUSR1)
	var acks []time.Duration
	per := func(from, to used, rounds int) float64 {
		return (to.cpu - from.cpu).Seconds() * 1000 / float64(l.town.houses*rounds)
	}
	for k := range rounds {
		one, err := l.run(ctx, 1)
		if err != nil {
			return err
		}
		after, err := c.used()
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "  round %d: %.2f ms a house, %s, resident %d MiB\n", k+1, per(before, after, 1),
			spread("acknowledged after", one), after.rss>>20)
		acks, before = append(acks, one...), after
	}
	took := time.Since(began)
	c.signal(syscall.SIGUSR2)
	whole := per(first, before, rounds)
	fmt.Fprintf(out, "%s: %d rounds, %d readings; processor %.2f ms a house and round, %.3f of one processor at the "+
		"world's pace; %s; commits %.0f, %.0f bytes written a reading; resident %d MiB, at most %d; in all %.1f s of "+
		"processor in %.0f s\n", name, rounds, len(acks), whole, whole/1000*float64(l.town.houses)/interval.Seconds(),
		spread("acknowledged after", acks), commits()-made,
		float64(before.written-first.written)/float64(len(acks)), before.rss>>20, before.peak>>20,
		(before.cpu - first.cpu).Seconds(), took.Seconds())
	return nil
}

// whileAsked asks for pages while something is done, and tells how long they took.
func (c *child) whileAsked(ctx context.Context, t *town, out io.Writer, when string, do func() error) error {
	asking, enough := context.WithCancel(ctx)
	defer enough()
	var pages sync.WaitGroup
	var asked *asked
	pages.Go(func() { asked = c.ask(asking, t) })
	err := do()
	enough()
	pages.Wait()
	if err = errors.Join(err, asked.err); err != nil {
		return err
	}
	u, err := c.used()
	fmt.Fprintf(out, "list of houses, in %s: %s\na house's page: %s; resident %d MiB, at most %d\n", when,
		spread("answered after", asked.lists), spread("answered after", asked.houses), u.rss>>20, u.peak>>20)
	return err
}

// spread gives the median, the 99th percentile and the largest.
func spread(what string, all []time.Duration) string {
	if len(all) == 0 {
		return "none " + what
	}
	slices.Sort(all)
	ms := func(p float64) float64 {
		return float64(all[min(int(p*float64(len(all))), len(all)-1)].Microseconds()) / 1000
	}
	return fmt.Sprintf("%s %.1f ms, p99 %.1f, at most %.1f (%d)", what, ms(.5), ms(.99), ms(1), len(all))
}

// asked is how long pages took.
type asked struct {
	lists, houses []time.Duration
	err           error
}

// ask asks for pages, one after the other with a pause between, until the
// context ends: the list, searched and sorted, and single houses.
func (c *child) ask(ctx context.Context, t *town) *asked {
	a := &asked{}
	for n := 0; ctx.Err() == nil; n++ {
		h := t.house(rand.IntN(t.visited))
		list := []string{"/", fmt.Sprintf("/?q=House+%d", h.n), "/?sort=wet", "/?sort=last&page=2"}[n%4]
		for path, into := range map[string]*[]time.Duration{list: &a.lists, "/cases/" + h.id + "/": &a.houses} {
			_, took, err := c.get(context.WithoutCancel(ctx), path) // one that was asked is waited for
			if err != nil {
				a.err = err
				return a
			}
			*into = append(*into, took)
		}
		select {
		case <-ctx.Done():
		case <-time.After(200 * time.Millisecond):
		}
	}
	return a
}

// watchBehind looks every few seconds how far the alerts are behind; calling it gives
// the largest, in s by the daemon's clock.
func watchBehind(ctx context.Context, c *child) func() float64 {
	ctx, enough := context.WithCancel(ctx)
	var watching sync.WaitGroup
	most := 0.0
	watching.Go(func() {
		for ctx.Err() == nil {
			if s, err := c.metric(ctx, "dewcase_alerts_behind_seconds"); err == nil {
				most = max(most, s)
			}
			select {
			case <-ctx.Done():
			case <-time.After(5 * time.Second):
			}
		}
	})
	return func() float64 {
		enough()
		watching.Wait()
		return most
	}
}

// wetAlert is when the water at a house's covering was told; zero where it was
// not.
func (c *child) wetAlert(ctx context.Context, h house) (time.Time, error) {
	body, _, err := c.get(ctx, "/api/cases/"+h.id+"/alerts")
	if err != nil {
		return time.Time{}, err
	}
	var all []struct {
		Condition, Position, State string
		Since                      time.Time
	}
	if err := json.Unmarshal(body, &all); err != nil {
		return time.Time{}, err
	}
	for _, x := range all {
		p, _ := h.file.Position(x.Position)
		if x.Condition == string(alert.SurfaceWet) && x.State != string(alert.Cleared) && p.Place.IsSurface() &&
			h.coverAt(x.Position) {
			return x.Since, nil
		}
	}
	return time.Time{}, nil
}

// coverAt reports that the position carries the covering's logger.
func (h house) coverAt(position string) bool {
	for _, l := range h.loggers {
		if f, _ := h.file.Logger(l.id); l.covers && f.Fitted[0].Position == position {
			return true
		}
	}
	return false
}

// wetCoverings lists the houses that will be wetted and are dry now.
func (c *child) wetCoverings(ctx context.Context, t *town) (dry []house, err error) {
	for n := 0; n < t.houses; n += wetEvery {
		h := t.house(n)
		since, err := c.wetAlert(ctx, h)
		if err != nil {
			return nil, err
		}
		if since.IsZero() {
			dry = append(dry, h)
		}
	}
	return dry, nil
}

// tellAlerts says how soon wetted coverings were told.
func (c *child) tellAlerts(ctx context.Context, l *loggers, dry []house, out io.Writer) error {
	// What lags behind is told above; here the question is whether all is told.
	for deadline := l.town.now().Add(30 * time.Minute); l.town.now().Before(deadline); {
		time.Sleep(time.Duration(float64(2*time.Minute) / l.town.speed))
		if s, err := c.metric(ctx, "dewcase_alerts_behind_seconds"); err != nil || s == 0 {
			break
		}
	}
	var after []time.Duration
	told, due := 0, 0
	for _, h := range dry {
		complete, ok := l.wetted[h.id]
		if !ok {
			continue
		}
		due++
		since, err := c.wetAlert(ctx, h)
		if err != nil {
			return err
		}
		if !since.IsZero() {
			told++
			after = append(after, max(0, since.Sub(complete)))
		}
	}
	fmt.Fprintf(out, "alerts: %d of %d wetted coverings told", told, due)
	if told > 0 {
		slices.Sort(after)
		fmt.Fprintf(out, ", in the median %.0f s and at most %.0f s after the reading that completes the wetting",
			after[len(after)/2].Seconds(), after[len(after)-1].Seconds())
	}
	fmt.Fprintln(out)
	if told < due {
		return fmt.Errorf("%d wetted coverings were not told", due-told)
	}
	return nil
}
