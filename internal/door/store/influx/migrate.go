package influx

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dewcase/internal/roof"
)

// Moved is what a migration did.
type Moved struct {
	Days, Readings int64 // moved, each day compared by count and digest
}

// MoveOut brings everything that the local store holds into the engine, reads
// it back and compares each day, and leaves the digests here. Broken off, it
// goes on where it stopped when called again; what is refused or does not
// agree stays here and is an error, and so is an engine that fails for a minute or
// cannot be read back. Sealed days alone are moved: seal first.
func MoveOut(ctx context.Context, local Local, client *Client, opt DrainOptions) (m Moved, err error) {
	if err := client.RoundTrip(ctx); err != nil {
		return m, fmt.Errorf("moving to InfluxDB: %w", err)
	}
	if opt.GiveUp == 0 {
		opt.GiveUp = time.Minute
	}
	drain := NewDrain(client, local, opt)
	waiting, _, err := local.Backlog(ctx)
	if err != nil {
		return m, err
	}
	if waiting == 0 {
		// Days that were moved before a break are not posted again.
		if err := local.PostAll(ctx); err != nil {
			return m, err
		}
	}
	if err := drain.Empty(ctx); err != nil {
		return m, fmt.Errorf("moving to InfluxDB: %w", err)
	}
	if _, refused, err := local.Backlog(ctx); err != nil || refused > 0 {
		if err == nil {
			err = fmt.Errorf("moving to InfluxDB: it refused %d entries, which stay here", refused)
		}
		return m, err
	}
	for {
		aged, err := local.Aged(ctx, latest, 64)
		if err != nil {
			return m, err
		}
		for _, d := range aged {
			ok, err := readBack(ctx, local, client, d)
			if errors.Is(err, roof.ErrDamaged) {
				// An instance that kept the house before may have written there last.
				if err = errors.Join(local.PostDay(ctx, d), drain.Empty(ctx)); err == nil {
					ok, err = readBack(ctx, local, client, d)
				}
			}
			if err != nil {
				return m, err
			}
			if !ok {
				return m, errors.New("moving to InfluxDB: new readings arrived meanwhile; stop the daemon, or move again")
			}
			m.Days++
			m.Readings += d.Count
		}
		if len(aged) == 0 {
			return m, nil
		}
	}
}

// readBack lets go of a day here if the engine gives back what was stored of it.
func readBack(ctx context.Context, local Local, client *Client, d roof.KeptDay) (bool, error) {
	readings, err := client.Readings(ctx, d.Case, d.Logger, d.Day, d.Day.Add(day))
	if err != nil {
		return false, fmt.Errorf("reading back what was moved: %w", err)
	}
	ok, err := local.Release(ctx, d, readings)
	if err != nil {
		return false, fmt.Errorf("comparing what was moved: %w", err)
	}
	return ok, nil
}

// MoveBack takes every day that lies in the engine alone back into the local
// store, each compared by count and digest. Broken off, it goes on where it
// stopped when called again. Nothing is deleted in the engine.
func MoveBack(ctx context.Context, local Local, client *Client) (m Moved, err error) {
	away, err := local.Elsewhere(ctx, "", "", time.Time{}, time.Time{})
	if err != nil {
		return m, err
	}
	for _, d := range away {
		readings, err := client.Readings(ctx, d.Case, d.Logger, d.Day, d.Day.Add(day))
		if err != nil {
			return m, fmt.Errorf("reading from InfluxDB: %w", err)
		}
		if err := local.Adopt(ctx, d, readings); err != nil {
			return m, err
		}
		m.Days++
		m.Readings += d.Count
	}
	return m, nil
}

// Verify compares every day that lies in the engine alone with its digest and
// names those that do not agree.
func Verify(ctx context.Context, local Local, client *Client) (m Moved, err error) {
	away, err := local.Elsewhere(ctx, "", "", time.Time{}, time.Time{})
	if err != nil {
		return m, err
	}
	var bad []error
	for _, d := range away {
		readings, err := client.Readings(ctx, d.Case, d.Logger, d.Day, d.Day.Add(day))
		if err != nil {
			return m, fmt.Errorf("reading from InfluxDB: %w", err)
		}
		if err := local.Agrees(ctx, d, readings); err != nil {
			if !errors.Is(err, roof.ErrDamaged) {
				return m, err
			}
			bad = append(bad, err)
			continue
		}
		m.Days++
		m.Readings += d.Count
	}
	return m, errors.Join(bad...)
}

// marks remembers small things by kind and key; roof.ErrNotFound where there is
// none.
type marks interface {
	State(ctx context.Context, kind, key string) ([]byte, error)
	PutState(ctx context.Context, kind, key string, blob []byte) error
}

// Begin puts everything that is already here into the outbox when an engine's
// bucket is used for the first time, so that a mirror or a store in InfluxDB is
// whole from the beginning. Call it after opening the local store with its
// outbox on.
func Begin(ctx context.Context, local DayKeeper, kept marks, s Server) error {
	const kind = "influx_begun"
	key := s.URL + " " + s.Org + " " + s.Bucket
	_, err := kept.State(ctx, kind, key)
	if !errors.Is(err, roof.ErrNotFound) {
		return err
	}
	if err := local.PostAll(ctx); err != nil {
		return err
	}
	return kept.PutState(ctx, kind, key, []byte("1"))
}
