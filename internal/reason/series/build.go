package series

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"math/bits"
	"slices"
	"time"

	"dewcase/internal/physics/psychro"
	"dewcase/internal/roof"
)

// Stint is the time one logger spent at a position.
type Stint struct {
	Logger          string
	FromMS, UntilMS int64 // first and last reading used there
	Accuracy        roof.Accuracy
	Offset          roof.Offset   // the offset in force at its end
	UsualMS         int64         // its usual interval
	Station         *roof.Station // where it is a weather station
}

// Course is everything measured at one position, calibrated.
type Course struct {
	Position roof.Position
	TempC    Track
	RHPct    Track // 0..100, over liquid water
	VapourPa Track // where temperature and humidity came in one reading
	WoodPct  Track
	WindMS   Track
	SunWM2   Track
	RainMM   Track // amount since the last report: sum it, never interpolate it
	Stints   []Stint
	Excluded int // readings kept out by an excluding flag
	// loggers of which readings were left aside because another was fitted here before and still reported
	Shadowed []string
	Flagged  map[roof.Flags]int
}

// Set is one case's courses over one span.
type Set struct {
	Case            *roof.Case
	FromMS, UntilMS int64    // first and last reading of a fitted logger; UntilMS as asked
	Courses         []Course // one a position, in the case file's order
}

// Course returns the course of a position, nil if the case has none.
func (s *Set) Course(id string) *Course {
	for i := range s.Courses {
		if s.Courses[i].Position.ID == id {
			return &s.Courses[i]
		}
	}
	return nil
}

// At lists the courses of one place.
func (s *Set) At(place roof.Place) []*Course {
	var out []*Course
	for i := range s.Courses {
		if s.Courses[i].Position.Place == place {
			out = append(out, &s.Courses[i])
		}
	}
	return out
}

// LongestSpanMS returns the longest interval between two readings of a logger that
// counts as observed, for its usual interval, both in ms:
// min(2.5 i, max(45 min, 1.5 i)).
func LongestSpanMS(usualMS int64) int64 {
	i := float64(usualMS)
	return int64(math.Min(2.5*i, math.Max(45*60e3, 1.5*i)))
}

// Builder gathers a case's readings logger by logger.
type Builder struct {
	// UsualMS are usual intervals of loggers whose case file does not say,
	// where a whole record has told them; a logger that is not in it is judged
	// by the readings added.
	UsualMS map[string]int64

	c       *roof.Case
	untilMS int64
	extents
	byPos   map[string][]run
	excl    map[string]int
	flagged map[string]map[roof.Flags]int
}

// extents are when readings were measured.
type extents struct {
	extent   extent
	misdated extent // of readings whose time cannot be right
	others   extent // of readings without temperature and humidity
}

// extent is the first and last time of some readings.
type extent struct {
	first, last int64
	any         bool
}

func (x *extent) take(ms int64) {
	if !x.any || ms < x.first {
		x.first = ms
	}
	if !x.any || ms > x.last {
		x.last = ms
	}
	x.any = true
}

// join takes in what another extent holds.
func (x *extent) join(y extent) {
	if y.any {
		x.take(y.first)
		x.take(y.last)
	}
}

// part is what one logger adds.
type part struct {
	extents
	fits []roof.Fitting
	runs []run // one a fitting
	of   []tally
}

// tally counts a fitting's readings that are doubtful.
type tally struct {
	excluded int
	flagged  [32]int // by the bit of the flag
}

// run is one fitting's readings, laid into tracks at once: one number a
// quantity is all that a long record keeps of a reading.
type run struct {
	stint  Stint  // of readings with temperature or humidity
	tracks Course // tracks only
	any    bool   // with temperature or humidity
	others bool   // without, such as looks with a moisture meter
}

// NewBuilder starts a set. Only readings before untilMS are used; 0 is no bound.
func NewBuilder(c *roof.Case, untilMS int64) *Builder {
	return &Builder{c: c, untilMS: untilMS, byPos: map[string][]run{}, excl: map[string]int{},
		flagged: map[string]map[roof.Flags]int{}}
}

