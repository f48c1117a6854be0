package sqlite

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"dewcase/internal/roof"
)

// incidentKind is the kind of state that incidents are kept as, by the time at
// which they were noticed.
const incidentKind = "store_incident"

// report keeps an incident that opening noticed.
func (s *Store) report(ctx context.Context, i roof.Incident) error {
	s.opt.Log.Warn(i.What, "folder", s.dir)
	return s.keepIncident(ctx, i)
}

func (s *Store) keepIncident(ctx context.Context, i roof.Incident) error {
	blob, err := json.Marshal(i)
	if err != nil {
		return err
	}
	return s.PutState(ctx, incidentKind, i.At.UTC().Format(time.RFC3339Nano), blob)
}

// asIncident reads a kept incident; what older programs kept is the bare words.
func asIncident(kept roof.KeptState) roof.Incident {
	i := roof.Incident{At: kept.At, What: string(kept.Blob)}
	if json.Unmarshal(kept.Blob, &i) != nil {
		i.At, _ = time.Parse(time.RFC3339Nano, kept.Key)
	}
	return i
}

// Incidents lists what was ever doubtful about the store, newest first.
func (s *Store) Incidents(ctx context.Context) ([]roof.Incident, error) {
	kept, err := s.States(ctx, incidentKind)
	var out []roof.Incident
	for _, k := range slices.Backward(kept) {
		out = append(out, asIncident(k))
	}
	return out, err
}

// ConfirmIncidents notes that a person knows of every incident noticed until a
// time.
func (s *Store) ConfirmIncidents(ctx context.Context, until time.Time, by string) error {
	all, err := s.Incidents(ctx)
	if err != nil {
		return err
	}
	for _, i := range all {
		if i.Open() && !i.At.After(until) {
			i.By, i.Confirmed = by, s.opt.Now().UTC()
			if err := s.keepIncident(ctx, i); err != nil {
				return err
			}
		}
	}
	return nil
}

// vacancy says in words what is wrong where a folder that was used before holds
// no database, "" where all is well.
func vacancy(ctx context.Context, dir string) (string, error) {
	file := filepath.Join(dir, fileName)
	what := ""
	switch st, err := os.Stat(file); {
	case errors.Is(err, os.ErrNotExist):
		what = "is missing"
	case err != nil:
		return "", err
	case st.Size() == 0: // not opened: SQLite would take its log away
		what = "is empty"
	default:
		id, _, err := ends(ctx, file)
		if err != nil || id != "" {
			return "", err
		}
		what = "holds nothing"
	}
	m, marked := readMark(dir)
	if _, err := os.Stat(filepath.Join(dir, markName)); err != nil && !marked {
		return "", nil // never used
	}
	return fmt.Sprintf("%s %s, though this folder was in use%s", fileName, what, m.words()), nil
}

// words say which store a mark stands for, after a statement.
func (m mark) words() string {
	if m.store == "" {
		return fmt.Sprintf(" (%s is there, but cannot be read)", markName)
	}
	return fmt.Sprintf(" (%s: store %.8s, commit %d of %s)", markName, m.store, m.seq, fromMS(m.at).Format(stamp))
}

// mayOpen looks at the folder before anything in it is changed. It refuses a
// database that is not the one that belongs there, unless Options.NewStore is
// set, and returns what is to be kept as incidents.
func (s *Store) mayOpen(ctx context.Context) ([]roof.Incident, error) {
	now := s.opt.Now().UTC()
	what, err := vacancy(ctx, s.dir)
	if err != nil {
		return nil, err
	}
	m, marked := readMark(s.dir)
	if what == "" {
		id, c, err := ends(ctx, filepath.Join(s.dir, fileName))
		switch {
		case err != nil || id == "": // a fresh folder
			return nil, err
		case marked && m.store != id:
			what = fmt.Sprintf("%s; this one is store %.8s", m.judge(id, c)+m.words(), id)
		case s.opt.NewStore:
			return nil, errors.New("the folder holds the store that was last used in it: leave -new-store out")
		case marked && m.judge(id, c) != "":
			return []roof.Incident{{At: now, What: m.judge(id, c)}}, nil
		default:
			return nil, nil
		}
	} else if st, err := os.Stat(filepath.Join(s.dir, fileName+"-wal")); err == nil && st.Size() > 0 && s.opt.NewStore {
		return nil, fmt.Errorf("%s, but its log %s-wal is there and would be lost: move it away first", what, fileName)
	}
	if !s.opt.NewStore {
		return nil, fmt.Errorf("%s: mount the volume or put the right file back, or move %s away and restore a backup; to "+
			"begin anew without what was there, start once with `dewcase serve -new-store`", what, markName)
	}
	return []roof.Incident{{At: now, What: "begun anew on purpose: " + what, By: "dewcase serve -new-store",
		Confirmed: now}}, nil
}

// ends says which store a database file is and where its chain ends; "" where
// there is none.
func ends(ctx context.Context, file string) (id string, c chain, err error) {
	if _, err := os.Stat(file); errors.Is(err, os.ErrNotExist) {
		return "", c, nil
	}
	db, err := openToRead(ctx, file)
	if err != nil {
		return "", c, err
	}
	defer db.Close()
	if version, err := schemaOf(ctx, db); err != nil || version == 0 {
		return "", c, err
	}
	if c, err = loadChain(ctx, db); err == nil {
		id, err = storeID(ctx, db)
	}
	return id, c, err
}
