package commands

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"dewcase/internal/door/exportfile"
	"dewcase/internal/door/filing"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/flow/exports"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// asSynopsis are the flags of files that are no readings files.
const asSynopsis = "[-as auto|RECIPE [-zone ZONE] [-logger NAME] [-dates dmy|mdy|ymd] [-unit C|F|K|percent|fraction] " +
	"[-fold first|second] [-pair SECONDS] [-station-km KM] [-station-above-m M] [-station-source TEXT]]"

// readingsFiles are the files that a command reads, and how.
type readingsFiles struct {
	files  several
	as     string
	recipe exports.Recipe // of -as, where it names one
	said   exports.Answers
	keep   string
	input  *os.File // standard input, where it must be read more than once
	opened []*exportfile.File
	closed []*os.File
}

// several is a flag that may be given more than once.
type several []string

func (s *several) String() string     { return strings.Join(*s, ", ") }
func (s *several) Set(v string) error { *s = append(*s, v); return nil }

func addReadings(f *flag.FlagSet) *readingsFiles {
	r := &readingsFiles{}
	f.Var(&r.files, "readings", "readings file (CSV), or with -as a file in another form; may be given more than once; - "+
		"reads standard input")
	f.StringVar(&r.as, "as", "", "auto: recognise the files' form; or a recipe, FILE.yaml or the name of a kept one")
	f.Func("zone", "with -as: zone in which the loggers' clock ran, such as Europe/London, or +01:00 if it was never "+
		"changed", func(v string) error {
		if _, ok := exports.Zone(v); !ok {
			return errors.New("write a zone such as Europe/London, or an offset such as +01:00")
		}
		r.said.Zone = v
		return nil
	})
	f.Func("logger", "with -as: the logger of a file that names none", func(v string) error {
		if !roof.ValidID(v) {
			return errors.New("1 to 64 of A-Z, a-z, 0-9, . _ - can name a logger")
		}
		r.said.Logger = v
		return nil
	})
	word := func(name, about string, set func(string), words ...string) {
		f.Func(name, about, func(v string) error {
			if !slices.Contains(words, v) {
				return fmt.Errorf("it is one of %s", strings.Join(words, ", "))
			}
			set(v)
			return nil
		})
	}
	word("dates", "with -as: the order of day, month and year, `dmy|mdy|ymd`",
		func(v string) { r.said.Dates = exports.Order(v) }, "dmy", "mdy", "ymd")
	word("unit", "with -as: the unit of temperatures, `C|F|K`, or of humidities, percent|fraction, where the file does "+
		"not say; may be given once for each", func(v string) {
		if len(v) == 1 {
			r.said.TempUnit = v
		} else {
			r.said.RHUnit = v
		}
	}, "C", "F", "K", "percent", "fraction")
	word("fold", "with -as: which pass of the hour that clocks show twice in autumn is meant, `first|second`",
		func(v string) { r.said.Fold = exports.Fold(v) }, "first", "second")
	f.Func("pair", "with -as: in a file with a row a value, the longest time in `SECONDS` between temperature and "+
		"humidity of one reading; without it they join only at one time", func(v string) error {
		s, err := strconv.ParseFloat(v, 64)
		r.said.Pair = time.Duration(s * float64(time.Second))
		if err != nil || !(s >= 0 && r.said.Pair <= exports.MaxPair) {
			return fmt.Errorf("it is 0 to %g", exports.MaxPair.Seconds())
		}
		return nil
	})
	station := func(name, about string, low, high float64, to func(*roof.Station) **float64) {
		f.Func(name, about, func(v string) error {
			x, err := strconv.ParseFloat(v, 64)
			if err != nil || !(x >= low && x <= high) {
				return fmt.Errorf("it is %g to %g", low, high)
			}
			*to(r.station()) = &x
			return nil
		})
	}
	station("station-km", "with -as: the file is of a weather station this far away, in `KM`, which stands in for "+
		"outdoor air: so the case file then says", 0, casefile.MaxStationKM,
		func(s *roof.Station) **float64 { return &s.DistanceKM })
	station("station-above-m", "with -as: it stands so many `METRES` above the house (negative: below)",
		-casefile.MaxStationM, casefile.MaxStationM, func(s *roof.Station) **float64 { return &s.HeightDifferenceM })
	f.Func("station-source", "with -as: whose series it is, in `WORDS`", func(v string) error {
		r.station().Source = v
		return nil
	})
	if f.Name() == "import" {
		f.Func("keep", "with -as: keep the answers as a recipe of this name, for the next files of the kind",
			func(v string) error {
				if !roof.ValidID(v) {
					return errors.New("1 to 64 of A-Z, a-z, 0-9, . _ - can name a recipe")
				}
				r.keep = v
				return nil
			})
	}
	return r
}

