package app

import (
	"crypto/tls"
	"errors"
	"fmt"
	"reflect"
	"strings"

	"dewcase/internal/door/credentials"
	"dewcase/internal/flow/payload"
	"dewcase/internal/run/config"
	"dewcase/internal/words"
)

// Reload takes over what another configuration says of users, mappings, topics,
// certificates, password, token and log level, while messages flow: all of it,
// or with an error nothing. The rest takes a restart, which is told.
func (a *App) Reload(c config.Config) error {
	a.reloading.Lock()
	defer a.reloading.Unlock()
	hash, token, errSecrets := httpSecrets(c)
	var users *credentials.Users
	var errUsers error
	if c.MQTT.UsersFile != "" {
		users, errUsers = credentials.ReadUsers(c.MQTT.UsersFile)
	}
	put, errMappings := a.decoder.Remap(payload.OfConfiguration, c.MQTT.Mappings)
	pages, errPages := readCertificate("the pages", c.HTTP.CertFile, c.HTTP.KeyFile)
	broker, errBroker := (*tls.Certificate)(nil), error(nil)
	if a.broker != nil {
		broker, errBroker = readCertificate("the embedded broker", c.MQTT.CertFile, c.MQTT.KeyFile)
	}
	tokens, errPush := readPushTokens(c.HTTP)
	if err := errors.Join(errPush, errSecrets, errUsers, errMappings, errPages, errBroker); err != nil {
		return err
	}
	put()
	a.tellShadows()
	a.gate.Change(hash, token)
	a.pushTokens.Store(tokens)
	if pages != nil {
		a.pagesCert.Store(pages)
	}
	if broker != nil {
		a.brokerCert.Store(broker)
	}
	if before := a.users.Load(); before != nil && users != nil {
		a.users.Store(users)
		a.broker.Part(func(user string) bool { return users.Changed(before, user) })
	}
	a.asked.Store(&c.MQTT.Topics)
	a.discovery.reconfigure(c.MQTT.Discovery) // asks for the topics
	if a.opt.Level != nil {
		_ = a.opt.Level.UnmarshalText([]byte(c.Log.Level)) // one of the words the configuration allows
	}
	a.opt.Log.Info("the configuration was read again", "takes_a_restart", strings.Join(a.needsRestart(c), ", "))
	return nil
}

// Remap takes over the mappings that are kept with the houses, while messages
// flow, and has an outside broker send their topics. An error names every mapping
// that is wrong; those in force then stay so.
func (a *App) Remap(mappings []payload.Mapping) error {
	a.reloading.Lock()
	defer a.reloading.Unlock()
	put, err := a.decoder.Remap(payload.OfHouses, mappings)
	if err != nil {
		return err
	}
	put()
	a.tellShadows()
	a.subscribe()
	return nil
}

// tellShadows says which mappings get no message, or hardly one.
func (a *App) tellShadows() {
	name := func(p payload.Place) string { return words.MappingName(p.House, p.Number, p.Topic) }
	for _, s := range a.decoder.Shadows() {
		a.opt.Log.Warn(words.MessageShadow(name(s.Mapping), name(s.By), s.Whole))
	}
}

// needsRestart names the sections in which the configuration differs from the
// one that the daemon was started with in more than can be changed while it runs.
func (a *App) needsRestart(c config.Config) (sections []string) {
	began := a.opt.Config
	for _, x := range []*config.Config{&began, &c} {
		x.MQTT.Discovery.Announce, x.MQTT.Discovery.Listen = false, false
		x.Log.Level, x.MQTT.Mappings, x.HTTP.PasswordFile, x.HTTP.TokenFile, x.HTTP.PushFile = "", nil, "", "", ""
		if a.feed != nil {
			x.MQTT.Topics = nil
		}
		for _, file := range []*string{&x.HTTP.CertFile, &x.HTTP.KeyFile, &x.MQTT.CertFile, &x.MQTT.KeyFile,
			&x.MQTT.UsersFile} {
			if *file != "" {
				*file = "some" // another file is taken over, one where there was none is not
			}
		}
	}
	one, other := reflect.ValueOf(began), reflect.ValueOf(c)
	for i := range one.NumField() {
		if !reflect.DeepEqual(one.Field(i).Interface(), other.Field(i).Interface()) {
			sections = append(sections, strings.ToLower(one.Type().Field(i).Name))
		}
	}
	return sections
}

func readCertificate(whose, certFile, keyFile string) (*tls.Certificate, error) {
	if certFile == "" {
		return nil, nil
	}
	cert, err := config.Certificate(certFile, keyFile)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", whose, err)
	}
	return cert, nil
}
