package exports

import (
	"cmp"
	"strconv"
	"strings"

	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// scan looks a whole file through.
type scan struct {
	*Plan
	answers Answers
	house   House
	rows    *rows

	candidates orderSet
	dated      int // rows with a date in numbers that some order fits
	fits       [len(orders)]int
	lastMS     [len(orders)]int64
	yearly     int  // neighbouring rows years apart as year, month, day, and days apart in another order
	daily      int  // the reverse
	differ     bool // somewhere two orders give different days
	doubt      words.FileDoubt
	local      int  // rows whose time has no offset
	pointed    int  // numbers that only a decimal point explains
	commaed    int  // numbers that only a decimal comma explains
	plain      int  // rows with a date of which the order is certain
	whole      bool // a clock without am or pm that read 0 or over 12
	last       stamp
	halves     int // steps from 12 to 1 o'clock on one date
	values     map[held]*span
	gaps       [len(orders)]words.FileDoubt // wall times that no clock showed, by order
	follow     [len(orders)]map[string]*course
	nameless   bool
	days       map[string]int // the last date without a time of day, by series
	dayTwice   bool           // one came again: its time of day stands somewhere else
	series     seriesOf
}

// held is a quantity of one series.
type held struct {
	quantity      roof.Quantity
	series, label string
}

// span is what the numbers of a quantity are like.
type span struct {
	told                     unit
	n                        int
	c, f, k                  int // how many can be a temperature of air or roof in the unit
	unitRange, over1, nozero int
	line                     int
	cell                     string
}

func newScan(p *Plan, a Answers, h House) *scan {
	s := &scan{Plan: p, answers: a, house: h, candidates: allOrders, values: map[held]*span{}}
	if a.Dates != "" {
		s.candidates = 0
		for i, o := range orders {
			if o == a.Dates {
				s.candidates = 1 << i
			}
		}
	}
	for i := range s.follow {
		s.follow[i] = map[string]*course{}
	}
	p.Zone = cmp.Or(p.layout.zone, a.Zone)
	if zone, ok := Zone(cmp.Or(p.Zone, h.Zone)); ok {
		p.clock = newClock(zone)
	}
	for _, c := range p.layout.columns {
		if _, ok := c.role.quantity(); !ok {
			continue
		}
		if !p.layout.long && len(p.layout.names) == 0 && c.label == "" {
			s.nameless = true
		}
	}
	if p.layout.long && len(p.layout.names) == 0 {
		s.nameless = true
	}
	return s
}

func (s *scan) run() error {
	var err error
	if s.rows, err = s.layout.open(s.Text); err != nil {
		return err
	}
	s.series = seriesOf{layout: s.layout, namer: s.namer}
	return s.rows.each(func(problem string) error {
		s.sample()
		if problem == "" && s.layout.time >= 0 {
			s.row()
		}
		return nil
	})
}

func (s *scan) sample() {
	if len(s.Sample) == sampleRows {
		return
	}
	r := SampleRow{Line: s.rows.At}
	for _, c := range s.rows.cells {
		r.Cells = append(r.Cells, string(c))
	}
	s.Sample = append(s.Sample, r)
}

func (s *scan) row() {
	st := s.rows.stamp()
	if st.kind == noStamp || st.kind == clockOnly || st.kind == serialHour {
		return
	}
	s.Plan.Rows++
	s.series.of(s.rows)
	s.numbers()
	if st.kind == dateOnly || st.kind == serialDay && st.serial == float64(int(st.serial)) {
		s.dayAlone(st)
	}
	if st.kind == epoch {
		return
	}
	if st.kind == dateAndClock && st.half == 0 {
		h := st.dayMS / 3_600_000
		s.whole = s.whole || h == 0 || h > 12
		if s.last.n == st.n && h == 1 && s.last.dayMS/3_600_000 == 12 {
			s.halves++
		}
		s.last = st
	}
	absolute := st.offset
	if !absolute {
		s.local++
	}
	if st.kind == serialDay || st.plain() {
		s.plain++
		if ms, ok := st.wallMS(DMY, s.Text.Date1904); ok && !absolute {
			s.walk(0, ms)
		}
		return
	}
	s.date(st, absolute)
}

// dayAlone notes a date without a time of day.
func (s *scan) dayAlone(st stamp) {
	day := int(st.serial)
	if st.kind == dateOnly {
		day = (st.n[0]*10_000+st.n[1])*10_000 + st.n[2]
	}
	if s.days == nil {
		s.days = map[string]int{}
	}
	if before, there := s.days[s.series.key]; there && before == day {
		s.dayTwice = true
	}
	s.days[s.series.key] = day
}

// date notes which orders of day and month a date fits.
func (s *scan) date(st stamp, absolute bool) {
	first, some, differ := int64(0), false, false
	var steps [len(orders)]int64 // ms since the row before, -1 where there is none
	for i, o := range orders {
		steps[i] = -1
		if s.candidates&(1<<i) == 0 {
			continue
		}
		ms, ok := st.wallMS(o, false)
		if !ok {
			continue
		}
		if s.lastMS[i] != 0 {
			steps[i] = max(ms-s.lastMS[i], s.lastMS[i]-ms)
		}
		s.lastMS[i] = ms
		s.fits[i]++
		if some && ms != first {
			differ = true
		}
		first, some = ms, true
		if !absolute && (s.fits[i] > s.dated || s.answers.Dates != "") {
			s.walk(i, ms)
		}
	}
	if !some {
		return
	}
	s.dated++
	// 13.11.26 and then 14.11.26 can be two days, or two years of which nothing
	// but one day was recorded.
	const year, fewDays = 300 * dayMS, 3 * dayMS
	for i := range orders[:2] {
		s.yearly += bit(steps[2] > year && steps[i] >= 0 && steps[i] < fewDays)
		s.daily += bit(steps[i] > year && steps[2] >= 0 && steps[2] < fewDays)
	}
	if differ && !s.differ {
		s.differ = true
		s.doubt = words.FileDoubt{Line: s.rows.At, Cell: s.rows.timeCell()}
	}
}

// walk follows the wall times of a series under one order.
func (s *scan) walk(i int, ms int64) {
	if s.clock == nil || !s.clock.moved() {
		return
	}
	_, at := s.clock.utc(ms)
	if at >= 0 && s.clock.shifts[at].missing {
		if s.gaps[i].Count == 0 {
			s.gaps[i] = words.FileDoubt{Kind: words.DoubtMissingHour, Line: s.rows.At, Cell: s.rows.timeCell(),
				Zone: s.clock.name}
		}
		s.gaps[i].Count++
		at = -1
	}
	c := s.follow[i][s.series.key]
	if c == nil {
		c = &course{lastAt: -1}
		s.follow[i][s.series.key] = c
	}
	row := uint64(0)
	if at >= 0 {
		row = s.rows.digest()
	}
	if p := c.step(ms, at, row); p != nil && p.rows == 1 {
		p.line, p.cell = s.rows.At, s.rows.timeCell()
	}
}

// numbers notes what the row's numbers are like.
func (s *scan) numbers() {
	if s.layout.long {
		m := s.series.meaning
		if q, ok := m.role.quantity(); ok {
			s.number(held{q, s.series.key, ""}, s.rows.cells[s.layout.value], m.unit)
		}
		return
	}
	for i := range s.layout.columns {
		c := &s.layout.columns[i]
		if q, ok := c.role.quantity(); ok && i < len(s.rows.cells) {
			s.number(held{q, s.series.key, c.label}, s.rows.cells[i], c.unit)
		}
	}
}

func (s *scan) number(of held, cell []byte, told unit) {
	digits, u, ok := measured(cell)
	if !ok {
		return
	}
	if m := marksOf(digits); m.point+m.comma > 0 {
		switch {
		case m.comma == 0 && m.point == 1:
			s.pointed++
		case m.point == 0 && m.comma == 1:
			s.commaed++
		}
	}
	if u != "" || of.quantity != roof.RHPct && (of.quantity != roof.TempC || told != "") {
		return // the cell or the column says it
	}
	sp := s.values[of]
	if sp == nil {
		sp = &span{told: told}
		s.values[of] = sp
	}
	if of.quantity == roof.RHPct && sp.n > 0 && len(digits) > 1 && digits[0] >= '1' && digits[0] <= '9' &&
		digits[1] >= '0' && digits[1] <= '9' { // ten and more: no need to read it
		sp.n, sp.over1, sp.nozero = sp.n+1, sp.over1+1, sp.nozero+1
		return
	}
	x, err := loose(digits)
	if err != nil {
		return
	}
	if sp.n++; sp.n == 1 {
		sp.line, sp.cell = s.rows.At, string(digits)
	}
	if of.quantity == roof.TempC {
		sp.c += bit(x >= -60 && x <= 100)
		sp.f += bit(x >= -76 && x <= 212)
		sp.k += bit(x >= 213 && x <= 373.15)
		return
	}
	sp.unitRange += bit(x >= 0 && x <= 1.05)
	sp.over1 += bit(x > 1.5)
	sp.nozero += bit(x > 0)
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}

// loose reads a number whatever its decimal sign, to judge its size.
func loose(digits []byte) (float64, error) {
	return strconv.ParseFloat(strings.Replace(string(digits), ",", ".", 1), 64)
}

// decide settles what the file tells, and asks for the rest.
func (s *scan) decide() {
	s.Names = s.namer.names()
	s.decideOrder()
	s.decideDecimal()
	s.units = map[held]unit{}
	s.decideUnits()
	if s.nameless && s.Plan.Rows > 0 {
		if _, ok := s.namer.id(""); !ok {
			s.ask(words.FileDoubt{Kind: words.DoubtLogger, Line: s.layout.header, Cell: s.namer.from,
				Fits: s.house.Loggers})
		}
		s.Names = s.namer.names()
	}
	if s.answers.Logger != "" && !roof.ValidID(s.answers.Logger) {
		s.ask(words.FileDoubt{Kind: words.DoubtLogger, Cell: s.answers.Logger, Fits: s.house.Loggers})
	}
	s.decideZone()
	if s.dayTwice && !s.Open(words.DoubtColumns) {
		s.ask(words.FileDoubt{Kind: words.DoubtColumns, Line: s.layout.header,
			Cell: "day:" + s.layout.columns[s.layout.time].name})
	}
	if s.halves > 0 && !s.whole {
		s.ask(words.FileDoubt{Kind: words.DoubtHalfDay, Line: s.layout.header})
	}
}

func (s *scan) ask(d words.FileDoubt) {
	if d.Zone == "" {
		d.Zone = s.house.Zone
	}
	s.Questions = append(s.Questions, d)
}

func (s *scan) decideOrder() {
	if s.dated == 0 {
		s.inOrder(DMY)
		return
	}
	var whole []Order
	for i, o := range orders {
		if s.fits[i] == s.dated && !(o == YMD && s.yearly > 0 && s.daily == 0) {
			whole = append(whole, o)
		}
	}
	switch {
	case s.answers.Dates != "":
		s.inOrder(s.answers.Dates)
		s.Dates = s.answers.Dates
		return
	case len(whole) == 0:
		for i, o := range orders {
			if s.fits[i] > 0 {
				whole = append(whole, o)
			}
		}
		s.doubt.Mixed = true
	case len(whole) == 1 || !s.differ:
		s.inOrder(whole[0])
		s.Dates = whole[0]
		return
	}
	s.doubt.Kind = words.DoubtDates
	for _, o := range whole {
		s.doubt.Fits = append(s.doubt.Fits, string(o))
	}
	s.inOrder(whole[0])
	s.ask(s.doubt)
}

func (s *scan) inOrder(o Order) { s.Plan.order = o }

func (s *scan) decideDecimal() {
	s.decimal = '.'
	if s.commaed > s.pointed {
		s.decimal = ','
	}
}

// Fewest of the numbers that must fit a unit before it is told by elimination:
// all but the odd code of a probe that is cut off.
const nearlyAll = 0.99

// decideUnits settles the units that the numbers tell, and asks once for those
// of temperature and once for those of humidity.
func (s *scan) decideUnits() {
	temp := words.FileDoubt{Kind: words.DoubtTempUnit, Fits: []string{string(celsius), string(fahrenheit),
		string(kelvin)}}
	rh := words.FileDoubt{Kind: words.DoubtRHUnit, Fits: []string{string(percent), string(fraction)}}
	doubtful := func(d *words.FileDoubt, sp *span) {
		if d.Count++; d.Line == 0 || sp.line < d.Line {
			d.Line, d.Cell = sp.line, sp.cell
		}
	}
	for of, sp := range s.values {
		u, known := sp.unit(of.quantity)
		switch {
		case sp.n == 0:
		case known:
			s.units[of] = u
		case of.quantity == roof.TempC && unit(s.answers.TempUnit).of(roof.TempC):
			s.units[of] = unit(s.answers.TempUnit)
		case of.quantity == roof.TempC:
			doubtful(&temp, sp)
		case unit(s.answers.RHUnit).of(roof.RHPct):
			s.units[of] = unit(s.answers.RHUnit)
		default:
			doubtful(&rh, sp)
		}
	}
	for _, d := range []words.FileDoubt{temp, rh} {
		if d.Count > 0 {
			s.ask(d)
		}
	}
}

// unit is what the numbers are measured in, as far as they tell.
func (sp *span) unit(q roof.Quantity) (u unit, known bool) {
	n := float64(sp.n)
	if q == roof.TempC {
		// Kelvin leaves no doubt; degrees Celsius and Fahrenheit overlap.
		return kelvin, float64(sp.k) >= nearlyAll*n
	}
	fractions := float64(sp.unitRange) >= nearlyAll*n && sp.nozero > 0
	switch {
	case sp.told == fraction:
		return fraction, true
	case fractions: // said to be per cent, and no air is as dry
		return "", false
	case sp.told == percent, 2*sp.over1 > sp.n, sp.nozero == 0:
		return percent, true
	}
	return "", false
}

func (s *scan) decideZone() {
	if s.local == 0 {
		s.Zone = ""
		return
	}
	if s.Zone == "" {
		s.ask(words.FileDoubt{Kind: words.DoubtZone, Line: s.layout.header})
	} else if _, ok := Zone(s.Zone); !ok {
		s.ask(words.FileDoubt{Kind: words.DoubtZone, Line: s.layout.header, Cell: s.Zone})
		return
	}
	if s.clock == nil {
		return
	}
	s.settled = map[seriesShift]bool{}
	at := 0
	for i, o := range orders {
		if o == s.order {
			at = i
		}
	}
	if s.dated == 0 {
		at = 0
	}
	s.folds(s.follow[at])
	if s.gaps[at].Count > 0 && !s.Open(words.DoubtDates) {
		s.ask(s.gaps[at])
	}
}

// folds settles the hours that are there twice, or asks.
func (s *scan) folds(follow map[string]*course) {
	doubt, hours := words.FileDoubt{Kind: words.DoubtFold, Zone: s.clock.name}, map[int]bool{}
	for series, c := range follow {
		for _, at := range sortedShifts(c.passes) {
			if settled, falling := c.turn(at); settled && (s.plain == 0 || s.dated == 0) {
				s.settled[seriesShift{series, at}] = falling
				continue
			}
			if p := c.passes[at]; doubt.Line == 0 || p.line < doubt.Line {
				doubt.Line, doubt.Cell = p.line, p.cell
			}
			hours[at] = true
		}
	}
	if doubt.Count = len(hours); doubt.Count > 0 && s.fold == "" {
		s.ask(doubt)
	}
}