// station is what is said of the weather station that the files are of.
func (r *readingsFiles) station() *roof.Station {
	if r.said.Station == nil {
		r.said.Station = &roof.Station{}
	}
	return r.said.Station
}

// source is one table, ready to be read.
type source struct {
	name string
	rows ingest.Rows
	plan *exports.Plan // nil for a readings file
	file *os.File      // the original; nil for a readings file, and for further sheets of one
	// station says that it is of a weather station; nil of the house
	station *roof.Station
}

// firsts notes the first reading of each logger as the rows go by.
func firsts(rows ingest.Rows, of map[string]time.Time) ingest.Rows {
	return func(now time.Time, each func(roof.Reading, int) error) (csvreadings.Summary, error) {
		return rows(now, func(x roof.Reading, line int) error {
			if at, heard := of[x.Logger]; !heard || x.At.Before(at) {
				of[x.Logger] = x.At
			}
			return each(x, line)
		})
	}
}

// placing is where the case file notes the weather station that a table is of.
func (s source) placing(c *roof.Case, first map[string]time.Time) (p casefile.Placing, ok bool) {
	if s.station == nil || len(first) != 1 {
		return p, false
	}
	for id, at := range first {
		p = casefile.StationPlacing(c, id, *s.station, at)
	}
	return p, true
}

// sources opens the files. With -as each is looked through first, and whatever
// in any of them is doubtful is told at once.
func (r *readingsFiles) sources(c *roof.Case, kept []exports.Recipe, s Streams) ([]source, error) {
	if r.as == "" {
		return r.plain(s)
	}
	if err := r.readRecipe(kept); err != nil {
		return nil, err
	}
	house := exports.HouseOf(c)
	answers := r.said
	if r.as == "auto" {
		house.Recipes = kept
	} else {
		answers = answers.Over(r.recipe.Answers)
	}
	var out []source
	var open roof.Faults
	for _, file := range r.files {
		original, plans, err := r.look(file, answers, house)
		var faults roof.Faults
		if errors.As(err, &faults) {
			open = append(open, faults...)
			continue
		}
		if err != nil {
			return nil, err
		}
		for _, p := range plans {
			if len(r.recipe.Kind) > 0 && !p.Canonical && !slices.Equal(p.Kind, r.recipe.Kind) {
				open = append(open, roof.Fault{File: p.Text.Name, Line: 1, Key: "header",
					Problem: "its columns are not those of the recipe " + r.recipe.Name,
					Remedy:  "say -as auto, or take the recipe of this kind of file"})
				continue
			}
			open = append(open, p.Faults()...)
			src := source{name: p.Text.Name, rows: p.Read, plan: p, file: original, station: answers.Station}
			if names := p.Names; src.station != nil && len(p.Questions) == 0 && !p.Canonical {
				id, one := p.OneLogger()
				switch l, _ := c.Logger(id); {
				case !one:
					open = append(open, roof.Fault{File: p.Text.Name, Line: 1, Key: "station", Problem: words.StationOfSeveral(
						len(names)), Remedy: words.StationOfSeveralRemedy})
				case l.Station == nil && !casefile.CanBeStation(c, id):
					open = append(open, roof.Fault{File: p.Text.Name, Line: 1, Key: "station",
						Problem: words.StationIndoors(id), Remedy: words.StationIndoorsRemedy})
				}
			}
			out = append(out, src)
			original = nil
		}
	}
	return out, open.Err()
}