// Add takes all readings of one logger in time order, with the flags that its
// history gave. A logger that is not fitted anywhere adds nothing.
func (b *Builder) Add(logger roof.Logger, readings iter.Seq2[roof.Reading, error]) error {
	p, err := b.read(logger, readings)
	if err == nil {
		b.take(p)
	}
	return err
}

// read gathers one logger's readings and leaves the builder as it is.
func (b *Builder) read(logger roof.Logger, readings iter.Seq2[roof.Reading, error]) (p part, err error) {
	p.fits = fittings(logger)
	if len(p.fits) == 0 {
		return p, nil
	}
	p.runs, p.of = make([]run, len(p.fits)), make([]tally, len(p.fits))
	var gaps Intervals
	for r, err := range readings {
		if err != nil {
			return p, fmt.Errorf("reading the record of logger %s: %w", logger.ID, err)
		}
		ms := r.At.UnixMilli()
		if b.untilMS != 0 && ms >= b.untilMS {
			break
		}
		gaps.Add(ms, r.Values)
		k := fittedAt(p.fits, ms)
		if k < 0 {
			continue
		}
		switch {
		case !r.Values.OfAir():
			p.others.take(ms)
		case r.Flags&roof.FlagClockWrong == 0:
			p.extent.take(ms)
		default:
			p.misdated.take(ms)
		}
		if b.leftOut(p.fits[k].Position, ms) {
			continue
		}
		for f := r.Flags; f != 0; f &= f - 1 {
			p.of[k].flagged[bits.TrailingZeros32(uint32(f))]++
		}
		v := Calibrated(logger, ms, r.Values)
		if excluded := r.Flags & roof.Excluding; excluded != 0 {
			p.of[k].excluded++
			if excluded != roof.FlagFlatLine || r.Flags&roof.FlagTempAlive == 0 {
				continue
			}
			v = v.Without(roof.RHPct)
		}
		p.runs[k].add(ms, v)
	}
	usual := logger.Interval.Milliseconds()
	if usual == 0 {
		usual = b.UsualMS[logger.ID]
	}
	if usual == 0 {
		usual = gaps.UsualMS()
	}
	for k, f := range p.fits {
		if !p.runs[k].any && !p.runs[k].others {
			continue
		}
		p.runs[k].join(LongestSpanMS(usual))
		b.part(&p.runs[k], f.Position)
		st := &p.runs[k].stint
		st.Logger, st.Station, st.Accuracy, st.UsualMS = logger.ID, logger.Station, stationAccuracy(logger), usual
		st.Offset = offsetAt(logger, st.UntilMS)
	}
	return p, nil
}

// take adds what was gathered of one logger.
func (b *Builder) take(p part) {
	b.extent.join(p.extent)
	b.misdated.join(p.misdated)
	b.others.join(p.others)
	for k, f := range p.fits {
		if n := p.of[k].excluded; n > 0 {
			b.excl[f.Position] += n
		}
		for bit, n := range p.of[k].flagged {
			if n == 0 {
				continue
			}
			if b.flagged[f.Position] == nil {
				b.flagged[f.Position] = map[roof.Flags]int{}
			}
			b.flagged[f.Position][1<<bit] += n
		}
		if p.runs[k].any || p.runs[k].others {
			b.byPos[f.Position] = append(b.byPos[f.Position], p.runs[k])
		}
	}
}

