package commands

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"dewcase/dashboards"
	"dewcase/internal/door/report"
	"dewcase/internal/flow/assessment"
	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/timeline"
	"dewcase/internal/roof"
	"dewcase/internal/run/app"
	"dewcase/internal/words"
)

// writeReport is the report of a case file and a readings file, offline.
func writeReport(_ context.Context, args []string, s Streams) error {
	f := flags("report", "-case FILE -readings FILE "+asSynopsis+" -to FILE.pdf|FILE.html [-until TIME] "+
		"[-paper a4|letter] [-by NAME] [-made TIME] [-strict]", s)
	caseFile := f.String("case", "", "case file (YAML)")
	readings := addReadings(f)
	to := f.String("to", "", "report to write: a name that ends in .pdf, or in .html for the form that screen readers "+
		"read")
	until := f.String("until", "", "use only readings before this time (RFC 3339)")
	paperName := f.String("paper", "a4", "a4 or letter, for PDF")
	by := f.String("by", "", "who makes the report, for its first page")
	madeAt := f.String("made", "", "time printed as that of making (RFC 3339; default now); with the same files and "+
		"the same time the report is the same, byte by byte")
	strict := f.Bool("strict", false, "a bad row makes the whole file unusable")
	if err := parse(f, args, "case", "readings", "to"); err != nil {
		return err
	}
	paper, ok := report.PaperNamed(*paperName)
	if !ok {
		return usageError{fmt.Sprintf("-paper is a4 or letter, not %q", *paperName)}
	}
	kind := strings.ToLower(filepath.Ext(*to))
	if kind != ".pdf" && kind != ".html" {
		return usageError{fmt.Sprintf("-to names a file that ends in .pdf or .html, not %q", *to)}
	}
	untilTime, err := timeOf(f, "until", *until)
	if err != nil {
		return err
	}
	made, err := timeOf(f, "made", *madeAt)
	if err != nil {
		return err
	}
	if made.IsZero() {
		made = time.Now().Truncate(time.Second)
	}
	src, err := reportSource(*caseFile, readings, untilTime, *strict, s)
	if err != nil {
		return err
	}
	src.Version, src.MadeAt, src.MadeBy = Version, made, *by
	d, err := report.New(src)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if kind == ".pdf" {
		err = d.WritePDF(&b, paper)
	} else {
		var css []byte
		if css, err = fs.ReadFile(dashboards.Bundle(), "main.css"); err != nil {
			return fmt.Errorf("reading the pages' style sheet, which was not built into this program: %w", err)
		}
		err = d.WriteHTML(&b, report.Frame{Inline: string(css)})
	}
	if err != nil {
		return err
	}
	if err := replaceFile(*to, 0o644, func(out io.Writer) error {
		_, err := out.Write(b.Bytes())
		return err
	}); err != nil {
		return fmt.Errorf("writing the report: %w", err)
	}
	sum := sha256.Sum256(b.Bytes())
	fmt.Fprintf(s.Out, "%s: SHA-256 %s\n", *to, hex.EncodeToString(sum[:]))
	return nil
}

// reportSource reads the case file and the readings, and takes their digests: of
// several files of readings one after the other.
func reportSource(caseFile string, readings *readingsFiles, until time.Time, strict bool, s Streams) (report.Source,
	error) {
	c, file, err := readCase(caseFile)
	if err != nil {
		return report.Source{}, err
	}
	sum := sha256.Sum256(file)
	h := sha256.New()
	input := sha256.New()
	s.In = io.TeeReader(s.In, input)
	cols, told, err := readings.columns(c, strict, s)
	if err != nil {
		return report.Source{}, err
	}
	var names []string
	for _, file := range readings.files {
		names = append(names, fileName(file))
		switch {
		case file != "-":
			err = digestFile(h, file)
		case len(readings.files) == 1:
			h = input
		default:
			return report.Source{}, usageError{"standard input cannot be reported on beside other files: -readings -"}
		}
		if err != nil {
			return report.Source{}, err
		}
	}
	of := "of " + words.List(names)
	if len(names) > 1 {
		of += ", one after the other"
	}
	set, err := recordOf(c, cols, until)
	if err != nil {
		return report.Source{}, err
	}
	a, ahead := assessment.Whole(app.SideBySide, set)
	src := report.Source{Case: c, Answer: a,
		CaseFile: report.Digest{SHA256: hex.EncodeToString(sum[:]), Of: "of " + fileName(caseFile)},
		Readings: report.Digest{SHA256: hex.EncodeToString(h.Sum(nil)), Of: of},
		Laid: func(from, to time.Time, step time.Duration) (timeline.View, error) {
			return timeline.Stepped(set, from.UnixMilli(), to.UnixMilli(), step.Milliseconds())
		},
		Curves: func(keys []curves.Key, from, to time.Time, stepMS int64,
			changes ...curves.Change) (curves.View, error) {
			return curves.OfSet(set).Columns(context.Background(), c, keys, from.UnixMilli(), to.UnixMilli(), stepMS, changes...)
		}}
	if !until.IsZero() {
		src.Readings.Of += ", of which only readings before " + until.UTC().Format(time.RFC3339) + " were used"
	}
	src.Answer.Take(ahead)
	src.Intake = fileIntake(cols, told)
	src.Answer.Notes = append(src.Answer.Notes, fileNotes(c, cols, csvreadings.Summary{Notes: told.Notes})...)
	return src, nil
}

func fileIntake(cols *csvreadings.Columns, told csvreadings.Summary) report.Intake {
	n := cols.Counts()
	in := report.Intake{Known: true, Duplicates: &n.Duplicates, Conflicts: &n.Conflicts}
	for _, reason := range roof.Reasons() {
		if n := told.ByReason[reason]; n > 0 {
			in.Rejected = append(in.Rejected, report.Rejected{Reason: string(reason), Count: n})
		}
	}
	return in
}

func digestFile(h hash.Hash, file string) error {
	in, err := os.Open(file)
	if err != nil {
		return fmt.Errorf("taking the digest of the readings: %w", err)
	}
	defer func() { _ = in.Close() }()
	if _, err := io.Copy(h, in); err != nil {
		return fmt.Errorf("taking the digest of the readings: %w", err)
	}
	return nil
}

func fileName(file string) string {
	if file == "-" {
		return "standard input"
	}
	return "the file " + filepath.Base(file)
}

// replaceFile writes a file whole or not at all: under a hidden name of its own
// until it is on disk. What a kill left under that name is written over.
func replaceFile(name string, mode fs.FileMode, write func(io.Writer) error) error {
	part := filepath.Join(filepath.Dir(name), "."+filepath.Base(name)+".part")
	out, err := os.OpenFile(part, os.O_CREATE|os.O_WRONLY|syscall.O_NOFOLLOW, mode)
	if err != nil {
		var at *fs.PathError
		if errors.As(err, &at) {
			err = at.Err
		}
		return fmt.Errorf("no file can be made in the folder %s: %w", filepath.Dir(name), err)
	}
	defer out.Close()
	if err := syscall.Flock(int(out.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		return fmt.Errorf("%s is being written by another command: %w", name, err)
	}
	if err = errors.Join(out.Truncate(0), out.Chmod(mode)); err == nil {
		err = write(out)
	}
	if err == nil {
		err = out.Sync()
	}
	if err != nil {
		return errors.Join(err, os.Remove(part))
	}
	return os.Rename(part, name)
}
