package commands

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/user"
	"slices"
	"strings"
	"time"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/exportfile"
	"dewcase/internal/door/filing"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/casefile"
	"dewcase/internal/flow/exports"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/roof"
	"dewcase/internal/run/app"
	"dewcase/internal/run/config"
	"dewcase/internal/words"
)

// importFiles stores a case file and a readings file in the embedded store.
func importFiles(ctx context.Context, args []string, s Streams) error {
	f := flags("import", "-case FILE -readings FILE [-readings FILE] [-data DIR] [-strict] [-new-store] "+asSynopsis+
		" [-keep NAME]", s)
	caseFile := f.String("case", "", "case file (YAML)")
	in := addReadings(f)
	data := f.String("data", config.Default().Data, "data folder")
	strict := f.Bool("strict", false, "a bad row makes the whole file unusable")
	anew := addNewStore(f)
	if err := parse(f, args, "case", "readings"); err != nil {
		return err
	}
	c, file, err := readCase(*caseFile)
	if err != nil {
		return err
	}
	if in.as != "" || *strict {
		if err := in.keptInput(s); err != nil {
			return err
		}
	}
	defer in.close()
	var sources []source
	look := func(kept []exports.Recipe) error {
		if sources, err = in.sources(c, kept, s); err != nil || !*strict {
			return err
		}
		return in.strictly(sources, s)
	}
	_, missing := os.Stat(*data)
	if in.as == "" || missing != nil { // no recipe is wanted or kept: files that cannot be used make no store
		if err := look(nil); err != nil {
			return err
		}
	}
	log := slog.New(slog.NewTextHandler(s.Err, &slog.HandlerOptions{Level: slog.LevelWarn}))
	store, err := sqlite.Open(ctx, *data, sqlite.Options{Log: log, NewStore: *anew})
	if err != nil {
		return err
	}
	defer store.Close()
	path := ingest.Path{Store: store, Cases: named{c}, Rejects: now{store, log}, Count: uncounted{},
		MaxLoggers: config.Default().MQTT.MaxLoggers, Now: time.Now}
	cabinet := filing.New(*data, store, time.Now)
	if sources == nil {
		kept, err := cabinet.Recipes(ctx)
		if err != nil {
			return err
		}
		if err := look(kept); err != nil {
			return err
		}
	}
	got, err := storeAll(ctx, &path, c, sources, s)
	if err != nil {
		return err
	}
	if file, err = got.noteStations(*caseFile, file, s); err != nil {
		return err
	}
	if _, _, err := store.WriteCase(ctx, sqlite.CasePut{ID: c.ID, File: file, By: "dewcase import"}); err != nil {
		return err
	}
	if err := in.keepAll(ctx, cabinet, c.ID, sources, got.became); err != nil {
		return err
	}
	for _, l := range got.Unknown {
		fmt.Fprintf(s.Err, "logger %s is not in the case file; its readings are kept\n", l)
	}
	fmt.Fprintf(s.Out, "case %s: %d readings stored, %d completed, %d duplicates, %d conflicts, %d rejected\n", c.ID,
		got.Stored, got.Merged, got.Duplicates, got.Conflicts, got.RejectedN)
	if err := store.Close(); err != nil {
		return fmt.Errorf("closing the store: %w", err)
	}
	return nil
}

// intake is what came of some files together, and of each.
type intake struct {
	ingest.Report
	became   map[string]ingest.Report
	stations []casefile.Placing
}

// storeAll stores the readings of files, and says of each what there is to say.
func storeAll(ctx context.Context, path *ingest.Path, c *roof.Case, sources []source, s Streams) (*intake, error) {
	all := &intake{became: map[string]ingest.Report{}}
	for _, src := range sources {
		first := map[string]time.Time{}
		rows := src.rows
		if src.station != nil {
			rows = firsts(rows, first)
		}
		rep, err := path.File(ctx, c.ID, src.name, exportfile.Ahead(rows))
		if err != nil {
			return nil, err
		}
		if p, ok := src.placing(c, first); ok {
			casefile.Place(c, p)
			all.stations = append(all.stations, p)
		}
		tellImported(src.name, rep, s)
		all.became[src.name] = rep
		all.Stored, all.Merged, all.Duplicates = all.Stored+rep.Stored, all.Merged+rep.Merged, all.Duplicates+rep.Duplicates
		all.Conflicts, all.RejectedN = all.Conflicts+rep.Conflicts, all.RejectedN+rep.RejectedN
		for _, l := range rep.Unknown { // but for the station that was noted now
			if _, noted := c.Logger(l); !noted && !slices.Contains(all.Unknown, l) {
				all.Unknown = append(all.Unknown, l)
			}
		}
	}
	return all, nil
}

// noteStations writes the stations among the files into the text of a case file.
func (all *intake) noteStations(name string, file []byte, s Streams) ([]byte, error) {
	if len(all.stations) == 0 {
		return file, nil
	}
	file, err := casefile.Fit(name, file, all.stations)
	if err != nil {
		return nil, err
	}
	for _, p := range all.stations {
		fmt.Fprintln(s.Err, words.StationNoted(p.Logger, p.Position, p.Station.Source, p.Station.DistanceKM,
			p.Station.HeightDifferenceM)+words.StationKeep(name, p.Logger, casefile.WriteStation(*p.Station)))
	}
	return file, nil
}