// Set closes the builder. Where several loggers are fitted at one position at
// the same time, the one fitted first counts until it ends.
func (b *Builder) Set() *Set {
	// A clock that cannot be right must not stretch the record, and neither must a
	// look with a moisture meter before the loggers came.
	span := b.extent
	for _, instead := range []extent{b.misdated, b.others} {
		if !span.any {
			span = instead
		}
	}
	s := &Set{Case: b.c, FromMS: span.first, UntilMS: span.last}
	if b.untilMS != 0 && span.any {
		s.UntilMS = b.untilMS
	}
	for _, p := range b.c.Positions {
		c := Course{Position: p, Excluded: b.excl[p.ID], Flagged: b.flagged[p.ID]}
		runs := b.byPos[p.ID]
		slices.SortStableFunc(runs, func(x, y run) int { return cmp.Compare(x.stint.FromMS, y.stint.FromMS) })
		end := int64(math.MinInt64)
		for _, r := range runs {
			if !r.any {
				continue
			}
			if r.stint.FromMS <= end {
				c.Shadowed = append(c.Shadowed, r.stint.Logger)
				if r.stint.UntilMS <= end {
					continue
				}
				r.after(end)
			}
			end = r.stint.UntilMS
			c.Stints = append(c.Stints, r.stint)
			c.append(r.tracks)
		}
		for _, r := range runs {
			if !r.any && c.fill(r.tracks) {
				c.Shadowed = append(c.Shadowed, r.stint.Logger)
			}
		}
		s.Courses = append(s.Courses, c)
	}
	return s
}

// Build gathers the readings of every logger of the case from a function that
// yields one logger's readings in time order.
func Build(c *roof.Case, untilMS int64, readings func(logger string) iter.Seq2[roof.Reading, error]) (*Set, error) {
	return NewBuilder(c, untilMS).Build(roof.InTurn, readings)
}

// Build adds every logger of the case, the loggers by workers, and closes the
// builder.
func (b *Builder) Build(by roof.Workers, readings func(logger string) iter.Seq2[roof.Reading, error]) (*Set, error) {
	parts, errs := make([]part, len(b.c.Loggers)), make([]error, len(b.c.Loggers))
	by(len(parts), func(i int) {
		l := b.c.Loggers[i]
		parts[i], errs[i] = b.read(l, readings(l.ID))
	})
	if err := cmp.Or(errs...); err != nil {
		return nil, err
	}
	for _, p := range parts {
		b.take(p)
	}
	return b.Set(), nil
}

// tracks are a course's tracks, in a fixed order.
func (c *Course) tracks() []*Track {
	return []*Track{&c.TempC, &c.RHPct, &c.VapourPa, &c.WoodPct, &c.WindMS, &c.SunWM2, &c.RainMM}
}

// append adds a later run's tracks; between two runs nothing was observed.
func (c *Course) append(later Course) {
	from := later.tracks()
	for i, t := range c.tracks() {
		if t.Len() == 0 {
			*t = *from[i]
			continue
		}
		// A later run may hold looks with a meter from before its first reading of
		// the air; those within the run before it are left aside.
		k := from[i].after(t.AtMS[t.Len()-1])
		t.AtMS, t.Value, t.Joined = append(t.AtMS, from[i].AtMS[k:]...), append(t.Value, from[i].Value[k:]...),
			append(t.Joined, from[i].Joined[k:]...)
	}
}

// fill adds the tracks of a logger without temperature and humidity where a track
// holds nothing yet: before its first value and after its last. It reports whether
// anything was left aside. Such a logger shadows none that has them.
func (c *Course) fill(other Course) (aside bool) {
	from := other.tracks()
	for i, t := range c.tracks() {
		o := *from[i]
		if t.Len() == 0 || o.Len() == 0 {
			if o.Len() > 0 {
				*t = o
			}
			continue
		}
		first, _ := slices.BinarySearch(o.AtMS, t.AtMS[0])
		after := o.after(t.AtMS[t.Len()-1])
		aside = aside || first < after
		before := Track{o.AtMS[:first], o.Value[:first], slices.Clone(o.Joined[:first])}
		if first > 0 {
			before.Joined[first-1] = false
		}
		t.AtMS = slices.Concat(before.AtMS, t.AtMS, o.AtMS[after:])
		t.Value = slices.Concat(before.Value, t.Value, o.Value[after:])
		t.Joined = slices.Concat(before.Joined, t.Joined, o.Joined[after:])
	}
	return aside
}

