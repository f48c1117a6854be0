package app

import (
	"crypto/tls"
	"fmt"
	"strings"
	"sync/atomic"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/mqtt/broker"
	"dewcase/internal/door/notify"
	"dewcase/internal/roof"
	"dewcase/internal/run/config"
)

// loggerUsers reads the users of the embedded broker. A user named CASE/LOGGER may
// publish to its own topic only; a user with listed topics may read and publish to
// those; any other may do everything (a bridge). Only the daemon publishes to
// ownTopics.
func (a *App) loggerUsers(c config.MQTT) (func(user, password string) (broker.Rights, bool), error) {
	if c.UsersFile == "" {
		return nil, nil
	}
	read, err := credentials.ReadUsers(c.UsersFile)
	if err != nil {
		return nil, err
	}
	a.users.Store(read)
	return func(user, password string) (broker.Rights, bool) {
		users := a.users.Load()
		if !users.Check(user, password) {
			return broker.Rights{}, false
		}
		if topics, named := users.Topics(user); named {
			return broker.Rights{Publish: topics.Write, Subscribe: topics.Read}, true
		}
		if caseID, logger, ok := strings.Cut(user, "/"); ok {
			return broker.LoggerRights(caseID, logger), true
		}
		return broker.Everything(), true
	}, nil
}

// certificate is a server's, exchanged while it runs.
type certificate struct {
	atomic.Pointer[tls.Certificate]
}

// serverTLS reads it; nil where the server speaks plain.
func (c *certificate) serverTLS(whose, certFile, keyFile string) (*tls.Config, error) {
	cert, err := readCertificate(whose, certFile, keyFile)
	if cert == nil {
		return nil, err
	}
	c.Store(cert)
	return &tls.Config{MinVersion: tls.VersionTLS12,
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return c.Load(), nil }}, nil
}

// ownTopics are the topics that only the daemon publishes to.
var ownTopics = []string{notify.TopicPrefix + "#"}

// forbidden counts a publish that the embedded broker refused and lists it among
// the rejects: a logger with an error in its topic or user name gets no answer that
// a person would see.
func (a *App) forbidden(f broker.Forbidden) {
	a.metrics.Rejected(roof.Forbidden, 1)
	short := func(s string) string { return strings.ToValidUTF8(s[:min(len(s), 300)], "\uFFFD") }
	r := roof.Reject{At: f.Arrived, Source: short(f.Topic), Reason: roof.Forbidden}
	if parts := strings.Split(f.Topic, "/"); len(parts) > 1 && roof.ValidCaseID(parts[1]) {
		r.Case = parts[1]
	}
	user := "a client without a user"
	if f.User != "" {
		user = "user " + short(f.User)
	}
	r.Detail = fmt.Sprintf("%s (client %s) may not publish to %s: %s", user, short(f.Client), r.Source,
		short(f.Why))
	a.keeper.Keep(a.base, []roof.Reject{r})
}
