// Package parcel packs everything that is kept of one house into one file, and
// reads it again, for a house that moves from one instance to another. The file is
// a zip archive of JSON lines and CSV that other programs can read too:
//
//	versions.jsonl   every version of the case file, with who wrote it and when
//	readings.csv     every reading as received, with its arrival and its flags
//	aside.csv        readings kept aside because another came first
//	rejects.jsonl    what could not be used
//	state.jsonl      alerts, letters, links, mappings and entries of imported files
//	originals/SHA256 imported files, byte by byte
//	house.json       of which house and how much of each, written last
//
// A file that broke off has no house.json, and is refused; the archive's check
// values cover every file.
//
// A house packed as evidence has further files, no state.jsonl, and last a
// seal.json: the SHA-256 of every file, chained, so that one digest stands for
// all of them, and every byte of the archive can be compared.
package parcel

import (
	"archive/zip"
	"bufio"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"path"
	"strconv"
	"time"

	"dewcase/internal/roof"
)

// format is raised when older versions can no longer read the file.
const format = 1

// About says which house a file holds and how much of it.
type About struct {
	Format  int       `json:"format"`
	Case    string    `json:"case"`
	Label   string    `json:"label"`
	From    string    `json:"from"` // the instance that packed it
	Version string    `json:"version"`
	At      time.Time `json:"at"` // when it was packed, by that instance's clock
	// LetGo is when that instance stopped serving the house; zero: it still does, and
	// more will follow.
	LetGo time.Time      `json:"let_go,omitzero"`
	Count map[string]int `json:"count"` // entries by file
}

// The files of the archive.
const (
	aboutFile    = "house.json"
	versionsFile = "versions.jsonl"
	readingsFile = "readings.csv"
	asideFile    = "aside.csv"
	rejectsFile  = "rejects.jsonl"
	stateFile    = "state.jsonl"
	originals    = "originals/"
)

// Writer packs one house. Its methods are called once each, Close last.
type Writer struct {
	z     *zip.Writer
	count map[string]int
}

// NewWriter packs into a file.
func NewWriter(w io.Writer) *Writer { return &Writer{zip.NewWriter(w), map[string]int{}} }

// Versions packs the versions of the case file, oldest first.
func (w *Writer) Versions(all []roof.CaseVersion) error { return lines(w, versionsFile, all) }

// Rejects packs the log of rejects.
func (w *Writer) Rejects(all []roof.KeptReject) error { return lines(w, rejectsFile, all) }

// State packs the daemon's own state of the house.
func (w *Writer) State(all []roof.HouseState) error { return lines(w, stateFile, all) }

func lines[T any](w *Writer, name string, all []T) error {
	f, err := w.z.Create(name)
	if err != nil {
		return fmt.Errorf("packing %s: %w", name, err)
	}
	to := json.NewEncoder(f)
	for _, one := range all {
		if err := to.Encode(one); err != nil {
			return fmt.Errorf("packing %s: %w", name, err)
		}
	}
	w.count[name] = len(all)
	return nil
}

const stamp = "2006-01-02T15:04:05.000Z"

// Readings packs the record.
func (w *Writer) Readings(all iter.Seq2[roof.Reading, error]) error {
	return w.readings(readingsFile, all)
}

// Aside packs the readings kept aside.
func (w *Writer) Aside(all []roof.Conflicting) error {
	return w.readings(asideFile, func(yield func(roof.Reading, error) bool) {
		for _, c := range all {
			if !yield(c.Reading, nil) {
				return
			}
		}
	})
}

func (w *Writer) readings(name string, all iter.Seq2[roof.Reading, error]) error {
	f, err := w.z.Create(name)
	if err != nil {
		return fmt.Errorf("packing %s: %w", name, err)
	}
	to := csv.NewWriter(f)
	row := []string{"logger", "time", "arrived", "flags"}
	for q := range roof.Quantity(roof.QuantityCount) {
		row = append(row, q.String())
	}
	if err := to.Write(row); err != nil {
		return fmt.Errorf("packing %s: %w", name, err)
	}
	for r, err := range all {
		if err != nil {
			return err
		}
		row = append(row[:0], r.Logger, r.At.UTC().Format(stamp), r.Arrived.UTC().Format(stamp),
			strconv.FormatUint(uint64(r.Flags), 10))
		for q := range roof.Quantity(roof.QuantityCount) {
			cell := ""
			if x, ok := r.Values.Get(q); ok {
				cell = strconv.FormatFloat(x, 'g', -1, 64) // the shortest that is read back bit for bit
			}
			row = append(row, cell)
		}
		if err := to.Write(row); err != nil {
			return fmt.Errorf("packing %s: %w", name, err)
		}
		w.count[name]++
	}
	to.Flush()
	return to.Error()
}

// Original packs an imported file.
func (w *Writer) Original(sum string, in io.Reader) error {
	f, err := w.z.Create(originals + sum)
	if err == nil {
		_, err = io.Copy(f, in)
	}
	if err != nil {
		return fmt.Errorf("packing the original %.12s: %w", sum, err)
	}
	w.count[originals]++
	return nil
}

// Add packs a further file, which is not counted.
func (w *Writer) Add(name string, content []byte) error {
	f, err := w.z.Create(name)
	if err == nil {
		_, err = f.Write(content)
	}
	if err != nil {
		return fmt.Errorf("packing %s: %w", name, err)
	}
	return nil
}

// Close writes what the file is about, which makes it whole.
func (w *Writer) Close(a About) error {
	a.Format, a.Count = format, w.count
	f, err := w.z.Create(aboutFile)
	if err == nil {
		err = json.NewEncoder(f).Encode(a)
	}
	if err != nil {
		return fmt.Errorf("packing a house: %w", err)
	}
	return w.z.Close()
}