// tellImported says what there is to say of one file.
func tellImported(name string, rep ingest.Report, s Streams) {
	for i, r := range rep.Rejected {
		if i == roof.FaultLines {
			fmt.Fprintf(s.Err, "and %d more bad rows (%d in all)\n", rep.RejectedN-i, rep.RejectedN)
			break
		}
		fmt.Fprintln(s.Err, roof.Fault{File: name, Line: r.Line, Key: r.Column, Problem: r.Detail}.Error())
	}
	for _, a := range rep.Against[:min(len(rep.Against), roof.FaultLines)] {
		fmt.Fprintf(s.Err, "%s: %s\n", name, words.RowAgainst(a.Line, a.Logger, a.At, a.Row, a.Kept))
	}
	if n := rep.Conflicts - roof.FaultLines; n > 0 {
		fmt.Fprintf(s.Err, "and %d more such rows (%d in all); they are kept aside\n", n, rep.Conflicts)
	}
	for _, d := range rep.Doubts {
		fmt.Fprintln(s.Err, d)
	}
}

// keptInput lays standard input down in a nameless file, to be read twice: once
// to judge it, once to store it.
func keptInput(in io.Reader) (*os.File, error) {
	f, err := os.CreateTemp("", "dewcase-readings-*")
	if err != nil {
		return nil, fmt.Errorf("keeping standard input: %w", err)
	}
	_ = os.Remove(f.Name())
	if _, err = io.Copy(f, in); err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		_ = f.Close()
		return nil, fmt.Errorf("keeping standard input: %w", err)
	}
	return f, nil
}

// named is one case for the write path.
type named struct{ c *roof.Case }

func (n named) Known(id string) bool { return id == n.c.ID }
func (n named) Fitted(id, logger string) bool {
	_, ok := n.c.Logger(logger)
	return ok && n.Known(id)
}

// now keeps rejects at once: an import has nobody to hold up.
type now struct {
	store *sqlite.Store
	log   *slog.Logger
}

func (n now) Keep(ctx context.Context, rejects []roof.Reject) {
	if err := n.store.AppendReject(ctx, rejects...); err != nil {
		n.log.Error("rejects could not be kept", "count", len(rejects), "error", err)
	}
}

func (n now) Heard(caseID, logger string, at time.Time) {
	if err := n.store.Heard(context.Background(), caseID, logger, at); err != nil {
		n.log.Error("a heard name could not be kept", "case", caseID, "logger", logger, "error", err)
	}
}

// uncounted counts nothing: the report holds the sums.
type uncounted struct{}

func (uncounted) Outcome(roof.Outcome)      {}
func (uncounted) Rejected(roof.Reason, int) {}

func check(ctx context.Context, args []string, s Streams) error {
	f := flags("check", "[-data DIR] [-confirm]", s)
	data := f.String("data", config.Default().Data, "data folder")
	confirm := f.Bool("confirm", false, "confirm the store's incidents, the daemon stopped: somebody knows what was lost")
	if err := parse(f, args); err != nil {
		return err
	}
	if *confirm {
		if err := confirmIncidents(ctx, *data); err != nil {
			return err
		}
	}
	rep, err := sqlite.Check(ctx, *data)
	if err != nil {
		return err
	}
	sound, changed, err := filing.Verify(ctx, *data)
	if err != nil {
		return err
	}
	if len(changed) > 0 {
		err = fmt.Errorf("originals of imported files are not what they were:\n%s", strings.Join(changed, "\n"))
	}
	if err := errors.Join(rep.Err(), err); err != nil {
		return err
	}
	open := 0
	for _, i := range rep.Incidents {
		state := "not confirmed"
		if !i.Open() {
			state = "confirmed by " + i.By + ", " + i.Confirmed.Format(time.RFC3339)
		} else {
			open++
		}
		fmt.Fprintf(s.Err, "incident of %s, %s: %s\n", i.At.Format(time.RFC3339), state, i.What)
	}
	if open > 0 {
		return fmt.Errorf("what the store in %s holds is whole, but an incident is not confirmed: find out what was lost, "+
			"then confirm it on the Alerts page, or here with -confirm while the daemon is stopped", *data)
	}
	fmt.Fprintf(s.Out, "the store in %s is sound: %d readings of %d loggers over %d logger days, %d kept aside, %d "+
		"versions of case files, schema %d\n",
		*data, rep.Readings, rep.Loggers, rep.Days, rep.Aside, rep.Cases, rep.Schema)
	if sound > 0 {
		fmt.Fprintf(s.Out, "%s of imported files sound\n", words.Count(sound, "original"))
	}
	if err := checkDerived(ctx, *data, s); err != nil {
		return err
	}
	if rep.Elsewhere > 0 {
		fmt.Fprintf(s.Err, "NOT verified: %d readings that lie in InfluxDB alone; `dewcase migrate -config FILE -to "+
			"verify` compares them with their digests\n", rep.Elsewhere)
	}
	return nil
}