// add lays one calibrated reading into the tracks.
func (r *run) add(ms int64, v roof.Values) {
	switch {
	case !v.OfAir():
		r.others = true
	case !r.any:
		r.stint.FromMS, r.any = ms, true
		fallthrough
	default:
		r.stint.UntilMS = ms
	}
	lay := func(t *Track, x float64) { t.AtMS, t.Value = append(t.AtMS, ms), append(t.Value, x) }
	c := &r.tracks
	for _, one := range [...]struct {
		quantity roof.Quantity
		track    *Track
	}{{roof.TempC, &c.TempC}, {roof.RHPct, &c.RHPct}, {roof.WoodPct, &c.WoodPct}, {roof.WindMS, &c.WindMS},
		{roof.SunWM2, &c.SunWM2}, {roof.RainMM, &c.RainMM}} {
		if x, ok := v.Get(one.quantity); ok {
			lay(one.track, x)
		}
	}
	temp, okT := v.Get(roof.TempC)
	rh, okRH := v.Get(roof.RHPct)
	if okT && okRH {
		if pa, err := psychro.VapourPressurePa(temp, rh); err == nil {
			lay(&c.VapourPa, pa)
		}
	}
}

// join marks the intervals that count as observed.
func (r *run) join(longestMS int64) {
	for _, t := range r.tracks.tracks() {
		t.Joined = make([]bool, len(t.AtMS))
		for i := 1; i < len(t.AtMS); i++ {
			t.Joined[i-1] = t.AtMS[i]-t.AtMS[i-1] <= longestMS
		}
	}
}

// after drops the readings up to a time.
func (r *run) after(ms int64) {
	for _, t := range r.tracks.tracks() {
		k := t.after(ms)
		t.AtMS, t.Value, t.Joined = t.AtMS[k:], t.Value[k:], t.Joined[k:]
	}
	first := int64(math.MaxInt64)
	for _, t := range []Track{r.tracks.TempC, r.tracks.RHPct} {
		if len(t.AtMS) > 0 {
			first = min(first, t.AtMS[0])
		}
	}
	r.stint.FromMS = first
}

// Calibrated applies the offset in force; 100..105 %RH as received counts as
// 100, and a corrected humidity stays within 0..100. A weather station's reading is
// brought to the height of the house.
func Calibrated(l roof.Logger, ms int64, raw roof.Values) roof.Values {
	o := offsetAt(l, ms)
	v := raw
	if t, ok := raw.Get(roof.TempC); ok && o.TempC != 0 {
		v.Set(roof.TempC, t+o.TempC)
	}
	if rh, ok := raw.Get(roof.RHPct); ok {
		v.Set(roof.RHPct, math.Min(math.Max(math.Min(rh, 100)+o.RHPct, 0), 100))
	}
	return atHouse(l.Station, v)
}

// offsetAt is the offset of a logger in force at a time; before the first it
// has none.
func offsetAt(l roof.Logger, ms int64) roof.Offset {
	var best roof.Offset
	for _, o := range l.Offsets {
		if o.From.UnixMilli() <= ms && (best.From.IsZero() || !o.From.Before(best.From)) {
			best = o
		}
	}
	return best
}

// fittings lists a logger's fittings in time order, each closed where the next
// begins.
func fittings(l roof.Logger) []roof.Fitting {
	fits := slices.Clone(l.Fitted)
	slices.SortStableFunc(fits, func(a, b roof.Fitting) int { return a.From.Compare(b.From) })
	for i := range fits {
		if i+1 < len(fits) && (fits[i].To.IsZero() || fits[i].To.After(fits[i+1].From)) {
			fits[i].To = fits[i+1].From
		}
	}
	return fits
}

// FittedAt returns the position where a logger was fitted at a time, "" for none.
func FittedAt(l roof.Logger, at time.Time) string {
	fits := fittings(l)
	if k := fittedAt(fits, at.UnixMilli()); k >= 0 {
		return fits[k].Position
	}
	return ""
}

func fittedAt(fits []roof.Fitting, ms int64) int {
	for i := len(fits) - 1; i >= 0; i-- {
		if ms >= fits[i].From.UnixMilli() {
			if !fits[i].To.IsZero() && ms >= fits[i].To.UnixMilli() {
				return -1
			}
			return i
		}
	}
	return -1
}
