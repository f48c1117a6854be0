package commands

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"dewcase/internal/run/app"
	"dewcase/internal/run/config"
	"dewcase/internal/run/demo"
)

// runDemo runs the daemon in a throw-away data folder, with the loggers of
// invented houses publishing to its embedded broker over real MQTT.
func runDemo(ctx context.Context, args []string, s Streams) (err error) {
	f := flags("demo", "[-data DIR] [-http HOST:PORT] [-mqtt-listen HOST:PORT]", s)
	data := f.String("data", "", "data folder; without it one is made and thrown away at the end")
	httpListen := f.String("http", config.Default().HTTP.Listen, "where pages are served, HOST:PORT")
	mqttListen := f.String("mqtt-listen", config.Default().MQTT.Listen, "where the embedded broker listens, HOST:PORT")
	if err := parse(f, args); err != nil {
		return err
	}
	for name, address := range map[string]string{"-http": *httpListen, "-mqtt-listen": *mqttListen} {
		if err := config.ListenAddress(address); err != nil {
			return usageError{name + ": " + err.Error()}
		}
	}
	c := config.Default()
	c.Data, c.HTTP.Listen, c.MQTT.Listen, c.Log.Level = *data, *httpListen, *mqttListen, "warn"
	if c.Data == "" {
		dir, err := os.MkdirTemp("", "dewcase-demo-")
		if err != nil {
			return fmt.Errorf("making a folder for the demo: %w", err)
		}
		defer os.RemoveAll(dir)
		c.Data = filepath.Join(dir, "data")
	}
	houses, err := demo.Invent(time.Now())
	if err != nil {
		return err
	}
	log, _ := logger(c.Log, s.Err)
	a, err := app.New(ctx, app.Options{Config: c, Version: Version, Log: log, Out: s.Out, Demo: true})
	if err != nil {
		return fmt.Errorf("%w (if a port is taken, choose others: dewcase demo -http 127.0.0.1:0 -mqtt-listen 127.0.0.1:0)",
			err)
	}
	for _, file := range houses.CaseFiles() {
		if err := a.PutCase(ctx, file.ID, file.YAML, "the demo"); err != nil {
			return errors.Join(err, a.Stop())
		}
	}
	fmt.Fprintln(s.Err, "dewcase demo: every house, person and reading here is invented. Open the http address below; "+
		"Ctrl-C ends it.")
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	published := make(chan error, 1)
	go func() {
		published <- houses.Run(ctx, demo.Options{Broker: a.MQTTAddr(), Progress: s.Err})
	}()
	err = a.Run(ctx)
	cancel()
	if p := <-published; p != nil && !errors.Is(p, context.Canceled) {
		err = errors.Join(err, p)
	}
	return err
}
