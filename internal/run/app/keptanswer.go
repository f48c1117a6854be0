package app

import (
	"context"
	"math"
	"time"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
)

// kindAnswer is an assessment among what is kept, one a case.
const kindAnswer = "answer"

// keptAnswer is an assessment as it is kept beyond the life of the daemon.
type keptAnswer struct {
	Case     kept.Digest // of the part of the case file that bears on it, and the method
	Record   kept.Digest // of what was measured; zero where more came while it was read
	Readings int64
	At       time.Time
	Took     time.Duration
	Answer   assessment.Answer
}

// on has the assessor keep its answers on a shelf, as worked out by a method.
func (d *assessor) on(s record.Shelf, method string) *assessor {
	if method != "" {
		d.shelf, d.method = s, method
	}
	return d
}

// restsOn is the digest of what was measured of a case.
func (d *assessor) restsOn(ctx context.Context, c *roof.Case) (kept.Digest, error) {
	if d.shelf == nil {
		return kept.Digest{}, nil
	}
	days, err := d.shelf.DaySums(ctx, c.ID, math.MinInt64, math.MaxInt64)
	return kept.OfRecord(c, days), err
}

// ofCase is the digest of what an answer rests on beside what was measured.
func (d *assessor) ofCase(ctx context.Context, c *roof.Case) (kept.Digest, error) {
	usual, err := d.record.Usual(ctx, c)
	if err != nil {
		return kept.Digest{}, err
	}
	return kept.OfCase(d.method, c, usual)
}

// takeDown gives the answer that is kept of a case, if it is of this case file and
// method. Its version is that of the record only where it rests on all of it.
func (d *assessor) takeDown(ctx context.Context, c *roof.Case) (answer, bool) {
	if d.shelf == nil {
		return answer{}, false
	}
	version := d.record.Version(c.ID)
	of, err := d.ofCase(ctx, c)
	if err != nil {
		return answer{}, false
	}
	values, err := d.shelf.Kept(ctx, kindAnswer, c.ID, 0, 1)
	if err != nil || len(values) == 0 || values[0].Rests != of {
		return answer{}, false
	}
	var k keptAnswer
	if err := kept.Unpack(values[0].Data, &k); err != nil || k.Case != of {
		return answer{}, false
	}
	a := answer{c: c, version: -1, readings: k.Readings, at: k.At, took: k.Took, answer: k.Answer}
	if now, err := d.restsOn(ctx, c); err == nil && now == k.Record {
		a.version = version
	}
	return a, true
}

// keep puts an answer on the shelf. One that cannot be kept is right all the same.
func (d *assessor) keep(ctx context.Context, c *roof.Case, a answer, rests kept.Digest) {
	if d.shelf == nil {
		return
	}
	of, err := d.ofCase(ctx, c)
	if err != nil {
		return
	}
	data, err := kept.Pack(keptAnswer{of, rests, a.readings, a.at, a.took, a.answer})
	if err == nil {
		err = d.shelf.Keep(ctx, kindAnswer, c.ID, []roof.Derived{{Rests: of, Data: data}})
	}
	if err != nil && ctx.Err() == nil {
		d.log.Warn("an assessment could not be kept; it is worked out again after a restart", "case", c.ID, "error", err)
	}
}

// shelf is where the record and what was worked out from it are kept.
type shelf struct {
	*sqlite.Derived
	record *sqlite.Store
}

func (s shelf) DaySums(ctx context.Context, caseID string, from, until int64) ([]roof.DaySum, error) {
	return s.record.DaySums(ctx, caseID, from, until)
}

// openDerived opens what was kept of earlier work.
func (a *App) openDerived(ctx context.Context) error {
	d, err := sqlite.OpenDerived(ctx, a.opt.Config.Data, a.opt.DropDerived, a.opt.Now, a.opt.Log)
	if err != nil {
		return err
	}
	a.onStop("what was worked out", func(context.Context) error { return d.Close() })
	a.derived = d
	s := shelf{d, a.store}
	a.record.On(s, hoursMethod(), a.opt.Now)
	if hoursMethod() != "" {
		a.curves.On(s, restsBy(a.record))
	}
	a.assessor.on(s, answerMethod())
	return nil
}
