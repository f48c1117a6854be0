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
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"dewcase/internal/door/credentials"
	"dewcase/internal/flow/payload"
	"dewcase/internal/flow/strictyaml"
	"dewcase/internal/roof"
)

// Config is everything the daemon is told.
type Config struct {
	Data   string   // data folder
	Cases  []string // patterns of the cases that this instance serves; none: all
	Others []Instance
	HTTP   HTTP
	MQTT   MQTT
	Store  Store
	Alerts Alerts
	Log    Log
}

// Instance is another instance, whose houses are counted with this one's.
type Instance struct {
	Name      string
	URL       string // of its pages
	TokenFile string // a token that may read its counts
}

// HTTP is where pages and API are served.
type HTTP struct {
	Listen       string
	PasswordFile string // a hash made by `dewcase password`
	TokenFile    string // the administrator's token
	PushFile     string // tokens that may send messages and nothing else
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
	Discovery    Discovery
}

// Discovery is the exchange of descriptions by the open home-automation discovery
// convention. A switch on the pages takes precedence over either.
type Discovery struct {
	Announce bool   // houses' figures to home automation
	Listen   bool   // to sensors that announce themselves
	Prefix   string // of the topics
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
			MaxPayloadKB: 1024, MaxLoggers: 200, Discovery: Discovery{Prefix: "homeassistant"}},
		Store:  Store{Kind: "sqlite", RejectMB: 32},
		Alerts: Alerts{SMTPPort: 587, SMTPTLS: "starttls", DigestAt: "07:30"},
		Log:    Log{Level: "info", Format: "text"},
	}
}

// maxBytes is the largest configuration file that is read.
const maxBytes = 1 << 20

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
	doc := strictyaml.Parse(file, data, maxBytes)
	section(doc.Root(), keys{
		{"data", text(&c.Data)}, {"cases", list(&c.Cases, pattern)},
		{"instances", list(&c.Others, instance)},
		{"store", word(&c.Store.Kind, "sqlite", "influxdb")},
		{"http", c.HTTP.read}, {"mqtt", c.MQTT.read}, {"influxdb", c.Store.readInflux},
		{"rejects", func(n strictyaml.Node) { section(n, keys{{"max_mb", whole(&c.Store.RejectMB, 1, 10240)}}) }},
		{"alerts", c.Alerts.read}, {"log", c.Log.read},
		{"mappings", list(&c.MQTT.Mappings, func(n strictyaml.Node) (payload.Mapping, bool) {
			return payload.ReadMapping(n), true
		})},
	})
	return c, doc.Faults()
}

// instance reads one of the other instances.
func instance(n strictyaml.Node) (x Instance, ok bool) {
	m := section(n, keys{{"name", text(&x.Name)}, {"url", checked(&x.URL, webURL, webRemedy)},
		{"token_file", text(&x.TokenFile)}})
	if x.Name == "" {
		m.Fault("has no name", "write what people call this instance")
	}
	if x.URL == "" {
		m.Fault("has no url", "write the address of its pages, such as https://south.example.org")
	}
	return x, x.Name != "" && x.URL != ""
}

func (h *HTTP) read(n strictyaml.Node) {
	paired(section(n, keys{
		{"listen", checked(&h.Listen, ListenAddress, "write HOST:PORT, such as 127.0.0.1:8480; port 0 picks a free one")},
		{"password_file", text(&h.PasswordFile)}, {"token_file", text(&h.TokenFile)},
		{"push_tokens_file", text(&h.PushFile)},
		{"cert_file", text(&h.CertFile)}, {"key_file", text(&h.KeyFile)},
		{"hosts", list(&h.Hosts, nonEmpty)},
		{"public_url", checked(&h.PublicURL, webURL, webRemedy)},
		{"trusted_proxies", list(&h.Proxies, network)},
		{"max_body_mb", whole(&h.MaxBodyMB, 1, 4096)},
	}))
}

