package sqlite

import (
	"context"
	"database/sql"
	"slices"
)

// A block's data lies in its row as far as it is no whole number of pieces, and
// the rest in pieces of a size of which four fill a page: a row of 3 KB would
// have a page of 4 KiB for itself. A large block, for which that does not
// matter, lies in its row alone.
const (
	pieceBytes = 1008
	maxPieces  = 64 // the numbers of a block's pieces begin at so many times its own
)

// putBlock writes the block of a day that has none.
func putBlock(ctx context.Context, db executor, logger, k, n int64, data []byte) error {
	crc := blockCRC(data, logger, k, n)
	pieces := len(data) / pieceBytes
	if pieces > maxPieces {
		pieces = 0
	}
	rest := data[len(data)-pieces*pieceBytes:]
	res, err := db.ExecContext(ctx, `INSERT INTO block (logger, day, n, crc, pieces, data) VALUES (?, ?, ?, ?, ?, ?)`,
		logger, k, n, crc, pieces, data[:len(data)-len(rest)])
	if err != nil || pieces == 0 {
		return err
	}
	id, err := res.LastInsertId()
	if err != nil {
		return err
	}
	at := id * maxPieces
	for piece := range slices.Chunk(rest, pieceBytes) {
		if _, err := db.ExecContext(ctx, `INSERT INTO piece (id, data) VALUES (?, ?)`, at, piece); err != nil {
			return err
		}
		at++
	}
	return nil
}

// dropBlock takes a day's block away.
func dropBlock(ctx context.Context, db executor, logger, k int64) error {
	if _, err := db.ExecContext(ctx, `DELETE FROM piece WHERE id BETWEEN
		(SELECT id * 64 FROM block WHERE logger = ?1 AND day = ?2) AND
		(SELECT id * 64 + 63 FROM block WHERE logger = ?1 AND day = ?2)`, logger, k); err != nil {
		return err
	}
	_, err := db.ExecContext(ctx, `DELETE FROM block WHERE logger = ? AND day = ?`, logger, k)
	return err
}

// eachBlock gives the blocks of a logger from one day to another in order, at
// most limit unless it is negative, from a store of the schema.
func eachBlock(ctx context.Context, db executor, schema int, use func(sealedDay) error, logger, from, to int64,
	limit int) error {
	var b sealedDay
	id, pieces, had := int64(-1), 0, 0
	end := func() error {
		if id < 0 {
			return nil
		}
		if pieces > had {
			b.data = nil // for its check value to tell
		}
		return use(b)
	}
	query := `SELECT b.id, b.day, b.n, b.crc, b.data, b.pieces, p.data FROM (SELECT * FROM block
			WHERE logger = ? AND day BETWEEN ? AND ? ORDER BY day LIMIT ?) b
		LEFT JOIN piece p ON p.id BETWEEN b.id * 64 AND b.id * 64 + b.pieces - 1 ORDER BY b.day, p.id`
	if schema < schemaPieces {
		query = `SELECT id, day, n, crc, data, 0, NULL FROM block WHERE logger = ? AND day BETWEEN ? AND ? ORDER BY day LIMIT ?`
	}
	err := each(ctx, db, query, func(rows *sql.Rows) error {
		var next sealedDay
		var nextID int64
		var of int
		var head, piece sql.RawBytes
		if err := rows.Scan(&nextID, &next.day, &next.n, &next.crc, &head, &of, &piece); err != nil {
			return err
		}
		if nextID != id {
			if err := end(); err != nil {
				return err
			}
			next.data = append(make([]byte, 0, len(head)+max(of, 0)*pieceBytes), head...)
			b, id, pieces, had = next, nextID, of, 0
		}
		if piece != nil {
			b.data = append(b.data, piece...)
			had++
		}
		return nil
	}, logger, from, to, limit)
	if err == nil {
		err = end()
	}
	return during(err, "reading blocks")
}

// schemaPieces is the first schema with pieces.
const schemaPieces = 5
