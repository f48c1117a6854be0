package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"dewcase/internal/roof"
)

// KindHouse is the kind of a house's summary among the derived values.
const KindHouse = "house"

// NameHouse lists a house under a name, with the summary that it has; one that is
// new has none yet.
func (d *Derived) NameHouse(ctx context.Context, caseID, name string) error {
	_, err := d.db.ExecContext(ctx, `INSERT INTO house (case_id, name, search, weight, need, wet_nights, wet_before, wet_month,
		seen_week, seen_month, finding, verdict, rests) VALUES (?, ?, ?, 0, '', 0, 0, 0, 0, 0, '', '', x'')
		ON CONFLICT DO UPDATE SET name = excluded.name, search = excluded.search`, caseID, name, searched(caseID, name))
	if err == nil && !d.census.has(caseID) {
		d.census.note(roof.ListedHouse{Case: caseID}, true)
	}
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
	_, err = tx.ExecContext(ctx, `INSERT OR REPLACE INTO house (case_id, name, search, weight, need, wet_nights,
		wet_before, wet_month, seen_week, seen_month, finding, verdict, unseen, last, silent_from, silent_all, made, rests)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, h.Case, h.Name, searched(h.Case, h.Name), h.Weight,
		string(h.Need), h.WetNights, h.WetBefore, h.WetMonth, h.SeenWeek, h.SeenMonth, h.Finding, h.Verdict, h.Unseen,
		timeOrNull(h.Last), timeOrNull(h.SilentFrom), timeOrNull(h.SilentAll), timeOrNull(h.Made), h.Rests[:])
	if err == nil {
		err = d.putIn(ctx, tx, KindHouse, h.Case, []roof.Derived{{Rests: h.Rests, Data: h.Data}})
	}
	if err == nil {
		err = tx.Commit()
	}
	if err == nil {
		d.census.note(h, true)
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
	if err == nil {
		d.census.note(roof.ListedHouse{Case: caseID}, false)
	}
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
	case roof.Sweating:
		where += " AND wet_nights >= ? AND seen_week > 0 AND last >= ?"
		args = append(args, roof.SweatsFrom, q.Now.Add(-roof.LatelyHeard).UnixMilli())
	case roof.NeedAllSilent:
		where += " AND coalesce(silent_all <= ?, 0)"
		args = append(args, q.Now.UnixMilli())
	case roof.NeedSomeSilent:
		where += " AND silent AND silent_all > ?"
		args = append(args, q.Now.UnixMilli())
	case "":
	default:
		where += " AND NOT silent AND need = ?"
		args = append(args, string(q.Need))
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
	begun := d.begun()
	// Only what a house is found and sorted by is gathered of every one; the rest is
	// looked up for the rows of the page. Where it has none, the counts stand alone.
	err := each(ctx, d.db, fmt.Sprintf(`WITH
		stands AS (SELECT *, coalesce(silent_from <= ?, 0) AS silent FROM house),
		listed AS (SELECT *, weight + silent * %d AS pressing FROM stands),
		counts AS (SELECT count(*) AS n, coalesce(sum(wanted), 0) AS found, coalesce(sum(wanted AND pressing > 0), 0) AS looks
			FROM (SELECT pressing, %s AS wanted FROM listed)),
		page AS (SELECT case_id AS id, row_number() OVER () AS place FROM
			(SELECT case_id FROM listed WHERE %s ORDER BY %ssearch LIMIT ? OFFSET ?))
		SELECT n, found, looks, `+houseColumns+`
		FROM counts LEFT JOIN (page JOIN house h ON h.case_id = id
			LEFT JOIN derived v ON v.case_id = h.case_id AND v.kind = '%s' AND v.at = 0) ORDER BY place`,
		roof.SilentWeight, where, where, order, KindHouse), func(rows *sql.Rows) error {
		h, err := scanHouse(rows, &p.All, &p.Found, &p.Need)
		if err != nil || h.Case == "" {
			return err
		}
		p.Rows = append(p.Rows, h)
		return nil
	}, args...)
	if d.mended(ctx, begun, err) {
		return roof.HousePage{}, nil
	}
	return p, during(err, "reading the list of houses")
}

// houseColumns are a house h and its summary v, as scanHouse reads them.
const houseColumns = `h.case_id, h.name, h.weight, h.need, h.wet_nights, h.wet_before, h.wet_month, h.seen_week,
	h.seen_month, h.finding, h.verdict, h.unseen, h.last, h.silent_from, h.silent_all, h.made, h.rests,
	v.made, v.rests, v.crc, v.data`

// scanHouse reads a house behind other columns; one without an id is none.
func scanHouse(rows *sql.Rows, before ...any) (h roof.ListedHouse, err error) {
	var id, name, need, finding, verdict sql.NullString
	var weight, wet, wetBefore, wetMonth, seenWeek, seenMonth, unseen sql.NullInt64
	var last, silent, all, made, vMade, crc sql.NullInt64
	var rests, vRests []byte
	if err := rows.Scan(append(before, &id, &name, &weight, &need, &wet, &wetBefore, &wetMonth, &seenWeek, &seenMonth,
		&finding, &verdict, &unseen, &last, &silent, &all, &made, &rests, &vMade, &vRests, &crc, &h.Data)...); err != nil {
		return h, err
	}
	h.Case, h.Name, h.Need, h.Finding, h.Verdict = id.String, name.String, roof.HouseNeed(need.String), finding.String,
		verdict.String
	h.Weight, h.Unseen, h.WetNights, h.WetBefore = int(weight.Int64), int(unseen.Int64), int(wet.Int64),
		int(wetBefore.Int64)
	h.WetMonth, h.SeenWeek, h.SeenMonth = int(wetMonth.Int64), int(seenWeek.Int64), int(seenMonth.Int64)
	h.Last, h.SilentFrom, h.SilentAll = orZero(last), orZero(silent), orZero(all)
	copy(h.Rests[:], rests)
	v := roof.Derived{Made: orZero(vMade), Data: h.Data}
	copy(v.Rests[:], vRests)
	if made.Valid && crc.Valid && derivedCRC(KindHouse, h.Case, v) == uint32(crc.Int64) {
		h.Made = v.Made
	} else {
		h.Data = nil // not summed up, or damaged
	}
	return h, nil
}

// census is what is counted of each house, once it was asked for: 50,000 rows take
// the database a tenth of a second, and memory a hundredth.
type census struct {
	mu sync.Mutex
	by map[string]*roof.ListedHouse // nil until it is asked for
}

// note takes over what was written of a house; false of one that is gone.
func (c *census) note(h roof.ListedHouse, there bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case c.by == nil:
	case there:
		h.Name, h.Data, h.Rests, h.WetBefore, h.Weight = "", nil, [32]byte{}, 0, 0
		c.by[h.Case] = &h
	default:
		delete(c.by, h.Case)
	}
}

// forget has all counted anew.
func (c *census) forget() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.by = nil
}

// has reports whether a house is counted.
func (c *census) has(caseID string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.by[caseID] != nil
}

// EachHouse gives every listed house without name and summary, in no order. None may
// be changed; one that is summed up anew meanwhile is another.
func (d *Derived) EachHouse(ctx context.Context, use func(*roof.ListedHouse)) error {
	d.census.mu.Lock()
	defer d.census.mu.Unlock()
	if d.census.by == nil {
		by, err := d.countable(ctx)
		if err != nil {
			return during(err, "counting the houses")
		}
		d.census.by = by
	}
	for _, h := range d.census.by {
		use(h)
	}
	return nil
}

// countable reads what is counted of every house.
func (d *Derived) countable(ctx context.Context) (map[string]*roof.ListedHouse, error) {
	out := map[string]*roof.ListedHouse{}
	few := map[string]string{} // one string of each of those that come again and again
	same := func(s *string) {
		if one, ok := few[*s]; ok {
			*s = one
		} else {
			few[*s] = *s
		}
	}
	err := each(ctx, d.db, `SELECT case_id, need, wet_nights, wet_month, seen_week, seen_month, finding, verdict, unseen, last,
		silent_from, silent_all, made FROM house`, func(rows *sql.Rows) error {
		var h roof.ListedHouse
		var need string
		var last, silent, all, made sql.NullInt64
		if err := rows.Scan(&h.Case, &need, &h.WetNights, &h.WetMonth, &h.SeenWeek, &h.SeenMonth, &h.Finding, &h.Verdict,
			&h.Unseen, &last, &silent, &all, &made); err != nil {
			return err
		}
		same(&need)
		same(&h.Finding)
		same(&h.Verdict)
		h.Need = roof.HouseNeed(need)
		h.Last, h.SilentFrom, h.SilentAll, h.Made = orZero(last), orZero(silent), orZero(all), orZero(made)
		out[h.Case] = &h
		return nil
	})
	return out, err
}

// HousesOf gives houses with their summaries by their ids; one that is not listed
// is left out.
func (d *Derived) HousesOf(ctx context.Context, ids []string) (map[string]roof.ListedHouse, error) {
	out := map[string]roof.ListedHouse{}
	asked, err := json.Marshal(ids)
	if err != nil {
		return nil, during(err, "asking for %d houses", len(ids))
	}
	err = each(ctx, d.db, `SELECT `+houseColumns+` FROM json_each(?) JOIN house h ON h.case_id = value
		LEFT JOIN derived v ON v.case_id = h.case_id AND v.kind = '`+KindHouse+`' AND v.at = 0`, func(rows *sql.Rows) error {
		h, err := scanHouse(rows)
		out[h.Case] = h
		return err
	}, string(asked))
	return out, during(err, "reading %d houses", len(ids))
}
