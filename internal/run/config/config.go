// Package config reads the daemon's one configuration file, fills in defaults
// and reports every fault at once with its key and line.
package config

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"dewcase/internal/door/credentials"
	"dewcase/internal/flow/payload"
	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

// Config is everything the daemon is told.
type Config struct {
	Data   string // data folder
	HTTP   HTTP
	MQTT   MQTT
	Store  Store
	Alerts Alerts
	Log    Log
}

// HTTP is where pages and API are served.
type HTTP struct {
	Listen       string
	PasswordFile string // a hash made by `dewcase password`
	TokenFile    string // the administrator's token
	CertFile     string
	KeyFile      string
	Hosts        []string // further names under which the pages may be asked for
	PublicURL    string   // how people reach the pages, for links in messages
	Proxies      []netip.Prefix
	MaxBodyMB    int
}

// MQTT is where loggers are heard.
type MQTT struct {
	Listen       string // embedded broker; unused with Broker
	Broker       string // mqtt:// or mqtts:// URL of an outside broker
	ClientID     string
	Topics       []string
	Username     string
	PasswordFile string
	CAFile       string
	CertFile     string // client certificate with Broker, server certificate without
	KeyFile      string
	UsersFile    string // per-logger users of the embedded broker
	MaxPayloadKB int
	MaxLoggers   int               // unknown logger names kept a case
	Mappings     []payload.Mapping // messages in other forms
}

// Store says where readings are kept.
type Store struct {
	Kind     string // sqlite | influxdb
	Influx   Influx
	Mirror   bool // copy to InfluxDB beside the embedded store
	RejectMB int  // size of the log of what could not be used
}

// Influx is an InfluxDB server.
type Influx struct {
	URL       string
	Org       string
	Bucket    string
	TokenFile string
}

// Alerts is how people are reached.
type Alerts struct {
	SMTPHost         string
	SMTPPort         int
	SMTPUser         string
	SMTPPasswordFile string
	SMTPTLS          string // starttls | tls | none (loopback only)
	SMTPCAFile       string // certificates that may sign the mail server's; "" the system's
	From             string
	Consultant       []string // mail addresses where the case file names none, and for the daemon's own troubles
	DigestAt         string   // "07:30": when consultants get their daily summary, "" never
	WebhookURL       string
	WebhookSecret    string // file
	WebhookPrivate   bool   // allow addresses in private networks
}

// Log is how the daemon reports on itself.
type Log struct {
	Level  string // debug | info | warn | error
	Format string // text | json
}

// Default is the configuration of a daemon started with none.
func Default() Config {
	return Config{
		Data: "./dewcase-data",
		HTTP: HTTP{Listen: "127.0.0.1:8480", MaxBodyMB: 256},
		MQTT: MQTT{Listen: "127.0.0.1:1883", ClientID: "dewcase", Topics: []string{"dewcase/#", "dewcase-forecast/+"},
			MaxPayloadKB: 1024, MaxLoggers: 200},
		Store:  Store{Kind: "sqlite", RejectMB: 32},
		Alerts: Alerts{SMTPPort: 587, SMTPTLS: "starttls", DigestAt: "07:30"},
		Log:    Log{Level: "info", Format: "text"},
	}
}

// MaxBytes is the largest configuration file that is read.
const MaxBytes = 1 << 20

// Load reads a configuration file over the defaults.
func Load(file string) (Config, roof.Faults, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return Config{}, nil, fmt.Errorf("reading the configuration: %w", err)
	}
	c, faults := Parse(file, data)
	return c, faults, nil
}

