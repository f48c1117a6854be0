package app

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"reflect"
	"time"

	"dewcase/internal/door/http/web"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
	"dewcase/internal/run/bell"
)

// CheckedDerived is what a check of kept values found.
type CheckedDerived struct {
	Days      int // of hours and of a chart's columns
	Answers   int
	Summaries int      // of houses, for the list and the counts
	Differs   []string // what is not what the record gives
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
	all, sums := book.All(), summaries(ctx, book, store, derived)
	for i := 0; i < len(all); i += max(len(all)/checkedHouses, 1) {
		if err := out.house(ctx, store, shelf{derived, store}, all[i]); err != nil && !errors.Is(err, roof.ErrElsewhere) {
			return out, err
		}
		checked, differs, err := sums.verify(ctx, all[i].ID)
		if err != nil && !errors.Is(err, roof.ErrElsewhere) {
			return out, err
		}
		if checked {
			out.Summaries++
		}
		out.Differs = append(out.Differs, differs...)
	}
	return out, nil
}

// summaries is what makes the summaries of houses, over a store that is only read.
func summaries(ctx context.Context, book *casebook.Book, store *sqlite.Store, derived *sqlite.Derived) *housekeeper {
	log, s := slog.New(slog.DiscardHandler), shelf{derived, store}
	r := record.New(store).On(s, hoursMethod(), time.Now)
	d := newAssessor(ctx, r, time.Now, log).on(s, answerMethod())
	k := &housekeeper{book: book, list: derived, record: store, readings: store, answer: d.kept, method: program(),
		now: time.Now, log: log}
	reach := &bell.Reach{ReachOptions: bell.ReachOptions{Cases: book, State: store}}
	k.alerts = bell.New(bell.Options{Reach: reach}).Alerts
	k.summarise = func(ctx context.Context, id string, answer func(string) (assessment.Answer, bool)) (web.HouseSummary,
		error) {
		p := web.Pages{Options: web.Options{Cases: book, Now: k.now, Log: log,
			Record: pageRecord{views{book, r, d, k.now}, store, curves.New(r).On(s, restsBy(r))}}}
		return p.Summarise(ctx, id, answer)
	}
	return k
}

// verify makes a house's summary anew, as at the time at which it was made, and says
// what of it differs; checked is false where it is out of date or there is none.
func (k *housekeeper) verify(ctx context.Context, id string) (checked bool, differs []string, err error) {
	e, err := k.book.Get(id)
	if err != nil {
		return false, nil, err
	}
	listed, err := k.list.HousesOf(ctx, []string{id})
	was, ok := listed[id]
	if err != nil || !ok || was.Data == nil || was.Made.IsZero() {
		return false, nil, err
	}
	k.now = func() time.Time { return was.Made }
	a, answered := k.answer(ctx, e.Case)
	alerts, err := k.alerts(ctx, id)
	if err != nil {
		return false, nil, err
	}
	if rests, err := k.restsOn(ctx, e, a, answered, alerts); err != nil || rests != was.Rests {
		return false, nil, err
	}
	h, err := k.summed(ctx, id, a, answered, alerts)
	if err != nil {
		return false, nil, err
	}
	l, old := h.Listed(), summaryOf(was)
	h.Made = old.Made
	one, errOne := kept.Pack(h)
	other, errOther := kept.Pack(old)
	l.Name, l.Rests, l.Data, l.Made, was.Data = was.Name, was.Rests, nil, was.Made, nil
	if !bytes.Equal(one, other) || !reflect.DeepEqual(l, was) {
		differs = []string{"case " + id + ": the house is listed with figures that its readings do not give"}
	}
	return true, differs, errors.Join(errOne, errOther)
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
