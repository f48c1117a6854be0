package commands

import (
	"context"
	"errors"
	"fmt"

	"dewcase/internal/door/store/influx"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/run/config"
)

// migrate moves the readings between the embedded store and InfluxDB. It can be
// broken off and called again.
func migrate(ctx context.Context, args []string, s Streams) error {
	f := flags("migrate", "-config FILE [-data DIR] -to influxdb|sqlite|verify", s)
	d := addDaemonFlags(f)
	to := f.String("to", "", "influxdb: move readings out; sqlite: bring them back; verify: compare what lies in "+
		"InfluxDB alone with its digests")
	if err := parse(f, args, "config", "to"); err != nil {
		return err
	}
	if *to != "influxdb" && *to != "sqlite" && *to != "verify" {
		return usageError{fmt.Sprintf("-to is influxdb, sqlite or verify, not %q", *to)}
	}
	c, err := d.config()
	if err != nil {
		return err
	}
	if c.Store.Influx.URL == "" {
		return errors.New("the configuration names no InfluxDB (key influxdb.url)")
	}
	token, err := config.Secret(c.Store.Influx.TokenFile, "DEWCASE_INFLUX_TOKEN")
	if err != nil {
		return fmt.Errorf("InfluxDB's token: %w", err)
	}
	client, err := influx.NewClient(influx.Server{URL: c.Store.Influx.URL, Org: c.Store.Influx.Org,
		Bucket: c.Store.Influx.Bucket, Token: token})
	if err != nil {
		return err
	}
	log, _ := logger(c.Log, s.Err)
	store, err := sqlite.Open(ctx, c.Data, sqlite.Options{Log: log, Outbox: true, SealQuiet: -1})
	if err != nil {
		return err
	}
	defer store.Close()
	var moved influx.Moved
	switch *to {
	case "influxdb":
		if _, err := store.Seal(ctx); err != nil {
			return err
		}
		moved, err = influx.MoveOut(ctx, store, client, influx.DrainOptions{Log: log})
	case "sqlite":
		moved, err = influx.MoveBack(ctx, store, client)
	case "verify":
		moved, err = influx.Verify(ctx, store, client)
	}
	fmt.Fprintf(s.Out, "%d logger days with %d readings, each day compared by count and digest\n", moved.Days,
		moved.Readings)
	return errors.Join(err, store.Close())
}