// Parse reads a configuration over the defaults. With faults the configuration
// must not be used.
func Parse(file string, data []byte) (Config, roof.Faults) {
	c := Default()
	doc := strictyaml.Parse(file, data, MaxBytes)
	top := doc.Root().Map("data", "store", "http", "mqtt", "influxdb", "alerts", "log", "rejects", "mappings")
	text(top.Get("data"), &c.Data)
	word(top.Get("store"), &c.Store.Kind, "sqlite", "influxdb")

	h := top.Get("http").Map("listen", "password_file", "token_file", "cert_file", "key_file", "hosts", "public_url",
		"trusted_proxies", "max_body_mb")
	listen(h.Get("listen"), &c.HTTP.Listen)
	text(h.Get("password_file"), &c.HTTP.PasswordFile)
	text(h.Get("token_file"), &c.HTTP.TokenFile)
	text(h.Get("cert_file"), &c.HTTP.CertFile)
	text(h.Get("key_file"), &c.HTTP.KeyFile)
	texts(h.Get("hosts"), &c.HTTP.Hosts)
	link(h.Get("public_url"), &c.HTTP.PublicURL)
	networks(h.Get("trusted_proxies"), &c.HTTP.Proxies)
	whole(h.Get("max_body_mb"), &c.HTTP.MaxBodyMB, 1, 4096)
	pair(h, "cert_file", "key_file")

	m := top.Get("mqtt").Map("listen", "broker", "client_id", "topics", "username", "password_file", "ca_file",
		"cert_file", "key_file", "users_file", "max_payload_kb", "max_loggers")
	listen(m.Get("listen"), &c.MQTT.Listen)
	brokerURL(m.Get("broker"), &c.MQTT.Broker)
	text(m.Get("client_id"), &c.MQTT.ClientID)
	texts(m.Get("topics"), &c.MQTT.Topics)
	text(m.Get("username"), &c.MQTT.Username)
	text(m.Get("password_file"), &c.MQTT.PasswordFile)
	text(m.Get("ca_file"), &c.MQTT.CAFile)
	text(m.Get("cert_file"), &c.MQTT.CertFile)
	text(m.Get("key_file"), &c.MQTT.KeyFile)
	text(m.Get("users_file"), &c.MQTT.UsersFile)
	whole(m.Get("max_payload_kb"), &c.MQTT.MaxPayloadKB, 1, 16384)
	whole(m.Get("max_loggers"), &c.MQTT.MaxLoggers, 0, 100000)
	pair(m, "cert_file", "key_file")

	i := top.Get("influxdb").Map("url", "org", "bucket", "token_file", "mirror")
	link(i.Get("url"), &c.Store.Influx.URL)
	text(i.Get("org"), &c.Store.Influx.Org)
	text(i.Get("bucket"), &c.Store.Influx.Bucket)
	text(i.Get("token_file"), &c.Store.Influx.TokenFile)
	yes(i.Get("mirror"), &c.Store.Mirror)
	if (c.Store.Kind == "influxdb" || c.Store.Mirror) && c.Store.Influx.URL == "" {
		i.Fault("has no url", "write influxdb.url, such as http://localhost:8086")
	}
	if c.Store.Influx.URL != "" && c.Store.Influx.Bucket == "" {
		i.Fault("has no bucket", "write influxdb.bucket, the bucket (or, with InfluxDB 1, the database) for the readings")
	}

	r := top.Get("rejects").Map("max_mb")
	whole(r.Get("max_mb"), &c.Store.RejectMB, 1, 10240)

	a := top.Get("alerts").Map("smtp", "webhook", "consultant", "digest_at")
	texts(a.Get("consultant"), &c.Alerts.Consultant)
	clock(a.Get("digest_at"), &c.Alerts.DigestAt)
	s := a.Get("smtp").Map("host", "port", "user", "password_file", "tls", "from", "ca_file")
	text(s.Get("ca_file"), &c.Alerts.SMTPCAFile)
	text(s.Get("host"), &c.Alerts.SMTPHost)
	whole(s.Get("port"), &c.Alerts.SMTPPort, 1, 65535)
	text(s.Get("user"), &c.Alerts.SMTPUser)
	text(s.Get("password_file"), &c.Alerts.SMTPPasswordFile)
	word(s.Get("tls"), &c.Alerts.SMTPTLS, "starttls", "tls", "none")
	text(s.Get("from"), &c.Alerts.From)
	if c.Alerts.SMTPHost != "" && c.Alerts.From == "" {
		s.Fault("has no from", "write the address messages are sent from")
	}
	w := a.Get("webhook").Map("url", "secret_file", "allow_private")
	link(w.Get("url"), &c.Alerts.WebhookURL)
	text(w.Get("secret_file"), &c.Alerts.WebhookSecret)
	yes(w.Get("allow_private"), &c.Alerts.WebhookPrivate)

	l := top.Get("log").Map("level", "format")
	word(l.Get("level"), &c.Log.Level, "debug", "info", "warn", "error")
	word(l.Get("format"), &c.Log.Format, "text", "json")

	for _, n := range top.Get("mappings").List() {
		c.MQTT.Mappings = append(c.MQTT.Mappings, payload.ReadMapping(n))
	}
	return c, doc.Faults()
}

func text(n strictyaml.Node, into *string) {
	if !n.Present() {
		return
	}
	s, ok := n.Text()
	switch {
	case !ok:
	case strings.TrimSpace(s) == "":
		n.Fault("is empty", "write a value or leave the key out")
	default:
		*into = s
	}
}

// clock reads an hour of the day, or never as "".
func clock(n strictyaml.Node, into *string) {
	var s string
	text(n, &s)
	switch at, err := time.Parse("15:04", s); {
	case s == "":
	case s == "never":
		*into = ""
	case err != nil:
		n.Fault("is no hour of the day", "write HH:MM in quotes, such as \"07:30\", or never")
	default:
		*into = at.Format("15:04")
	}
}

func texts(n strictyaml.Node, into *[]string) {
	if !n.Present() {
		return
	}
	*into = nil
	for _, e := range n.List() {
		var s string
		text(e, &s)
		if s != "" {
			*into = append(*into, s)
		}
	}
}

// networks reads addresses and networks.
func networks(n strictyaml.Node, into *[]netip.Prefix) {
	if !n.Present() {
		return
	}
	for _, e := range n.List() {
		var s string
		text(e, &s)
		if ip, err := netip.ParseAddr(s); err == nil {
			*into = append(*into, netip.PrefixFrom(ip, ip.BitLen()))
		} else if p, err := netip.ParsePrefix(s); err == nil {
			*into = append(*into, p.Masked())
		} else if s != "" {
			e.Fault(fmt.Sprintf("%q is neither an address nor a network", s), "write for example 127.0.0.1 or 10.0.0.0/8")
		}
	}
}