func (m *MQTT) read(n strictyaml.Node) {
	paired(section(n, keys{
		{"listen", checked(&m.Listen, ListenAddress, "write HOST:PORT, such as 127.0.0.1:8480; port 0 picks a free one")},
		{"broker", checked(&m.Broker, BrokerURL, "write for example mqtt://localhost:1883")},
		{"client_id", text(&m.ClientID)}, {"topics", list(&m.Topics, nonEmpty)},
		{"username", text(&m.Username)}, {"password_file", text(&m.PasswordFile)}, {"ca_file", text(&m.CAFile)},
		{"cert_file", text(&m.CertFile)}, {"key_file", text(&m.KeyFile)}, {"users_file", text(&m.UsersFile)},
		{"max_payload_kb", whole(&m.MaxPayloadKB, 1, 16384)}, {"max_loggers", whole(&m.MaxLoggers, 0, 100000)},
		{"discovery", m.Discovery.read},
	}))
}

func (d *Discovery) read(n strictyaml.Node) {
	section(n, keys{{"announce", yes(&d.Announce)}, {"listen", yes(&d.Listen)},
		{"prefix", checked(&d.Prefix, topicPrefix, "write levels parted by /, such as homeassistant")}})
}

func topicPrefix(s string) error {
	if strings.ContainsAny(s, "+#") || strings.HasPrefix(s, "$") || strings.Trim(s, "/") != s ||
		strings.HasPrefix(s+"/", payload.Prefix+"/") || strings.HasPrefix(s, "dewcase-") {
		return fmt.Errorf("%q cannot begin the topics of descriptions", s)
	}
	return nil
}

// readInflux runs after the key store, which says whether a server is needed.
func (s *Store) readInflux(n strictyaml.Node) {
	i := section(n, keys{
		{"url", checked(&s.Influx.URL, webURL, webRemedy)},
		{"org", text(&s.Influx.Org)}, {"bucket", text(&s.Influx.Bucket)}, {"token_file", text(&s.Influx.TokenFile)},
		{"mirror", yes(&s.Mirror)},
	})
	if (s.Kind == "influxdb" || s.Mirror) && s.Influx.URL == "" {
		i.Fault("has no url", "write influxdb.url, such as http://localhost:8086")
	}
	if s.Influx.URL != "" && s.Influx.Bucket == "" {
		i.Fault("has no bucket", "write influxdb.bucket, the bucket (or, with InfluxDB 1, the database) for the readings")
	}
}

func (a *Alerts) read(n strictyaml.Node) {
	section(n, keys{
		{"smtp", func(n strictyaml.Node) {
			s := section(n, keys{
				{"host", text(&a.SMTPHost)}, {"port", whole(&a.SMTPPort, 1, 65535)}, {"user", text(&a.SMTPUser)},
				{"password_file", text(&a.SMTPPasswordFile)}, {"tls", word(&a.SMTPTLS, "starttls", "tls", "none")},
				{"from", text(&a.From)}, {"ca_file", text(&a.SMTPCAFile)},
			})
			if a.SMTPHost != "" && a.From == "" {
				s.Fault("has no from", "write the address messages are sent from")
			}
		}},
		{"webhook", func(n strictyaml.Node) {
			section(n, keys{{"url", checked(&a.WebhookURL, webURL, webRemedy)}, {"secret_file", text(&a.WebhookSecret)},
				{"allow_private", yes(&a.WebhookPrivate)}})
		}},
		{"consultant", list(&a.Consultant, nonEmpty)},
		{"digest_at", set(&a.DigestAt, clock)},
	})
}

func (l *Log) read(n strictyaml.Node) {
	section(n, keys{{"level", word(&l.Level, "debug", "info", "warn", "error")},
		{"format", word(&l.Format, "text", "json")}})
}

// keys are those of one section, in the order they are read in.
type keys []struct {
	name string
	read func(strictyaml.Node)
}

// section reads a mapping that has these keys and no others.
func section(n strictyaml.Node, all keys) strictyaml.Map {
	names := make([]string, len(all))
	for i, k := range all {
		names[i] = k.name
	}
	m := n.Map(names...)
	for _, k := range all {
		k.read(m.Get(k.name))
	}
	return m
}

