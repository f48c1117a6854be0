package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"

	"dewcase/internal/roof"
)

// KindHouse is the kind of a house's summary among the derived values.
const KindHouse = "house"

// NameHouse lists a house under a name, with the summary that it has; one that is
// new has none yet.
func (d *Derived) NameHouse(ctx context.Context, caseID, name string) error {
	_, err := d.db.ExecContext(ctx, `INSERT INTO house (case_id, name, search, weight, wet_nights, wet_before, finding,
		verdict, rests) VALUES (?, ?, ?, 0, 0, 0, '', '', x'')
		ON CONFLICT DO UPDATE SET name = excluded.name, search = excluded.search`, caseID, name, searched(caseID, name))
	return during(err, "listing house %s", caseID)
}

// searched is what a house is found by.
func searched(caseID, name string) string { return strings.ToLower(name + "\n" + caseID) }

// KeepHouse lists a house with its summary, made now, in place of the one before.
func (d *Derived) KeepHouse(ctx context.Context, h roof.ListedHouse) error {
	h.Made = fromMS(d.now().UnixMilli())
	tx, err := d.db.BeginTx(ctx, nil)
	if err != nil {
		return during(err, "listing house %s", h.Case)
	}
	defer func() { _ = tx.Rollback() }()
	_, err = tx.ExecContext(ctx, `INSERT OR REPLACE INTO house (case_id, name, search, weight, wet_nights, wet_before,
		finding, verdict, unseen, last, silent_from, made, rests) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, h.Case,
		h.Name, searched(h.Case, h.Name), h.Weight, h.WetNights, h.WetBefore, h.Finding, h.Verdict, h.Unseen,
		timeOrNull(h.Last), timeOrNull(h.SilentFrom), timeOrNull(h.Made), h.Rests[:])
	if err == nil {
		err = d.putIn(ctx, tx, KindHouse, h.Case, []roof.Derived{{Rests: h.Rests, Data: h.Data}})
	}
	if err == nil {
		err = tx.Commit()
	}
	return during(err, "listing house %s", h.Case)
}

func timeOrNull(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UnixMilli()
}

func orZero(ms sql.NullInt64) time.Time {
	if !ms.Valid {
		return time.Time{}
	}
	return fromMS(ms.Int64)
}

// DropHouse takes a house from the list.
func (d *Derived) DropHouse(ctx context.Context, caseID string) error {
	_, err := d.db.ExecContext(ctx, `DELETE FROM house WHERE case_id = ?`, caseID)
	return during(err, "taking house %s from the list", caseID)
}

// ListedHouses says of every listed house what its summary rests on and when it
// was made, by case.
func (d *Derived) ListedHouses(ctx context.Context) (map[string]roof.ListedHouse, error) {
	out := map[string]roof.ListedHouse{}
	err := each(ctx, d.db, `SELECT case_id, name, made, rests FROM house`, func(rows *sql.Rows) error {
		var h roof.ListedHouse
		var made sql.NullInt64
		var rests []byte
		err := rows.Scan(&h.Case, &h.Name, &made, &rests)
		h.Made = orZero(made)
		copy(h.Rests[:], rests)
		out[h.Case] = h
		return err
	})
	return out, during(err, "listing the houses")
}

// houseOrders are the terms of each order; a tie goes by name.
var houseOrders = map[roof.HouseOrder]string{
	roof.ByNeed:  "pressing DESC, ",
	roof.ByName:  "",
	roof.ByWet:   "wet_nights DESC, ",
	roof.ByTrend: "wet_nights - wet_before DESC, ",
	roof.ByHeard: "last, ",
}

// housesWanted is the condition of a query, over a table with the column pressing.
func housesWanted(q roof.HouseQuery) (where string, args []any) {
	where = `search LIKE ? ESCAPE '\'`
	args = []any{"%" + strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(strings.ToLower(q.Search)) + "%"}
	for _, of := range []struct {
		column string
		any    []string
	}{{"finding", q.Findings}, {"verdict", q.Verdicts}} {
		if len(of.any) > 0 {
			where += " AND " + of.column + " IN (?" + strings.Repeat(", ?", len(of.any)-1) + ")"
			for _, x := range of.any {
				args = append(args, x)
			}
		}
	}
	switch q.Need {
	case roof.NeedsLook:
		where += " AND pressing > 0"
	case roof.NeedsSilent:
		where += " AND silent"
	case roof.NeedsAlert:
		where += " AND unseen > 0"
	}
	return where, args
}

// Houses gives a part of the list of houses, and counts them, in one query: both
// are of one state of the list.
func (d *Derived) Houses(ctx context.Context, q roof.HouseQuery) (roof.HousePage, error) {
	order, ok := houseOrders[q.Order]
	if !ok {
		order = houseOrders[roof.ByNeed]
	}
	where, args := housesWanted(q)
	args = slices.Concat([]any{q.Now.UnixMilli()}, args, args, []any{q.Limit, q.Offset})
	var p roof.HousePage
	// Only what a house is found and sorted by is gathered of every one; the rest is
	// looked up for the rows of the page. Where it has none, the counts stand alone.
	err := each(ctx, d.db, fmt.Sprintf(`WITH
		stands AS (SELECT *, coalesce(silent_from <= ?, 0) AS silent FROM house),
		listed AS (SELECT *, weight + silent * %d AS pressing FROM stands),
		counts AS (SELECT count(*) AS n, coalesce(sum(wanted), 0) AS found, coalesce(sum(wanted AND pressing > 0), 0) AS need
			FROM (SELECT pressing, %s AS wanted FROM listed)),
		page AS (SELECT case_id AS id, row_number() OVER () AS place FROM
			(SELECT case_id FROM listed WHERE %s ORDER BY %ssearch LIMIT ? OFFSET ?))
		SELECT n, found, need,
			h.case_id, h.name, h.weight, h.wet_nights, h.wet_before, h.finding, h.verdict, h.unseen, h.last, h.silent_from,
			h.made, h.rests, v.made, v.rests, v.crc, v.data
		FROM counts LEFT JOIN (page JOIN house h ON h.case_id = id
			LEFT JOIN derived v ON v.case_id = h.case_id AND v.kind = '%s' AND v.at = 0) ORDER BY place`,
		roof.SilentWeight, where, where, order, KindHouse), func(rows *sql.Rows) error {
		var h roof.ListedHouse
		var id, name, finding, verdict sql.NullString
		var weight, wet, before, unseen, last, silent, made, vMade, crc sql.NullInt64
		var rests, vRests []byte
		if err := rows.Scan(&p.All, &p.Found, &p.Need, &id, &name, &weight, &wet, &before, &finding, &verdict, &unseen,
			&last, &silent, &made, &rests, &vMade, &vRests, &crc, &h.Data); err != nil || !id.Valid {
			return err
		}
		h.Case, h.Name, h.Finding, h.Verdict = id.String, name.String, finding.String, verdict.String
		h.Weight, h.WetNights, h.WetBefore, h.Unseen = int(weight.Int64), int(wet.Int64), int(before.Int64),
			int(unseen.Int64)
		h.Last, h.SilentFrom = orZero(last), orZero(silent)
		copy(h.Rests[:], rests)
		v := roof.Derived{Made: orZero(vMade), Data: h.Data}
		copy(v.Rests[:], vRests)
		if made.Valid && crc.Valid && derivedCRC(KindHouse, h.Case, v) == uint32(crc.Int64) {
			h.Made = v.Made
		} else {
			h.Data = nil // not summed up, or damaged
		}
		p.Rows = append(p.Rows, h)
		return nil
	}, args...)
	return p, during(err, "reading the list of houses")
}
