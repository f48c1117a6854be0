// Package app builds the daemon from its parts, starts it, and stops it in
// order.
package app

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/http/gate"
	"dewcase/internal/door/http/web"
	"dewcase/internal/door/metrics"
	"dewcase/internal/door/mqtt/broker"
	"dewcase/internal/door/mqtt/mqttfeed"
	"dewcase/internal/door/notify"
	"dewcase/internal/door/store/influx"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/casebook"
	"dewcase/internal/flow/curves"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/mappings"
	"dewcase/internal/flow/payload"
	"dewcase/internal/flow/record"
	"dewcase/internal/roof"
	"dewcase/internal/run/bell"
	"dewcase/internal/run/config"
)

// Options are what a daemon is started with.
type Options struct {
	Config  config.Config
	Version string
	Log     *slog.Logger
	Level   *slog.LevelVar // of Log, so that a reload can change it; may be nil
	Out     io.Writer      // where the addresses are printed once it is ready
	Now     func() time.Time
	Pace    float64 // how much faster than the world Now runs, in load tests; 0 is 1
	Demo    bool    // the data is invented, and every page says so
	// NewStore begins anew where the folder's own database is missing or was
	// exchanged.
	NewStore bool
	// DropDerived forgets what was kept of earlier work, to work it out anew.
	DropDerived bool
}

// App is one daemon.
type App struct {
	opt        Options
	store      *sqlite.Store
	readings   roof.ReadingStore
	book       *casebook.Book
	where      *whereabouts
	others     *otherInstances
	mover      *mover
	notHere    func(w http.ResponseWriter, r *http.Request, status int, what, link string)
	keeper     *keeper
	hub        *hub
	metrics    *metrics.Metrics
	record     *record.Reader
	curves     *curves.Keeper
	assessor   *assessor
	derived    *sqlite.Derived // nil where none can be kept
	houses     *housekeeper    // nil without
	list       web.HouseList
	bell       *bell.Bell
	outbox     *notify.Outbox
	decoder    *payload.Decoder
	path       *ingest.Path
	broker     *broker.Broker
	feed       *mqttfeed.Feed
	discovery  *discovery
	mappings   *mappings.Book
	server     *http.Server
	listener   net.Listener
	ending     []ending
	influx     *influx.Client
	drain      *influx.Drain
	background sync.WaitGroup // workers that run until base is cancelled
	base       context.Context
	endBase    context.CancelFunc
	failed     chan error

	// what a reload exchanges
	reloading             sync.Mutex
	gate                  *gate.Gate
	users                 atomic.Pointer[credentials.Users]
	pushTokens            atomic.Pointer[credentials.PushTokens]
	pagesCert, brokerCert certificate
	asked                 atomic.Pointer[[]string] // topics that the configuration names
}

// drainFor bounds how long a stop may take.
const drainFor = 8 * time.Second

// ending is one named step of stopping.
type ending struct {
	what string
	do   func(context.Context) error
}

// onStop adds a step; the last added runs first.
func (a *App) onStop(what string, do func(context.Context) error) {
	a.ending = append(a.ending, ending{what, do})
}

// waitFor waits for background work until the shutdown's context expires.
func waitFor(work *sync.WaitGroup) func(context.Context) error {
	return func(ctx context.Context) error {
		done := make(chan struct{})
		go func() {
			work.Wait()
			close(done)
		}()
		select {
		case <-done:
		case <-ctx.Done():
		}
		return nil
	}
}

// New builds a daemon and opens its doors; on an error everything opened so far
// is closed again.
func New(ctx context.Context, opt Options) (_ *App, err error) {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	a := &App{opt: opt, failed: make(chan error, 4)}
	a.base, a.endBase = context.WithCancel(context.Background())
	defer func() {
		if err != nil {
			stopping, cancel := context.WithTimeout(context.Background(), drainFor)
			defer cancel()
			err = errors.Join(err, a.stop(stopping))
		}
	}()
	for _, step := range []func(context.Context) error{a.openStore, a.openCases, a.openIngest, a.openDiscovery,
		a.openMappings, a.openAlerts, a.openHTTP, a.openMQTT, a.startDiscovery, a.startAlerts} {
		if err = step(ctx); err != nil {
			return nil, err
		}
	}
	return a, nil
}

func (a *App) openStore(ctx context.Context) error {
	s, err := sqlite.Open(ctx, a.opt.Config.Data,
		sqlite.Options{Log: a.opt.Log, Now: a.opt.Now, RejectBytes: int64(a.opt.Config.Store.RejectMB) << 20,
			Outbox: wantsInflux(a.opt.Config.Store), NewStore: a.opt.NewStore})
	if err != nil {
		return err
	}
	a.store, a.readings = s, s
	a.onStop("the store", func(context.Context) error { return s.Close() })
	return a.openInflux(ctx, s)
}