// plain are readings files.
func (r *readingsFiles) plain(s Streams) ([]source, error) {
	var out []source
	for _, file := range r.files {
		in, name, err := r.open(file, s)
		if err != nil {
			return nil, err
		}
		again := false
		out = append(out, source{name: name, rows: func(now time.Time, each func(roof.Reading, int) error) (
			csvreadings.Summary, error) {
			if f, ok := in.(*os.File); ok && again {
				if _, err := f.Seek(0, io.SeekStart); err != nil {
					return csvreadings.Summary{}, fmt.Errorf("reading %s again: %w", name, err)
				}
			}
			again = true
			return csvreadings.Read(name, in, now, each)
		}})
	}
	return out, nil
}

func (r *readingsFiles) open(file string, s Streams) (io.Reader, string, error) {
	if file == "-" && r.input != nil {
		return r.input, "-", nil
	}
	in, name, _, err := openReadings(file, s)
	if f, ok := in.(*os.File); ok && file != "-" {
		r.closed = append(r.closed, f)
	}
	return in, name, err
}

func (r *readingsFiles) look(file string, a exports.Answers, h exports.House) (*os.File, []*exports.Plan,
	error) {
	in, name, err := r.open(file, Streams{})
	if err != nil {
		return nil, nil, err
	}
	opened, err := exportfile.Open(name, in.(*os.File))
	if err != nil {
		return nil, nil, err
	}
	r.opened = append(r.opened, opened)
	plans, err := exports.LookAll(opened.Texts, func([]string) exports.Answers { return a }, h)
	return in.(*os.File), plans, err
}

// readRecipe finds the recipe that -as names.
func (r *readingsFiles) readRecipe(kept []exports.Recipe) error {
	if r.as == "auto" {
		return nil
	}
	if ext := filepath.Ext(r.as); ext == ".yaml" || ext == ".yml" {
		data, err := os.ReadFile(r.as)
		if err != nil {
			return roof.Faults{{File: r.as, Line: 1, Key: "file", Problem: plainError(err),
				Remedy: "name a recipe that can be read"}}
		}
		r.recipe, err = exports.ReadRecipe(r.as, data)
		return err
	}
	for _, k := range kept {
		if k.Name == r.as {
			r.recipe = k
			return nil
		}
	}
	return usageError{fmt.Sprintf("-as is auto, a file FILE.yaml, or the name of a kept recipe; there is no recipe %q",
		r.as)}
}

// keptInput lays standard input down where it has to be read twice, and refuses
// it twice among the files.
func (r *readingsFiles) keptInput(s Streams) error {
	n := 0
	for _, f := range r.files {
		if f == "-" {
			n++
		}
	}
	if n == 0 {
		return nil
	}
	if n > 1 {
		return usageError{"standard input can be read once: -readings - was given twice"}
	}
	in, err := keptInput(s.In)
	if err != nil {
		return err
	}
	r.input = in
	return nil
}

func (r *readingsFiles) close() {
	for _, o := range r.opened {
		_ = o.Close()
	}
	for _, f := range r.closed {
		_ = f.Close()
	}
	if r.input != nil {
		_ = r.input.Close()
	}
}