func word(n strictyaml.Node, into *string, allowed ...string) {
	if n.Present() {
		if s, ok := n.Word(allowed...); ok {
			*into = s
		}
	}
}

func whole(n strictyaml.Node, into *int, low, high int) {
	if n.Present() {
		if x, ok := n.Whole(low, high); ok {
			*into = x
		}
	}
}

func yes(n strictyaml.Node, into *bool) {
	if n.Present() {
		if x, ok := n.YesNo(); ok {
			*into = x
		}
	}
}

func listen(n strictyaml.Node, into *string) {
	var s string
	text(n, &s)
	if s == "" {
		return
	}
	if err := ListenAddress(s); err != nil {
		n.Fault(err.Error(), "write HOST:PORT, such as 127.0.0.1:8480; port 0 picks a free one")
		return
	}
	*into = s
}

// ListenAddress says what is wrong with an address to listen on.
func ListenAddress(s string) error {
	_, port, err := net.SplitHostPort(s)
	if err != nil {
		return fmt.Errorf("%q is not HOST:PORT", s)
	}
	if _, err := net.LookupPort("tcp", port); err != nil {
		return fmt.Errorf("%q has no port between 0 and 65535", s)
	}
	return nil
}

// BrokerURL says what is wrong with the URL of an outside broker.
func BrokerURL(s string) error {
	u, err := url.Parse(s)
	if err != nil || u.Host == "" || u.Scheme != "mqtt" && u.Scheme != "mqtts" {
		return fmt.Errorf("%q is not mqtt://HOST:PORT or mqtts://HOST:PORT", s)
	}
	if u.User != nil {
		return fmt.Errorf("the broker's URL holds a user name; write mqtt.username and mqtt.password_file, or " +
			"DEWCASE_MQTT_PASSWORD, so that no secret stands in a command line")
	}
	return nil
}

func brokerURL(n strictyaml.Node, into *string) {
	var s string
	text(n, &s)
	if s == "" {
		return
	}
	if err := BrokerURL(s); err != nil {
		n.Fault(err.Error(), "write for example mqtt://localhost:1883")
		return
	}
	*into = s
}

// link reads an http or https URL.
func link(n strictyaml.Node, into *string) {
	var s string
	text(n, &s)
	if s == "" {
		return
	}
	u, err := url.Parse(s)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		n.Fault(fmt.Sprintf("%q is not a URL", s), "write http://HOST or https://HOST")
		return
	}
	*into = s
}

func pair(m strictyaml.Map, a, b string) {
	if m.Get(a).Present() != m.Get(b).Present() {
		m.Fault("has only one of "+a+" and "+b, "a certificate and its key go together")
	}
}

// Loopback reports whether an address to listen on is reached from this machine
// only.
func Loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// PasswordHashFile is where a password that was set on the log-in page is kept.
func (c Config) PasswordHashFile() string { return filepath.Join(c.Data, "password-hash") }

// SetUpCodeFile is where the code lies with which that is done.
func (c Config) SetUpCodeFile() string { return filepath.Join(c.Data, "set-up-code") }

// PasswordHash is the consultant's: the one that the configuration names, else
// the one that was set on the log-in page; "" where there is neither.
func (c Config) PasswordHash() (string, error) {
	hash, err := Secret(c.HTTP.PasswordFile, "DEWCASE_PASSWORD_HASH")
	key := "http.password_file"
	if hash == "" && err == nil {
		key = c.PasswordHashFile()
		if hash, err = Secret(key, ""); errors.Is(err, fs.ErrNotExist) {
			return "", nil
		}
	}
	if err == nil {
		_, err = credentials.Verify(hash, "")
	}
	if err != nil {
		return "", fmt.Errorf("the consultant's password (%s): %w", key, err)
	}
	return hash, nil
}

// Demands reports whether the pages ask everybody for credentials: as soon as
// there are any, and where others than people at this machine are meant to come.
func (c Config) Demands(hash, token string) bool {
	return hash != "" || token != "" || c.HTTP.PublicURL != "" || len(c.HTTP.Hosts) > 0 || !Loopback(c.HTTP.Listen)
}

// Certificate reads a server's certificate and its key.
func Certificate(certFile, keyFile string) (*tls.Certificate, error) {
	cert, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return nil, fmt.Errorf("reading the certificate %s and its key %s: %w", certFile, keyFile, err)
	}
	return &cert, nil
}

// Secret reads a secret from a file, or from an environment variable where no
// file is given; "" where neither is set.
func Secret(file, variable string) (string, error) {
	if file == "" {
		return os.Getenv(variable), nil
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return "", fmt.Errorf("reading the secret: %w", err)
	}
	s := strings.TrimSpace(string(b))
	if s == "" {
		return "", fmt.Errorf("reading the secret: %s is empty", file)
	}
	return s, nil
}