// set reads a key that may be left out; a faulty one leaves the default.
func set[T any](into *T, read func(strictyaml.Node) (T, bool)) func(strictyaml.Node) {
	return func(n strictyaml.Node) {
		if n.Present() {
			if v, ok := read(n); ok {
				*into = v
			}
		}
	}
}

func text(into *string) func(strictyaml.Node) { return set(into, nonEmpty) }

func word(into *string, allowed ...string) func(strictyaml.Node) {
	return set(into, func(n strictyaml.Node) (string, bool) { return n.Word(allowed...) })
}

func whole(into *int, low, high int) func(strictyaml.Node) {
	return set(into, func(n strictyaml.Node) (int, bool) { return n.Whole(low, high) })
}

func yes(into *bool) func(strictyaml.Node) { return set(into, strictyaml.Node.YesNo) }

// list reads a list in place of the default.
func list[T any](into *[]T, read func(strictyaml.Node) (T, bool)) func(strictyaml.Node) {
	return set(into, func(n strictyaml.Node) (all []T, ok bool) {
		for _, e := range n.List() {
			if v, ok := read(e); ok {
				all = append(all, v)
			}
		}
		return all, true
	})
}

// checked reads a text in which check finds no fault.
func checked(into *string, check func(string) error, remedy string) func(strictyaml.Node) {
	return set(into, func(n strictyaml.Node) (string, bool) {
		s, ok := nonEmpty(n)
		if !ok {
			return "", false
		}
		if err := check(s); err != nil {
			n.Fault(err.Error(), remedy)
			return "", false
		}
		return s, true
	})
}

// Serves reports whether a case is one of this instance's.
func (c Config) Serves(caseID string) bool {
	return len(c.Cases) == 0 || slices.ContainsFunc(c.Cases, func(p string) bool {
		ok, err := path.Match(p, caseID)
		return ok && err == nil
	})
}

// pattern reads a pattern of case ids.
func pattern(n strictyaml.Node) (string, bool) {
	s, ok := nonEmpty(n)
	if !ok {
		return "", false
	}
	if _, err := path.Match(s, ""); err != nil || strings.ContainsAny(s, "/ ") {
		n.Fault(fmt.Sprintf("%q is no pattern of case ids", s), "write an id, or a pattern such as north-* or house-[0-4]*")
		return "", false
	}
	return s, true
}

func nonEmpty(n strictyaml.Node) (string, bool) {
	s, ok := n.Text()
	if ok && strings.TrimSpace(s) == "" {
		n.Fault("is empty", "write a value or leave the key out")
		return "", false
	}
	return s, ok
}

// clock reads an hour of the day, or never as "".
func clock(n strictyaml.Node) (string, bool) {
	s, ok := nonEmpty(n)
	if !ok || s == "never" {
		return "", ok
	}
	at, err := time.Parse("15:04", s)
	if err != nil {
		n.Fault("is no hour of the day", "write HH:MM in quotes, such as \"07:30\", or never")
		return "", false
	}
	return at.Format("15:04"), true
}

// network reads an address or a network.
func network(n strictyaml.Node) (netip.Prefix, bool) {
	s, ok := nonEmpty(n)
	if !ok {
		return netip.Prefix{}, false
	}
	if ip, err := netip.ParseAddr(s); err == nil {
		return netip.PrefixFrom(ip, ip.BitLen()), true
	}
	p, err := netip.ParsePrefix(s)
	if err != nil {
		n.Fault(fmt.Sprintf("%q is neither an address nor a network", s), "write for example 127.0.0.1 or 10.0.0.0/8")
	}
	return p.Masked(), err == nil
}

// paired reports a certificate without its key and the reverse.
func paired(m strictyaml.Map) {
	if m.Get("cert_file").Present() != m.Get("key_file").Present() {
		m.Fault("has only one of cert_file and key_file", "a certificate and its key go together")
	}
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

const webRemedy = "write http://HOST or https://HOST"

func webURL(s string) error {
	if u, err := url.Parse(s); err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return fmt.Errorf("%q is not a URL", s)
	}
	return nil
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
