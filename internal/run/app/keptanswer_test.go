package app

import (
	"context"
	"encoding/json"
	"log/slog"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/kept"
	"dewcase/internal/flow/record"
	"dewcase/internal/physics/roofsim"
	"dewcase/internal/roof"
	"dewcase/internal/testkit/benchwinter"
	"dewcase/internal/testkit/roofworlds"
)

// repaired is a simulated house with a repair in the middle of its record.
func repaired(t *testing.T, cause roofsim.Cause, days int) (*roof.Case, []roof.Reading) {
	t.Helper()
	world := roofworlds.Draw(11, cause)
	start := roofsim.Run(world, roofsim.Options{Days: 1}).Start
	open := 25.0
	w := roofsim.Run(world, roofsim.Options{Days: days,
		Repairs: []roofsim.Repair{{At: start.AddDate(0, 0, days/2), VoidEavesMM: &open, VoidRidgeMM: &open}}})
	m := roofworlds.Kit{Interval: 10 * time.Minute, Faults: roofsim.FieldFaults()}.Measure(w, 3)
	return m.Case, m.Readings
}

// daemon is what stands behind an assessment, as a start makes it.
type daemon struct {
	*assessor
	store *sqlite.Store
}

func (d daemon) append(t *testing.T, c *roof.Case, readings ...roof.Reading) {
	t.Helper()
	outcomes, err := d.store.Append(t.Context(), c.ID, readings)
	require.NoError(t, err)
	d.record.Appended(c.ID, readings, outcomes)
}

func begun(t *testing.T, dir, method string, now time.Time) (daemon, func()) {
	t.Helper()
	log := slog.New(slog.DiscardHandler)
	store, err := sqlite.Open(t.Context(), dir, sqlite.Options{SealAfter: -1})
	require.NoError(t, err)
	derived, err := sqlite.OpenDerived(t.Context(), dir, false, time.Now, log)
	require.NoError(t, err)
	clock := func() time.Time { return now }
	s := shelf{derived, store}
	ctx, cancel := context.WithCancel(t.Context())
	d := newAssessor(ctx, record.New(store).On(s, method, clock), clock, log).on(s, method)
	return daemon{d, store}, func() {
		cancel()
		d.running.Wait()
		require.NoError(t, derived.Close())
		require.NoError(t, store.Close())
	}
}

// isKept reports whether an exact answer is at hand without any work.
func (d daemon) isKept(t *testing.T, c *roof.Case) bool {
	t.Helper()
	k, ok := d.kept(t.Context(), c)
	return ok && k.version == d.record.Version(c.ID)
}

func TestARestartServesTheLastAssessment(t *testing.T) {
	ctx, dir := t.Context(), t.TempDir()
	c, readings := repaired(t, roofsim.UnventedBattenVoid, 40)
	now := readings[len(readings)-1].At.Add(time.Hour)
	d, end := begun(t, dir, "1", now)
	d.append(t, c, readings...)
	before, err := d.Current(ctx, c)
	require.NoError(t, err)
	end()

	d, end = begun(t, dir, "1", now)
	require.True(t, d.isKept(t, c), "nothing is worked out twice")
	after, err := d.Current(ctx, c)
	require.NoError(t, err)
	same(t, before, after)

	renamed := *c
	renamed.Property.Label = "Larch Cottage"
	require.True(t, d.isKept(t, &renamed), "a label is no reason to assess")
	offset := renamed
	offset.Loggers = append([]roof.Logger{}, c.Loggers...)
	offset.Loggers[0].Offsets = append([]roof.Offset{}, roof.Offset{From: readings[0].At, TempC: 0.3})
	_, ok := d.kept(ctx, &offset)
	require.False(t, ok, "a corrected offset is")
	end()

	d, end = begun(t, dir, "2", now)
	_, ok = d.kept(ctx, c)
	require.False(t, ok, "another method works out anew")
	end()

	d, end = begun(t, dir, "1", now)
	defer end()
	late := readings[0]
	late.At, late.Arrived = readings[0].At.Add(17*time.Second), now
	_, err = d.store.Append(ctx, c.ID, []roof.Reading{late}) // before this start knew of the case
	require.NoError(t, err)
	require.False(t, d.isKept(t, c), "it lacks a late reading")
	lags, err := d.Recent(ctx, c)
	require.NoError(t, err)
	same(t, before, lags) // a page may, and has it refreshed
	exact, err := d.Current(ctx, c)
	require.NoError(t, err)
	require.NotEqual(t, text(t, before), text(t, exact))
	require.True(t, d.isKept(t, c))
}

// An answer that is packed and unpacked is the same on every page.
func TestAKeptAnswerIsTheSameToTheLastDigit(t *testing.T) {
	for _, cause := range []roofsim.Cause{roofsim.UnventedBattenVoid, roofsim.CeilingLeakage, roofsim.WaterIngress} {
		t.Run(string(cause), func(t *testing.T) {
			d, end := begun(t, t.TempDir(), "", time.Now())
			defer end()
			c, readings := repaired(t, cause, 30)
			d.append(t, c, readings...)
			want, err := d.Current(t.Context(), c)
			require.NoError(t, err)
			b, err := kept.Pack(want)
			require.NoError(t, err)
			var got assessment.Answer
			require.NoError(t, kept.Unpack(b, &got))
			same(t, want, got)
			again, err := kept.Pack(got)
			require.NoError(t, err)
			require.Equal(t, b, again)
			for i := range want.Repairs {
				require.Equal(t, want.House(i), got.House(i))
			}
		})
	}
}