func (a *App) openCases(ctx context.Context) error {
	if err := a.openWhereabouts(ctx); err != nil {
		return err
	}
	book, err := casebook.Open(ctx, caseStore{a.store, a.where})
	if book == nil {
		return err
	}
	if err != nil {
		a.opt.Log.Error("some cases cannot be used", "error", err)
	}
	a.book = book
	a.record = record.New(a.readings).By(SideBySide)
	book.OnChange(a.record.CaseChanged)
	a.curves = curves.New(a.record)
	book.OnChange(a.curves.CaseChanged)
	a.assessor = newAssessor(a.base, a.record, a.opt.Now, a.opt.Log)
	if err := a.openDerived(ctx); err != nil {
		a.opt.Log.Warn("nothing that is worked out can be kept; it is worked out again after every start", "error", err)
	}
	a.onStop("the assessments", waitFor(&a.assessor.running)) // which only reads: leaving it behind costs nothing
	a.copyDerived()
	return nil
}

func (a *App) openIngest(context.Context) error {
	c := a.opt.Config.MQTT
	decoder, err := payload.New(c.Mappings, payload.MaxBytes(c.MaxPayloadKB<<10), payload.Intervals(a.interval))
	if err != nil {
		return fmt.Errorf("the message mappings: %w", err)
	}
	a.decoder = decoder
	a.metrics = metrics.New(a.opt.Version)
	a.keeper = newKeeper(a.store, a.opt.Log)
	a.onStop("the reject log", func(context.Context) error { a.keeper.close(); return nil })
	a.hub = newHub(a.opt.Log)
	a.path = &ingest.Path{Decoder: decoder, Store: a.readings, Cases: known{a.book, a.where}, Rejects: a.keeper,
		Count: a.metrics, MaxLoggers: c.MaxLoggers, Stored: a.stored, Now: a.opt.Now, Serves: a.where.serves}
	a.book.OnChange(a.path.CaseChanged)
	a.book.OnChange(a.forgetHeard)
	a.gauges()
	a.metrics.Gauge("dewcase_values_not_read", "Places in messages whose values look like a quantity and are not read; "+
		"the page Not understood lists them.", nil, func() float64 { return float64(len(a.decoder.Untaken())) })
	return nil
}

// openMappings puts the houses' own mappings in force beside the configuration's.
func (a *App) openMappings(ctx context.Context) (err error) {
	a.mappings, err = mappings.Open(ctx, a.store, a.opt.Now, a.Remap)
	if a.mappings != nil && err != nil {
		a.opt.Log.Error("some mappings of houses cannot be used", "error", err)
		err = nil
	}
	return err
}

// interval is a logger's nominal interval, 0 where no case file says.
func (a *App) interval(caseID, logger string) time.Duration {
	c, err := a.book.Case(a.base, caseID)
	if err != nil {
		return 0
	}
	l, _ := c.Logger(logger)
	return l.Interval
}

// stored is told of readings once they are durable.
func (a *App) stored(caseID string, readings []roof.Reading, outcomes []roof.Outcome) {
	if a.drain != nil {
		a.drain.Wake()
	}
	if a.where.took(caseID, len(readings)) {
		return // until it is here, the other instance answers for it
	}
	a.record.Appended(caseID, readings, outcomes)
	a.curves.Appended(caseID, readings, outcomes)
	a.bell.Took(caseID, readings, outcomes)
	if a.houses != nil {
		a.houses.took(caseID, readings)
	}
	if a.hub.watched(caseID) {
		a.tellWatchers(caseID, readings, outcomes)
	}
}

func (a *App) openMQTT(ctx context.Context) error {
	c := a.opt.Config.MQTT
	if c.Broker != "" {
		return a.openFeed(c)
	}
	return a.openBroker(c)
}

func (a *App) openBroker(c config.MQTT) error {
	auth, err := a.loggerUsers(c)
	if err != nil {
		return err
	}
	tls, err := a.brokerCert.serverTLS("the embedded broker", c.CertFile, c.KeyFile)
	if err != nil {
		return err
	}
	a.broker, err = broker.New(broker.Options{Listen: c.Listen, TLS: tls, Authenticate: auth,
		Own: ownTopics, Forbidden: a.forbidden,
		MaxPayloadBytes: c.MaxPayloadKB << 10, Logger: a.opt.Log, Now: a.opt.Now,
		Batch: a.arrived})
	if errors.Is(err, broker.ErrNeedsCredentials) {
		return fmt.Errorf("%w; write mqtt.users_file, a line NAME:HASH a logger with the hash from `dewcase password`, or "+
			"listen on 127.0.0.1", err)
	}
	if err != nil {
		return err
	}
	if err := a.broker.Start(); err != nil {
		return fmt.Errorf("starting the embedded broker (mqtt.listen, or -mqtt-listen; -broker to use one that runs "+
			"already): %w", taken(err))
	}
	a.brokerGauges(a.broker)
	a.onStop("the embedded broker", a.broker.Stop)
	return nil
}

