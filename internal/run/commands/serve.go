package commands

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"

	"dewcase/internal/flow/casefile"
	"dewcase/internal/roof"
	"dewcase/internal/run/app"
	"dewcase/internal/run/config"
)

// Version is set when the program is built.
var Version = "dev"

func version(_ context.Context, args []string, s Streams) error {
	f := flags("version", "", s)
	if err := parse(f, args); err != nil {
		return err
	}
	_, err := fmt.Fprintln(s.Out, "dewcase "+Version)
	return err
}

// daemonFlags are the flags that are also keys of the configuration.
type daemonFlags struct {
	file, data, http, mqtt, broker, clientID *string
}

func addDaemonFlags(f *flag.FlagSet) daemonFlags {
	return daemonFlags{
		file: f.String("config", "", "configuration file (YAML); without it the defaults hold"),
		data: f.String("data", "", "data folder (key data; default ./dewcase-data)"),
		http: f.String("http", "", "where pages are served, HOST:PORT (key http.listen; default 127.0.0.1:8480)"),
		mqtt: f.String("mqtt-listen", "", "where the embedded broker listens, HOST:PORT (key mqtt.listen; default "+
			"127.0.0.1:1883)"),
		broker: f.String("broker", "", "use an outside broker instead, mqtt://HOST:PORT or mqtts://HOST:PORT (key "+
			"mqtt.broker)"),
		clientID: f.String("client-id", "", "name at the outside broker (key mqtt.client_id; default dewcase)"),
	}
}

func addNewStore(f *flag.FlagSet) *bool {
	return f.Bool("new-store", false, "for one start: begin anew in a folder whose database is missing or another "+
		"one's; it is recorded")
}

// config reads the file and lets the flags win.
func (d daemonFlags) config() (config.Config, error) {
	c, err := configFrom(*d.file)
	if err != nil {
		return c, err
	}
	for _, x := range []struct {
		flag string
		from *string
		into *string
		ok   func(string) error
	}{
		{"-data", d.data, &c.Data, nil},
		{"-http", d.http, &c.HTTP.Listen, config.ListenAddress},
		{"-mqtt-listen", d.mqtt, &c.MQTT.Listen, config.ListenAddress},
		{"-broker", d.broker, &c.MQTT.Broker, config.BrokerURL},
		{"-client-id", d.clientID, &c.MQTT.ClientID, nil},
	} {
		if *x.from == "" {
			continue
		}
		if x.ok != nil {
			if err := x.ok(*x.from); err != nil {
				return c, usageError{x.flag + ": " + err.Error()}
			}
		}
		*x.into = *x.from
	}
	return c, nil
}

// configFrom reads a configuration file; without one the defaults hold.
func configFrom(file string) (config.Config, error) {
	if file == "" {
		return config.Default(), nil
	}
	c, faults, err := config.Load(file)
	if err == nil && len(faults) > 0 {
		err = faults
	}
	return c, err
}

func serve(ctx context.Context, args []string, s Streams) error {
	f := flags("serve", "[-config FILE] [-data DIR] [-http HOST:PORT] [-mqtt-listen HOST:PORT] [-broker URL] "+
		"[-new-store] [-drop-derived]", s)
	d := addDaemonFlags(f)
	anew := addNewStore(f)
	drop := f.Bool("drop-derived", false, "forget what is kept of earlier work and work it out anew from the record")
	if err := parse(f, args); err != nil {
		return err
	}
	c, err := d.config()
	if err != nil {
		return err
	}
	// A hang-up asks for the file again; without one it ends the daemon as ever.
	again := make(chan os.Signal, 1)
	if *d.file != "" {
		signal.Notify(again, syscall.SIGHUP)
		defer signal.Stop(again)
	}
	log, level := logger(c.Log, s.Err)
	a, err := app.New(ctx, app.Options{Config: c, Version: Version, Log: log, Level: level, Out: s.Out,
		NewStore: *anew, DropDerived: *drop})
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	var running sync.WaitGroup
	running.Go(func() {
		for {
			select {
			case <-again:
				c, err := d.config()
				if err == nil {
					err = a.Reload(c)
				}
				tellRefused(log, err)
			case <-ctx.Done():
				return
			}
		}
	})
	err = a.Run(ctx)
	stop()
	running.Wait()
	return err
}

// tellRefused says why a configuration that was read again is not in force, a
// line a fault.
func tellRefused(log *slog.Logger, err error) {
	if err == nil {
		return
	}
	lines := strings.Split(err.Error(), "\n")
	var faults roof.Faults
	if errors.As(err, &faults) {
		lines = faults.Lines(roof.FaultLines)
	}
	for _, line := range lines {
		log.Error("the configuration that was read again is refused; the one before holds", "fault", line)
	}
}

func logger(c config.Log, w io.Writer) (*slog.Logger, *slog.LevelVar) {
	level := new(slog.LevelVar)
	_ = level.UnmarshalText([]byte(c.Level)) // one of the words the configuration allows
	opt := &slog.HandlerOptions{Level: level}
	if c.Format == "json" {
		return slog.New(slog.NewJSONHandler(w, opt)), level
	}
	return slog.New(slog.NewTextHandler(w, opt)), level
}

// readCase reads a case file and refuses it with all its faults.
func readCase(file string) (*roof.Case, []byte, error) {
	data, err := readFile(file, roof.MaxCaseFileBytes)
	if err != nil {
		return nil, nil, roof.Faults{{File: file, Line: 1, Key: "file", Problem: plainError(err),
			Remedy: "name a case file that can be read"}}
	}
	if len(data) > roof.MaxCaseFileBytes {
		return nil, nil, roof.Faults{{File: file, Line: 1, Key: "file", Problem: "is over 1 MiB",
			Remedy: "a case file has at most 1 MiB; name the right one"}}
	}
	c, faults := casefile.Parse(file, data)
	if len(faults) > 0 {
		return nil, nil, faults
	}
	return c, data, nil
}

// readFile reads a file, of one that is too large a byte more than the limit.
func readFile(file string, limit int64) ([]byte, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, limit+1))
}

// plainError is what the system said without the operation and path before it.
func plainError(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		err = p.Err
	}
	return "cannot be read: " + err.Error()
}