// checkDerived works a sample of what is kept of earlier work out anew.
func checkDerived(ctx context.Context, data string, s Streams) error {
	found, err := app.CheckDerived(ctx, data)
	if err != nil {
		return fmt.Errorf("comparing what is kept of earlier work with the record: %w", err)
	}
	if len(found.Differs) > 0 {
		return fmt.Errorf("the record is sound, but what is kept of earlier work differs from it: %s; the next start with "+
			"`dewcase serve -drop-derived` works it out anew", strings.Join(found.Differs, "; "))
	}
	if found.Days+found.Answers+found.Summaries > 0 {
		fmt.Fprintf(s.Out, "of what is kept of earlier work, %s, %s and the summaries of %s were worked out anew and "+
			"are the same\n", words.Count(found.Days, "day"), words.Count(found.Answers, "assessment"),
			words.Count(found.Summaries, "house"))
	}
	return nil
}

// confirmIncidents confirms what is known of a store that no daemon holds.
func confirmIncidents(ctx context.Context, data string) error {
	if _, err := sqlite.Check(ctx, data); err != nil {
		return err // there is none
	}
	store, err := sqlite.Open(ctx, data, sqlite.Options{SealAfter: -1})
	if err != nil {
		return err
	}
	by := "dewcase check -confirm"
	if u, err := user.Current(); err == nil {
		by = u.Username + " (" + by + ")"
	}
	return errors.Join(store.ConfirmIncidents(ctx, time.Now(), by), store.Close())
}

func backup(ctx context.Context, args []string, s Streams) error {
	f := flags("backup", "[-data DIR] -to FILE", s)
	data := f.String("data", config.Default().Data, "data folder")
	to := f.String("to", "", "file to write; one of that name is replaced once the copy is whole")
	if err := parse(f, args, "to"); err != nil {
		return err
	}
	files, err := filing.Originals(*data)
	if err != nil {
		return err
	}
	rep, err := sqlite.Backup(ctx, *data, *to, files...)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.Out, "the store in %s was copied to %s and verified\n", *data, *to)
	if rep.Elsewhere > 0 {
		fmt.Fprintf(s.Err, "NOT in this backup: %d readings that lie in InfluxDB alone. Back InfluxDB up as well, as near "+
			"in time as can be; or bring them here first, the daemon stopped: `dewcase migrate -config FILE -to sqlite`\n",
			rep.Elsewhere)
	}
	return nil
}

func restore(ctx context.Context, args []string, s Streams) error {
	f := flags("restore", "-from FILE -data DIR", s)
	from := f.String("from", "", "backup file")
	data := f.String("data", "", "data folder to make; it must not hold a store yet")
	if err := parse(f, args, "from", "data"); err != nil {
		return err
	}
	lost, err := sqlite.Restore(ctx, *from, *data)
	if err != nil {
		return err
	}
	if lost != "" {
		fmt.Fprintln(s.Err, lost+"; an incident stands from the next start on, until somebody confirms it")
	}
	fmt.Fprintf(s.Out, "%s was verified and laid down in %s\n", *from, *data)
	return nil
}

// password reads a password from standard input, never from the command line.
func password(_ context.Context, args []string, s Streams) error {
	f := flags("password", "< a file or terminal with the password on its first line", s)
	if err := parse(f, args); err != nil {
		return err
	}
	secret, err := firstLine(s.In)
	if err != nil {
		return err
	}
	if len(secret) < 8 {
		return errors.New("a password has at least 8 characters")
	}
	hash, err := credentials.Hash(secret)
	if err != nil {
		return err
	}
	fmt.Fprintln(s.Out, hash)
	return nil
}

// newToken makes a token that sends messages and does nothing else: the line to
// keep is the answer, and the token is told beside it, once.
func newToken(_ context.Context, args []string, s Streams) error {
	f := flags("token", "-name NAME [-topics TOPIC,TOPIC]", s)
	name := f.String("name", "", "whose token it is; CASE/LOGGER may send on its own topic without -topics")
	topics := f.String("topics", "", "topics it may send on, with + and #")
	if err := parse(f, args, "name"); err != nil {
		return err
	}
	var list []string
	if *topics != "" {
		list = strings.Split(*topics, ",")
	}
	if caseID, logger, ok := strings.Cut(*name, "/"); strings.Contains(*name, ":") || len(list) == 0 &&
		(!ok || !roof.ValidCaseID(caseID) || !roof.ValidID(logger)) {
		return usageError{"-name: write CASE/LOGGER, or a name without : together with -topics"}
	}
	token, line := credentials.NewPushToken(*name, list)
	fmt.Fprintln(s.Out, line)
	fmt.Fprintf(s.Err, "the token, shown once: %s\nthe line above goes into the file that http.push_tokens_file names\n",
		token)
	return nil
}

func firstLine(r io.Reader) (string, error) {
	line, err := bufio.NewReader(io.LimitReader(r, 4096)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("reading the password: %w", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}
