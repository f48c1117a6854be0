package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"
)

// The file gives back what it no longer needs, page by page and between other
// work (SQLite's incremental vacuum), so that sealing a winter of rows does not
// leave their room in it for good.
const (
	// loosePages is how many unused pages, of 4 KiB, a file may keep for what
	// comes next; besides, a loosePart of it.
	loosePages = 256
	loosePart  = 16
	// pagesAtATime is how many pages one transaction gives back.
	pagesAtATime = 1000
)

// givesBack is SQLite's number for a file laid out for incremental vacuum.
const givesBack = 2

// layOut brings a file of a store made before there was incremental vacuum into
// the layout for it, once, by writing it anew. SQLite does so in one transaction:
// killed, it is as it was. Where the disk has no room for both it stays as it is
// until the next opening.
func (p *writeConn) layOut(ctx context.Context) error {
	var mode, pages, free, size int64
	if err := p.conn.QueryRowContext(ctx, `SELECT auto_vacuum, page_count, freelist_count, page_size FROM
		pragma_auto_vacuum, pragma_page_count, pragma_freelist_count, pragma_page_size`).Scan(&mode, &pages, &free,
		&size); err != nil {
		return err
	}
	if mode == givesBack {
		return nil
	}
	began, need := time.Now(), 3*(pages-free)*size
	if space, err := SpaceOf(p.s.dir); err != nil || space.Free < need+space.Size/50 {
		p.s.opt.Log.Warn("the file keeps its unused pages until there is room to write it anew", "needed_bytes", need,
			"error", err)
		return nil
	}
	for _, pragma := range []string{`temp_store = 1`, `temp_store_directory = ` + quoted(p.s.dir),
		fmt.Sprint(`auto_vacuum = `, givesBack)} {
		if _, err := p.conn.ExecContext(ctx, `PRAGMA `+pragma); err != nil {
			return err
		}
	}
	_, err := p.conn.ExecContext(ctx, `VACUUM`)
	_, undo := p.conn.ExecContext(ctx, `PRAGMA temp_store_directory = ''`)
	_, keep := p.conn.ExecContext(ctx, `PRAGMA temp_store = 2`)
	if err := errors.Join(undo, keep); err != nil {
		return err
	}
	if err != nil {
		p.s.opt.Log.Warn("the file keeps its unused pages: it could not be written anew", "error", err)
		return nil
	}
	p.s.opt.Log.Info("the store's file was written anew", "unused_bytes", free*size, "took", time.Since(began))
	var busy, length, done int64
	return p.conn.QueryRowContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &length, &done)
}

// quoted is a text in SQL, where no parameter can stand.
func quoted(s string) string { return `'` + strings.ReplaceAll(s, `'`, `''`) + `'` }

// giveBack returns unused pages to the disk, a few at a time, until the file has
// no more of them than it may keep.
func (s *Store) giveBack(ctx context.Context) error {
	for more := true; more; {
		err := s.do(ctx, func(p *writeConn) (err error) {
			more, err = p.giveBack()
			return err
		})
		if err != nil {
			return fmt.Errorf("giving unused pages back: %w", err)
		}
	}
	return nil
}

func (p *writeConn) giveBack() (more bool, err error) {
	ctx := context.Background()
	var mode, pages, free int64
	if err := p.conn.QueryRowContext(ctx, `SELECT auto_vacuum, page_count, freelist_count FROM pragma_auto_vacuum,
		pragma_page_count, pragma_freelist_count`).Scan(&mode, &pages, &free); err != nil {
		return false, err
	}
	if mode != givesBack || free <= loosePages || free*loosePart <= pages {
		return false, nil
	}
	// Each step of the statement gives one page back.
	return true, each(ctx, p.conn, fmt.Sprintf(`PRAGMA incremental_vacuum(%d)`, min(pagesAtATime, free-loosePages/2)),
		func(*sql.Rows) error { return nil })
}
