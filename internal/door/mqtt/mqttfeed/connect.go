package mqttfeed

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"strings"
	"syscall"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// stayConnected makes one connection after the other until the feed is stopped.
func (f *Feed) stayConnected() {
	var losses []time.Time // of connections that the broker ended
	wait := f.pause.first
	for f.base.Err() == nil {
		if !f.untilRoom() {
			return
		}
		err := f.connect()
		if err != nil {
			if f.base.Err() != nil {
				return
			}
			said, human := f.explain(err)
			f.state.say(f.log, said)
			pause := jitter(wait)
			if human {
				pause = f.pause.refused + jitter(f.pause.refused/2)
			}
			if !f.sleep(pause) {
				return
			}
			wait = min(2*wait, f.pause.most)
			continue
		}
		began := time.Now()
		err = f.serve()
		f.state.connection(false)
		if f.base.Err() != nil {
			return
		}
		if time.Since(began) >= f.pause.settled {
			wait = f.pause.first
		}
		if errors.Is(err, errFull) {
			f.state.say(f.log, errFull.Error())
			continue
		}
		pause := jitter(wait)
		said, _ := f.explain(err)
		if endedByBroker(err) {
			losses = append(slices.DeleteFunc(losses, func(t time.Time) bool { return time.Since(t) > time.Minute }), time.Now())
			if len(losses) > 3 {
				said = fmt.Sprintf("the broker has ended the connection %d times within a minute; most likely another program "+
					"uses the client identifier %q too. Give each its own mqtt.client_id",
					len(losses), f.opts.ClientID)
				pause = f.pause.usurped + jitter(f.pause.usurped/2)
			}
		}
		f.state.say(f.log, said)
		if !f.sleep(pause) {
			return
		}
		wait = min(2*wait, f.pause.most)
	}
}

// untilRoom waits, when the feed left the broker because it was full, until
// three quarters of the places are free again.
func (f *Feed) untilRoom() bool {
	if !f.full.Load() {
		return true
	}
	for f.state.unacked.Load() > int64(f.opts.MaxPending/4) {
		select {
		case <-f.room:
		case <-f.base.Done():
			return false
		}
	}
	f.full.Store(false)
	return true
}

// connect makes a connection and subscribes.
func (f *Feed) connect() error {
	select {
	case <-f.lost: // what became of an earlier connection
	default:
	}
	if f.opts.Password != nil {
		var err error
		if f.password, err = f.opts.Password(); err != nil {
			return passwordError{err}
		}
	}
	tok := f.client.Connect()
	select {
	case <-tok.Done():
	case <-f.base.Done():
		// The greeting ends soon too: its connection is closed.
		<-tok.Done()
		f.client.Disconnect(0)
		return f.base.Err()
	}
	if err := tok.Error(); err != nil {
		return err
	}
	if err := f.subscribe(); err != nil {
		f.drop(err)
		select {
		case <-f.lost:
		case <-f.base.Done():
		}
		return err
	}
	f.state.connection(true)
	f.present(true)
	return nil
}

// passwordError says that our own password cannot be read.
type passwordError struct{ error }

// subscribe asks for all topics again at every connection: a broker may have
// forgotten the session.
func (f *Feed) subscribe() error {
	topics := *f.topics.Load()
	gone := slices.DeleteFunc(f.asked, func(t string) bool { return slices.Contains(topics, t) })
	if err := f.unsubscribe(gone); err != nil {
		return err
	}
	f.asked = slices.Clone(topics)
	filters := make(map[string]byte, len(topics))
	for _, topic := range topics {
		filters[topic] = 1
	}
	tok := f.client.SubscribeMultiple(filters, nil)
	if !tok.WaitTimeout(connectTimeout) {
		return errNoSub
	}
	if err := tok.Error(); err != nil {
		return err
	}
	var refused, weak []string
	for topic, code := range tok.(*paho.SubscribeToken).Result() {
		switch code {
		case 1, 2:
		case 0:
			weak = append(weak, topic)
		default: // 0x80, MQTT 3.1.1, 3.9.3
			refused = append(refused, topic)
		}
	}
	slices.Sort(refused)
	f.state.refuses(refused)
	switch {
	case len(refused) > 0:
		f.state.say(f.log, fmt.Sprintf("the broker refuses the subscription to %s; let user %q read these topics in its "+
			"access list",
			strings.Join(refused, ", "), f.opts.Username))
	case len(weak) > 0:
		f.state.say(f.log, fmt.Sprintf("the broker grants %s with quality of service 0 only: readings sent while the "+
			"daemon is down will be lost",
			strings.Join(weak, ", ")))
	default:
		f.state.say(f.log, "")
		f.log.Info("connected to the MQTT broker", "broker", f.server.Host, "client_id", f.opts.ClientID)
	}
	return nil
}

