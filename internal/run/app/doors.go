package app

import (
	"crypto/tls"
	"fmt"
	"strings"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/mqtt/broker"
	"dewcase/internal/run/config"
)

// loggerUsers reads who may publish to the embedded broker. A user named
// CASE/LOGGER may publish to its own topic only; one with topics of its own to
// those; any other to everything, and read too (a bridge, home automation).
func loggerUsers(c config.MQTT) (func(user, password string) (broker.Rights, bool), error) {
	if c.UsersFile == "" {
		return nil, nil
	}
	users, err := credentials.ReadUsers(c.UsersFile)
	if err != nil {
		return nil, err
	}
	return func(user, password string) (broker.Rights, bool) {
		if !users.Check(user, password) {
			return broker.Rights{}, false
		}
		if topics := users.Topics(user); topics != nil {
			return broker.Rights{Publish: topics, Subscribe: topics}, true
		}
		if caseID, logger, ok := strings.Cut(user, "/"); ok {
			return broker.LoggerRights(caseID, logger), true
		}
		return broker.Everything(), true
	}, nil
}

func serverTLS(certFile, keyFile string) (*tls.Config, error) {
	if certFile == "" {
		return nil, nil
	}
	cert, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return nil, fmt.Errorf("reading its certificate: %w", err)
	}
	return &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}, nil
}