func same(t *testing.T, want, got assessment.Answer) {
	t.Helper()
	require.Equal(t, text(t, want), text(t, got))
	// What stands behind the figures, for pages and reports.
	a, err := kept.Pack(want)
	require.NoError(t, err)
	b, err := kept.Pack(got)
	require.NoError(t, err)
	require.True(t, string(a) == string(b), "what stands behind it differs")
}

func text(t *testing.T, a assessment.Answer) string {
	t.Helper()
	b, err := json.Marshal(a.Assessment)
	require.NoError(t, err)
	return string(b)
}

// A check works a kept assessment out anew and names one that is not what the
// readings give, though its check value fits.
func TestACheckWorksKeptAssessmentsOutAnew(t *testing.T) {
	ctx, dir := t.Context(), t.TempDir()
	d, end := begun(t, dir, answerMethod(), time.Now())
	defer end()
	book, err := casebook.Open(ctx, caseStore{Store: d.store})
	require.NoError(t, err)
	_, err = book.Create(ctx, []byte(benchwinter.CaseFile), "test")
	require.NoError(t, err)
	c, err := book.Case(ctx, "bench-house")
	require.NoError(t, err)
	for i := range benchwinter.Loggers {
		d.append(t, c, slices.Collect(benchwinter.Readings(i, 3))...)
	}
	_, err = d.Current(ctx, c)
	require.NoError(t, err)
	found, err := CheckDerived(ctx, dir)
	require.NoError(t, err)
	require.Equal(t, 1, found.Answers)
	require.Empty(t, found.Differs)

	values, err := d.shelf.Kept(ctx, kindAnswer, c.ID, 0, 1)
	require.NoError(t, err)
	var k keptAnswer
	require.NoError(t, kept.Unpack(values[0].Data, &k))
	*k.Answer.Surfaces[0].HoursCondensing += 1e-9
	values[0].Data, err = kept.Pack(k)
	require.NoError(t, err)
	require.NoError(t, d.shelf.Keep(ctx, kindAnswer, c.ID, values))
	found, err = CheckDerived(ctx, dir)
	require.NoError(t, err)
	require.Len(t, found.Differs, 1)
	require.Contains(t, found.Differs[0], "case bench-house: the assessment of 20")
}

// A check makes a kept summary of a house anew and names one that is not what the
// readings give; one that is out of date is left for the daemon to make again.
func TestACheckMakesSummariesOfHousesAnew(t *testing.T) {
	ctx, dir := t.Context(), t.TempDir()
	d, end := begun(t, dir, answerMethod(), time.Now())
	defer end()
	book, err := casebook.Open(ctx, caseStore{Store: d.store})
	require.NoError(t, err)
	_, err = book.Create(ctx, []byte(benchwinter.CaseFile), "test")
	require.NoError(t, err)
	c, err := book.Case(ctx, "bench-house")
	require.NoError(t, err)
	for i := range benchwinter.Loggers {
		d.append(t, c, slices.Collect(benchwinter.Readings(i, 3))...)
	}
	_, err = d.Current(ctx, c)
	require.NoError(t, err)
	list := d.shelf.(shelf).Derived
	require.NoError(t, list.NameHouse(ctx, c.ID, nameOf(c)))
	require.NoError(t, summaries(ctx, book, d.store, list).sumUp(ctx, c.ID))
	found, err := CheckDerived(ctx, dir)
	require.NoError(t, err)
	require.Equal(t, 1, found.Summaries)
	require.Empty(t, found.Differs)

	listed, err := list.HousesOf(ctx, []string{c.ID})
	require.NoError(t, err)
	was := listed[c.ID]
	for what, alter := range map[string]func(*roof.ListedHouse){
		"what the list is sorted by": func(l *roof.ListedHouse) { l.WetNights++ },
		"what it shows": func(l *roof.ListedHouse) {
			h := summaryOf(*l)
			h.Nights[len(h.Nights)-1].CondensingMin++
			l.Data, err = kept.Pack(h)
			require.NoError(t, err)
		},
	} {
		l := was
		alter(&l)
		require.NoError(t, list.KeepHouse(ctx, l))
		found, err = CheckDerived(ctx, dir)
		require.NoError(t, err)
		require.Len(t, found.Differs, 1, what)
		require.Contains(t, found.Differs[0], "case bench-house: the house is listed with figures")
	}
	require.NoError(t, list.KeepHouse(ctx, was))
	d.append(t, c, slices.Collect(benchwinter.Readings(0, 4))...)
	found, err = CheckDerived(ctx, dir)
	require.NoError(t, err)
	require.Zero(t, found.Summaries)
	require.Empty(t, found.Differs)
}