// columns reads all files for an analysis without a store.
func (r *readingsFiles) columns(c *roof.Case, strict bool, s Streams) (*csvreadings.Columns, csvreadings.Summary,
	error) {
	defer r.close()
	total := csvreadings.Summary{ByReason: map[roof.Reason]int{}}
	if r.as != "" {
		if err := r.keptInput(s); err != nil {
			return nil, total, err
		}
	}
	sources, err := r.sources(c, nil, s)
	if err != nil {
		return nil, total, err
	}
	cols := csvreadings.NewColumns()
	for _, src := range sources {
		first := map[string]time.Time{}
		rows := src.rows
		if src.station != nil {
			rows = firsts(rows, first)
		}
		sum, err := gather(rows, cols)
		if err != nil {
			return nil, sum, err
		}
		total.Rows, total.Good, total.Bad = total.Rows+sum.Rows, total.Good+sum.Good, total.Bad+sum.Bad
		for reason, n := range sum.ByReason {
			total.ByReason[reason] += n
		}
		total.Notes = append(total.Notes, sum.Notes...)
		if p, ok := src.placing(c, first); ok {
			casefile.Place(c, p)
			total.Notes = append(total.Notes, words.StationOnce(p.Logger, p.Position, p.Station.Source, p.Station.DistanceKM,
				p.Station.HeightDifferenceM, casefile.WriteStation(*p.Station)))
		}
		if err := tellBadRows(sum, src.name, strict, s); err != nil {
			return nil, total, err
		}
	}
	return cols, total, nil
}

// gather adds what is read to the columns, while more is read.
func gather(rows ingest.Rows, cols *csvreadings.Columns) (csvreadings.Summary, error) {
	const size, many = 1024, 4
	full, free := make(chan []roof.Reading, many), make(chan []roof.Reading, many)
	for range many {
		free <- make([]roof.Reading, 0, size)
	}
	var adding sync.WaitGroup
	adding.Go(func() {
		for batch := range full {
			for _, x := range batch {
				cols.Add(x)
			}
			free <- batch[:0]
		}
	})
	batch := <-free
	sum, err := rows(time.Now(), func(x roof.Reading, _ int) error {
		if batch = append(batch, x); len(batch) == size {
			full <- batch
			batch = <-free
		}
		return nil
	})
	full <- batch
	close(full)
	adding.Wait()
	return sum, err
}

// strictly reads all files through and stores nothing: one bad row makes them
// unusable.
func (r *readingsFiles) strictly(sources []source, s Streams) error {
	for _, src := range sources {
		sum, err := src.rows(time.Now(), func(roof.Reading, int) error { return nil })
		if err != nil {
			return err
		}
		if err := tellBadRows(sum, src.name, true, s); err != nil {
			return err
		}
	}
	return nil
}

// keepAll keeps the files as they were, and with -keep the answers for the next
// file of the first kind.
func (r *readingsFiles) keepAll(ctx context.Context, cabinet *filing.Cabinet, caseID string, sources []source,
	became map[string]ingest.Report) error {
	kept := false
	for _, src := range sources {
		if src.plan == nil {
			continue
		}
		rep := became[src.name]
		recipe := cmp.Or(src.plan.Recipe, r.recipe.Name)
		if r.keep != "" && !src.plan.Canonical && !kept {
			said := r.said.Over(r.recipe.Answers)
			said.Logger, said.Station = "", nil // of this file; the next of the kind can be another logger's
			if err := cabinet.KeepRecipe(ctx, exports.Recipe{Name: r.keep, Kind: src.plan.Kind, Answers: said}); err != nil {
				return err
			}
			kept, recipe = true, r.keep
		}
		if src.file == nil {
			continue
		}
		if _, err := cabinet.Keep(ctx, src.file, roof.Original{Case: caseID, Name: filepath.Base(src.name),
			At: time.Now().UTC().Truncate(time.Second), By: "dewcase import", Recipe: recipe,
			Taken: rep.Stored + rep.Merged + rep.Duplicates, Rejected: rep.RejectedN}); err != nil {
			return err
		}
	}
	if r.keep != "" && !kept {
		return usageError{"-keep needs -as and a file that is no readings file"}
	}
	return nil
}
