package app

import (
	"context"
	"fmt"
	"time"

	"dewcase/internal/door/store/influx"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/watch"
	"dewcase/internal/roof"
	"dewcase/internal/run/config"
)

// derivedEvery is how often hourly values and nights are copied out.
const derivedEvery = 10 * time.Minute

// openInflux puts InfluxDB behind or beside the embedded store: behind it, a
// durable outbox stands between acknowledgement and InfluxDB; beside it, the
// embedded store stays the record and all is copied out.
func (a *App) openInflux(ctx context.Context, local *sqlite.Store) error {
	c := a.opt.Config.Store
	if !wantsInflux(c) {
		return nil
	}
	token, err := config.Secret(c.Influx.TokenFile, "DEWCASE_INFLUX_TOKEN")
	if err != nil {
		return fmt.Errorf("InfluxDB's token: %w", err)
	}
	server := influx.Server{URL: c.Influx.URL, Org: c.Influx.Org, Bucket: c.Influx.Bucket, Token: token}
	if a.influx, err = influx.NewClient(server); err != nil {
		return err
	}
	if err := influx.Begin(ctx, local, local, server); err != nil {
		return err
	}
	a.drain = influx.NewDrain(a.influx, local, influx.DrainOptions{Log: a.opt.Log})
	if c.Kind == "influxdb" {
		store := influx.NewStore(local, a.influx, a.drain, influx.Options{Log: a.opt.Log, Now: a.opt.Now})
		a.readings = store
		a.background.Go(func() { store.Run(a.base) })
	} else {
		a.background.Go(func() { a.drain.Run(a.base) })
	}
	a.onStop("the way to InfluxDB", waitFor(&a.background))
	return nil
}

func wantsInflux(c config.Store) bool { return c.Kind == "influxdb" || c.Mirror }

// copyDerived copies hourly values and nights out, for dashboards.
func (a *App) copyDerived() {
	if a.influx == nil {
		return
	}
	d := influx.NewDerived(a.influx, influx.Source{
		Cases:   func(context.Context) ([]*roof.Case, error) { return a.book.All(), nil },
		Version: a.record.Version, Span: a.record.Span, View: a.record.Timeline,
	}, a.opt.Log, derivedEvery)
	a.background.Go(func() { d.Run(a.base) })
}

// influxState is what waits for InfluxDB; zero without it.
func (a *App) influxState() influx.DrainState {
	if a.drain == nil {
		return influx.DrainState{}
	}
	s, err := a.drain.State(context.Background())
	if err != nil {
		s.Err = err
	}
	return s
}

// mirrorTrouble says in words what keeps readings from InfluxDB.
func (a *App) mirrorTrouble() watch.Trouble {
	t := watch.Trouble{Part: "mirror"}
	store, _ := a.readings.(*influx.Store)
	switch s := a.influxState(); {
	case store != nil && store.WriteOnly() != nil:
		t.Words = fmt.Sprintf("readings stay in the embedded store: %v", store.WriteOnly())
	case s.Err != nil:
		t.Words, t.Since = fmt.Sprintf("InfluxDB takes no readings: %v; %d wait for it and nothing is lost", s.Err,
			s.Waiting), s.Since
	case s.Refused > 0:
		t.Words = fmt.Sprintf("InfluxDB refused %d readings for good; they are kept here, and its own log says why",
			s.Refused)
	}
	return t
}

func (a *App) influxGauges() {
	if a.drain == nil {
		return
	}
	a.metrics.Gauge("dewcase_outbox_readings", "Readings that InfluxDB has yet to get.", nil,
		func() float64 { return float64(a.influxState().Waiting) })
	a.metrics.Gauge("dewcase_outbox_refused", "Readings that InfluxDB refused for good.", nil,
		func() float64 { return float64(a.influxState().Refused) })
	a.metrics.Counter("dewcase_outbox_written_total", "Readings that InfluxDB took since the start.", nil,
		func() float64 { return float64(a.influxState().Written) })
}