func (f *Feed) unsubscribe(topics []string) error {
	if len(topics) == 0 {
		return nil
	}
	tok := f.client.Unsubscribe(topics...)
	if !tok.WaitTimeout(connectTimeout) {
		return errNoSub
	}
	return tok.Error()
}

// serve waits for the end of the connection; refused subscriptions are asked for
// again from time to time.
func (f *Feed) serve() error {
	again := time.NewTicker(f.pause.refused)
	defer again.Stop()
	for {
		select {
		case err := <-f.lost:
			return err
		case <-f.base.Done():
			return f.base.Err()
		case <-f.changed:
			if err := f.subscribe(); err != nil {
				f.drop(err)
			}
		case <-again.C:
			if len(f.Status().Refused) > 0 {
				if err := f.subscribe(); err != nil {
					f.drop(err)
				}
			}
		}
	}
}

// endedByBroker reports that the other side hung up, as it does with the older
// of two clients of one name.
func endedByBroker(err error) bool {
	return errors.Is(err, io.EOF) || errors.Is(err, syscall.ECONNRESET) || errors.Is(err, syscall.EPIPE)
}

// explain says in plain words what is wrong and what to do, and whether waiting
// alone will not cure it.
func (f *Feed) explain(err error) (said string, human bool) {
	where := f.server.Host
	var (
		unknown  x509.UnknownAuthorityError
		name     x509.HostnameError
		invalid  x509.CertificateInvalidError
		record   tls.RecordHeaderError
		alert    tls.AlertError
		notFound *net.DNSError
		password passwordError
	)
	switch {
	case errors.As(err, &password):
		return plainFileError("mqtt.password_file", password.error), true
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword):
		return fmt.Sprintf("the broker at %s refuses user name or password of %q; check mqtt.username and mqtt.password_file",
			where, f.opts.Username), true
	case errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return fmt.Sprintf("the broker at %s does not admit user %q (or its password is wrong); check mqtt.username, "+
			"mqtt.password_file and the broker's access list", where, f.opts.Username), true
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return fmt.Sprintf("the broker at %s refuses the client identifier %q; choose another mqtt.client_id", where,
			f.opts.ClientID), true
	case errors.Is(err, packets.ErrorRefusedBadProtocolVersion):
		return fmt.Sprintf("the broker at %s does not speak MQTT 3.1.1", where), true
	case errors.Is(err, packets.ErrorRefusedServerUnavailable):
		return fmt.Sprintf("the broker at %s says it is not available at the moment", where), false
	case errors.As(err, &unknown):
		return fmt.Sprintf("the certificate of the broker at %s is signed by nobody we trust; set mqtt.ca_file to the "+
			"certificate of its signer", where), true
	case errors.As(err, &name):
		return fmt.Sprintf("the certificate of the broker at %s is not for %q: %v", where, f.host, name), true
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return fmt.Sprintf("the certificate of the broker at %s has expired or is not valid yet (to %s); renew it, or "+
			"check this machine's clock",
			where, invalid.Cert.NotAfter.UTC().Format(time.RFC3339)), true
	case errors.As(err, &invalid):
		return fmt.Sprintf("the certificate of the broker at %s cannot be used: %v", where, invalid), true
	case errors.As(err, &record):
		return fmt.Sprintf("%s does not speak TLS; check the port, or use mqtt:// if the network is trusted", where), true
	case errors.As(err, &alert), strings.Contains(err.Error(), "remote error: tls:"):
		return fmt.Sprintf("the broker at %s refuses our certificate (%v); check mqtt.cert_file and mqtt.key_file", where,
			err), true
	case errors.As(err, &notFound):
		return fmt.Sprintf("the name %q of the broker is not known: %v", f.host, notFound.Err), false
	case errors.Is(err, syscall.ECONNREFUSED):
		return fmt.Sprintf("no broker answers at %s (connection refused); it may be down", where), false
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, errSilent),
		strings.Contains(err.Error(), "pingresp not received"):
		return fmt.Sprintf("the broker at %s does not answer: %v", where, err), false
	case errors.Is(err, io.EOF):
		return fmt.Sprintf("the broker at %s ended the connection", where), false
	}
	return fmt.Sprintf("no connection to the broker at %s: %v", where, err), false
}