// ErrNotAHouse is wrapped by a file that cannot be read as a house.
var ErrNotAHouse = roof.NewError(roof.Unusable,
	"this is no whole file of a house, as /api/cases/CASE/house.zip and `dewcase pack` give it")

// Parcel is a packed house.
type Parcel struct {
	About
	z *zip.Reader
}

// Open reads what a file is about.
func Open(in io.ReaderAt, size int64) (*Parcel, error) {
	z, err := zip.NewReader(in, size)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNotAHouse, err)
	}
	p := &Parcel{z: z}
	all, err := unpack[About](p, aboutFile, 1)
	if err != nil {
		return nil, err
	}
	p.About = all[0]
	if p.Format != format {
		return nil, fmt.Errorf("%w: it is of format %d, this version reads %d", ErrNotAHouse, p.Format, format)
	}
	if !roof.ValidCaseID(p.Case) {
		return nil, fmt.Errorf("%w: %q is no id of a case", ErrNotAHouse, p.Case)
	}
	files := 0
	for range p.Originals() {
		files++
	}
	if files != p.Count[originals] {
		return nil, fmt.Errorf("%w: it holds %d originals, not %d", ErrNotAHouse, files, p.Count[originals])
	}
	return p, nil
}

// maxLine bounds a line: a case file in base64, with room.
const maxLine = 4 << 20

func unpack[T any](p *Parcel, name string, want int) ([]T, error) {
	f, err := p.z.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNotAHouse, err)
	}
	defer f.Close()
	var out []T
	in := bufio.NewScanner(f)
	in.Buffer(nil, maxLine)
	for in.Scan() {
		var one T
		if err := json.Unmarshal(in.Bytes(), &one); err != nil {
			return nil, fmt.Errorf("%w: %s: %w", ErrNotAHouse, name, err)
		}
		out = append(out, one)
	}
	if err := in.Err(); err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrNotAHouse, name, err)
	}
	if len(out) != want {
		return nil, fmt.Errorf("%w: %s holds %d entries, not %d", ErrNotAHouse, name, len(out), want)
	}
	return out, nil
}

// Read gives a file that was added.
func (p *Parcel) Read(name string) ([]byte, error) {
	f, err := p.z.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNotAHouse, err)
	}
	defer f.Close()
	content, err := io.ReadAll(io.LimitReader(f, maxAdded))
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrNotAHouse, name, err)
	}
	return content, nil
}

// maxAdded bounds a file that was added.
const maxAdded = 64 << 20

// Versions are the versions of the case file, oldest first.
func (p *Parcel) Versions() ([]roof.CaseVersion, error) {
	return unpack[roof.CaseVersion](p, versionsFile, p.Count[versionsFile])
}

// Rejects are the log of rejects.
func (p *Parcel) Rejects() ([]roof.KeptReject, error) {
	return unpack[roof.KeptReject](p, rejectsFile, p.Count[rejectsFile])
}

// State is the daemon's own state of the house.
func (p *Parcel) State() ([]roof.HouseState, error) {
	return unpack[roof.HouseState](p, stateFile, p.Count[stateFile])
}

// Readings gives the record, and ends with an error where it is not whole.
func (p *Parcel) Readings() iter.Seq2[roof.Reading, error] { return p.readings(readingsFile) }

// Aside gives the readings kept aside.
func (p *Parcel) Aside() iter.Seq2[roof.Reading, error] { return p.readings(asideFile) }

func (p *Parcel) readings(name string) iter.Seq2[roof.Reading, error] {
	return func(yield func(roof.Reading, error) bool) {
		fail := func(err error) { yield(roof.Reading{}, fmt.Errorf("%w: %s: %w", ErrNotAHouse, name, err)) }
		f, err := p.z.Open(name)
		if err != nil {
			fail(err)
			return
		}
		defer f.Close()
		in := csv.NewReader(f)
		in.ReuseRecord = true
		if _, err := in.Read(); err != nil {
			fail(err)
			return
		}
		n := 0
		for {
			row, err := in.Read()
			if errors.Is(err, io.EOF) {
				break
			}
			var r roof.Reading
			if err == nil {
				r, err = reading(row)
			}
			if err != nil {
				fail(err)
				return
			}
			n++
			if !yield(r, nil) {
				return
			}
		}
		if n != p.Count[name] {
			fail(fmt.Errorf("it holds %d rows, not %d", n, p.Count[name]))
		}
	}
}

// reading reads a row.
func reading(row []string) (r roof.Reading, err error) {
	if len(row) < 4 || len(row) > 4+roof.QuantityCount {
		return r, fmt.Errorf("a row has %d cells", len(row))
	}
	r.Logger = row[0]
	if r.At, err = roof.ParseTime(row[1]); err != nil {
		return r, err
	}
	if r.Arrived, err = roof.ParseTime(row[2]); err != nil {
		return r, err
	}
	flags, err := strconv.ParseUint(row[3], 10, 32)
	if err != nil {
		return r, err
	}
	r.Flags = roof.Flags(flags)
	for i, cell := range row[4:] {
		if cell == "" {
			continue
		}
		x, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			return r, err
		}
		r.Values.Set(roof.Quantity(i), x)
	}
	return r, r.Storable()
}

// Originals gives the imported files by their digests.
func (p *Parcel) Originals() iter.Seq2[string, func() (io.ReadCloser, error)] {
	return func(yield func(string, func() (io.ReadCloser, error)) bool) {
		for _, f := range p.z.File {
			if dir, sum := path.Split(f.Name); dir == originals && !yield(sum, f.Open) {
				return
			}
		}
	}
}
