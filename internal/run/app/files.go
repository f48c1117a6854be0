package app

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"dewcase/internal/door/exportfile"
	"dewcase/internal/door/filing"
	"dewcase/internal/door/http/web"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/flow/exports"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/roof"
	"dewcase/internal/words"
)

// fileDesk takes files in for the pages.
type fileDesk struct {
	book    *casebook.Book
	path    *ingest.Path
	cabinet *filing.Cabinet
	now     func() time.Time
}

func (a *App) fileDesk() fileDesk {
	return fileDesk{a.book, a.path, filing.New(a.opt.Config.Data, a.store, a.opt.Now), a.opt.Now}
}

func (d fileDesk) Lay(_ context.Context, caseID, name string, body io.Reader) (string, error) {
	return d.cabinet.Lay(caseID, name, body)
}

// opened is a file laid aside with the plans of its tables.
type opened struct {
	file   *os.File
	tables *exportfile.File
	name   string
	plans  []*exports.Plan
	// what was kept when it was opened
	recipes []exports.Recipe
}

func (o opened) close() {
	_ = o.file.Close()
	if o.tables != nil {
		_ = o.tables.Close()
	}
}

func (d fileDesk) open(ctx context.Context, caseID, id string, answers func([]string) exports.Answers) (o opened,
	err error) {
	c, err := d.book.Case(ctx, caseID)
	if err != nil {
		return o, err
	}
	if o.file, o.name, err = d.cabinet.Laid(caseID, id); err != nil {
		return o, err
	}
	house := exports.HouseOf(c)
	if o.recipes, err = d.cabinet.Recipes(ctx); err != nil {
		return o, err
	}
	house.Recipes = o.recipes
	if o.tables, err = exportfile.Open(o.name, o.file); err != nil {
		return o, err
	}
	o.plans, err = exports.LookAll(o.tables.Texts, answers, house)
	return o, err
}

const (
	previewRows = 8
	maxBadRows  = 200
)

func (d fileDesk) Look(ctx context.Context, caseID, id string, answers func([]string) exports.Answers) (web.Looked,
	error) {
	o, err := d.open(ctx, caseID, id, answers)
	out := web.Looked{Name: o.name, Plans: o.plans}
	if o.file != nil {
		defer o.close()
	}
	if err != nil {
		return out, err
	}
	for _, p := range o.plans {
		if len(p.Questions) > 0 {
			out.Notes = append(out.Notes, p.Notes...)
			continue
		}
		sum, err := p.Read(d.now(), func(r roof.Reading, _ int) error {
			if len(out.Preview) < previewRows {
				out.Preview = append(out.Preview, r)
			}
			return ctx.Err()
		})
		out.Good, out.BadN = out.Good+sum.Good, out.BadN+sum.Bad
		out.Bad = append(out.Bad, badRows(sum)...)
		out.Notes = append(out.Notes, sum.Notes...)
		if err != nil {
			return out, err
		}
	}
	return out, nil
}

func badRows(sum csvreadings.Summary) []web.BadRow {
	var out []web.BadRow
	for _, r := range sum.Rejected[:min(len(sum.Rejected), maxBadRows)] {
		out = append(out, web.BadRow{Line: r.Line, What: r.Column, Detail: r.Detail})
	}
	return out
}

func (d fileDesk) Take(ctx context.Context, caseID, id string, answers func([]string) exports.Answers,
	recipe func([]string) (exports.Recipe, bool), by string) (web.Taken, error) {
	o, err := d.open(ctx, caseID, id, answers)
	out := web.Taken{}
	if o.file != nil {
		defer o.close()
	}
	if err != nil {
		return out, err
	}
	out.Original = roof.Original{Case: caseID, Name: filepath.Base(o.name), At: d.now().UTC().Truncate(time.Second),
		By: by}
	for _, p := range o.plans {
		if len(p.Questions) > 0 {
			return out, p.Faults()
		}
	}
	for _, p := range o.plans {
		first := time.Time{}
		rep, err := d.path.File(ctx, caseID, p.Text.Name, exportfile.Ahead(func(now time.Time,
			each func(roof.Reading, int) error) (csvreadings.Summary, error) {
			return p.Read(now, func(r roof.Reading, line int) error {
				if first.IsZero() || r.At.Before(first) {
					first = r.At
				}
				return each(r, line)
			})
		}))
		out.Stored, out.Merged = out.Stored+rep.Stored, out.Merged+rep.Merged
		out.Duplicates, out.Conflicts = out.Duplicates+rep.Duplicates, out.Conflicts+rep.Conflicts
		for _, a := range rep.Against {
			out.Against = append(out.Against, words.RowAgainst(a.Line, a.Logger, a.At, a.Row, a.Kept))
		}
		out.Original.Rejected += rep.RejectedN
		for _, r := range rep.Rejected[:min(len(rep.Rejected), maxBadRows)] {
			out.Bad = append(out.Bad, web.BadRow{Line: r.Line, What: r.Column, Detail: r.Detail})
		}
		out.Notes = append(append(out.Notes, rep.Notes...), rep.Doubts...)
		if err != nil {
			return out, err
		}
		noted, err := d.station(ctx, caseID, p, answers(p.Kind).Station, first, by)
		if err != nil {
			return out, err
		}
		if noted != "" {
			known := words.UnknownLogger(p.Names[0].Name, p.Names[0].ID) // no longer so
			out.Notes = append(slices.DeleteFunc(out.Notes, func(n string) bool { return n == known }), noted)
		}
		out.Original.Recipe = p.Recipe
		if kept, keep := recipe(p.Kind); keep && !p.Canonical {
			for _, r := range o.recipes {
				if slices.Equal(r.Kind, p.Kind) {
					kept.Answers = kept.Answers.Over(r.Answers)
				}
			}
			if err := d.cabinet.KeepRecipe(ctx, kept); err != nil {
				return out, err
			}
			out.Original.Recipe = kept.Name
		}
	}
	out.Original.Taken = out.Stored + out.Merged + out.Duplicates
	if out.Original, err = d.cabinet.Keep(ctx, o.file, out.Original); err != nil {
		return out, fmt.Errorf("the readings of %s are stored, the file itself is not: %w", o.name, err)
	}
	d.cabinet.Forget(id)
	return out, nil
}

// station notes in the case file that a table was of a weather station, and says so.
func (d fileDesk) station(ctx context.Context, caseID string, p *exports.Plan, at *roof.Station, first time.Time,
	by string) (noted string, err error) {
	c, err := d.book.Case(ctx, caseID)
	id, one := p.OneLogger()
	if err != nil || at == nil || !one || first.IsZero() || !casefile.CanBeStation(c, id) {
		return "", err
	}
	placing := casefile.StationPlacing(c, id, *at, first)
	if err := fit(ctx, d.book, caseID, []casefile.Placing{placing}, by); err != nil {
		return "", err
	}
	return words.StationNoted(id, placing.Position, at.Source, at.DistanceKM, at.HeightDifferenceM), nil
}

func (d fileDesk) Originals(ctx context.Context, caseID string) ([]roof.Original, error) {
	return d.cabinet.Originals(ctx, caseID)
}

func (d fileDesk) Original(ctx context.Context, caseID, sum string) (io.ReadCloser, string, error) {
	return d.cabinet.Original(ctx, caseID, sum)
}
