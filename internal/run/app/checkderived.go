package app

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"time"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
)

// CheckedDerived is what a check of kept values found.
type CheckedDerived struct {
	Days    int // of hours and of a chart's columns
	Answers int
	Differs []string // what is not what the record gives
}

// How much is worked out anew: of so many houses so many days of hours and of
// charts, and of the first so many houses with one the assessment, some seconds each.
const (
	checkedHouses  = 20
	checkedDays    = 5
	checkedAnswers = 5
)

// CheckDerived works a sample of what is kept of earlier work in a data folder out
// anew: some days of each of some houses, and some assessments.
func CheckDerived(ctx context.Context, dir string) (out CheckedDerived, err error) {
	store, derived, end, err := sqlite.Reading(ctx, dir)
	if err != nil {
		return out, err
	}
	defer func() { err = errors.Join(err, end()) }()
	if derived == nil {
		return out, nil
	}
	book, err := casebook.Open(ctx, caseStore{Store: store})
	if book == nil {
		return out, err
	}
	all := book.All()
	for i := 0; i < len(all); i += max(len(all)/checkedHouses, 1) {
		if err := out.house(ctx, store, shelf{derived, store}, all[i]); err != nil && !errors.Is(err, roof.ErrElsewhere) {
			return out, err
		}
	}
	return out, nil
}

// house checks what is kept of one house.
func (k *CheckedDerived) house(ctx context.Context, store *sqlite.Store, s shelf, c *roof.Case) error {
	r := record.New(store).On(s, hoursMethod(), time.Now)
	hours, differs, err := record.Verify(ctx, store, s, hoursMethod(), c, checkedDays)
	if err != nil {
		return err
	}
	k.Days, k.Differs = k.Days+hours, append(k.Differs, differs...)
	charts := curves.New(r).On(s, restsBy(r))
	days, differs, err := charts.Verify(ctx, c, checkedDays)
	if err != nil {
		return err
	}
	k.Days, k.Differs = k.Days+days, append(k.Differs, differs...)
	if k.Answers == checkedAnswers {
		return nil
	}
	d := newAssessor(ctx, r, time.Now, slog.New(slog.DiscardHandler)).on(s, answerMethod())
	was, ok := d.takeDown(ctx, c)
	if !ok || was.version < 0 { // of another case file or method, or readings came since
		return nil
	}
	set, err := r.Whole(ctx, c, SideBySide)
	if err != nil {
		return err
	}
	k.Answers++
	a, errA := kept.Pack(was.answer)
	b, errB := kept.Pack(assessment.OfBy(SideBySide, set))
	if err := errors.Join(errA, errB); err != nil {
		return err
	}
	if !bytes.Equal(a, b) {
		k.Differs = append(k.Differs, "case "+c.ID+": the assessment of "+was.at.UTC().Format(time.RFC3339)+
			" is kept with figures that its readings do not give")
	}
	return nil
}

// restsBy gives what days of charts rest on.
func restsBy(r *record.Reader) curves.Rests {
	return func(ctx context.Context, c *roof.Case, fromMS, untilMS int64) (kept.Hours, int64, bool, error) {
		return r.Rests(ctx, c, curvesMethod(), fromMS, untilMS)
	}
}