func (a *App) openFeed(c config.MQTT) (err error) {
	password := func() (string, error) { return config.Secret(c.PasswordFile, "DEWCASE_MQTT_PASSWORD") }
	if _, err := password(); err != nil {
		return fmt.Errorf("the broker's password: %w", err)
	}
	a.asked.Store(&c.Topics)
	a.feed, err = mqttfeed.New(mqttfeed.Options{URL: c.Broker, ClientID: c.ClientID, Topics: a.topics(),
		Username: c.Username, Password: password, Presence: a.presence(),
		CAFile: c.CAFile, CertFile: c.CertFile, KeyFile: c.KeyFile, MaxPayloadBytes: c.MaxPayloadKB << 10, Logger: a.opt.Log,
		Batch: a.arrived})
	if err != nil {
		return err
	}
	if err := a.feed.Start(); err != nil {
		return err
	}
	a.feedGauges(a.feed)
	a.onStop("the broker's feed", a.feed.Stop)
	return nil
}

// topics are what an outside broker is asked for: what the configuration names,
// what the mappings need, and announcements where somebody listens.
func (a *App) topics() []string {
	out := slices.Clone(*a.asked.Load())
	for _, f := range slices.Concat(a.decoder.Filters(), a.discovery.filters()) {
		if !slices.Contains(out, f) {
			out = append(out, f)
		}
	}
	return out
}

// subscribe asks an outside broker for the topics that are wanted now.
func (a *App) subscribe() {
	if a.feed != nil {
		a.feed.Take(a.topics())
	}
}

// secure says whether pages are served over TLS. (The server makes itself a
// TLSConfig in any case.)
func (a *App) secure() bool { return a.opt.Config.HTTP.CertFile != "" }

// Addresses are what a person or a logger connects to.
func (a *App) Addresses() []string {
	scheme := "http"
	if a.secure() {
		scheme = "https"
	}
	out := []string{scheme + "://" + asAsked(a.opt.Config.HTTP.Listen, a.listener.Addr().String())}
	if a.broker != nil {
		out = append(out, "mqtt://"+asAsked(a.opt.Config.MQTT.Listen, a.broker.Addr()))
	}
	return out
}

// asAsked shows every IPv4 address as it was asked for: the system calls it
// [::], where a machine without IPv6 finds nobody.
func asAsked(listen, bound string) string {
	host, _, err := net.SplitHostPort(listen)
	_, port, err2 := net.SplitHostPort(bound)
	if err != nil || err2 != nil || host != "0.0.0.0" {
		return bound
	}
	return net.JoinHostPort(host, port)
}

// Run serves until ctx ends, then drains and stops.
func (a *App) Run(ctx context.Context) error {
	go tendHeap(ctx)
	go func() {
		serve := a.server.Serve
		if a.secure() {
			serve = func(l net.Listener) error { return a.server.ServeTLS(l, "", "") } // with the certificate of TLSConfig
		}
		err := serve(a.listener)
		if !errors.Is(err, http.ErrServerClosed) {
			a.failed <- fmt.Errorf("serving pages: %w", err)
		}
	}()
	for _, line := range a.Addresses() {
		fmt.Fprintln(a.opt.Out, line)
	}
	a.opt.Log.Info("ready", "version", a.opt.Version, "data", a.opt.Config.Data, "pid", os.Getpid())
	tellSystemd("READY=1")
	var err error
	select {
	case <-ctx.Done():
	case err = <-a.failed:
	}
	tellSystemd("STOPPING=1")
	a.opt.Log.Info("stopping")
	stopping, cancel := context.WithTimeout(context.Background(), drainFor)
	defer cancel()
	return errors.Join(err, a.stop(stopping))
}

// stop runs the steps, the last added first, within the context's time.
func (a *App) stop(ctx context.Context) error {
	a.endBase()
	var errs []error
	for _, e := range slices.Backward(a.ending) {
		if err := e.do(ctx); err != nil {
			errs = append(errs, fmt.Errorf("stopping %s: %w", e.what, err))
		}
	}
	a.ending = nil
	return errors.Join(errs...)
}

// PutCase creates or changes a case.
func (a *App) PutCase(ctx context.Context, id string, file []byte, by string) error {
	_, _, err := a.book.Put(ctx, id, file, casebook.If{}, by)
	return err
}

// MQTTAddr is where the embedded broker listens, "" without one.
func (a *App) MQTTAddr() string {
	if a.broker == nil {
		return ""
	}
	return a.broker.Addr()
}

// Stop closes a daemon that was built but is not run.
func (a *App) Stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), drainFor)
	defer cancel()
	return a.stop(ctx)
}
