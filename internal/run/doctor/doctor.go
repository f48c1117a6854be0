// Package doctor examines an installation before or while the daemon runs: the
// configuration, the data folder with its store, secrets and certificates, the
// ports, and every peer the daemon has to reach. It changes nothing, leaves
// nothing behind, and reports each fault with what would be right.
package doctor

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/mqtt/mqttfeed"
	"dewcase/internal/door/notify"
	"dewcase/internal/door/store/influx"
	"dewcase/internal/door/store/sqlite"
	"dewcase/internal/flow/payload"
	"dewcase/internal/run/config"
)

// Fault is one thing that is wrong.
type Fault struct {
	Where   string // a key of the configuration, or a file
	Problem string
	Remedy  string
}

// String says it on one line.
func (f Fault) String() string {
	return strings.Join(strings.Fields(f.Where+": "+f.Problem+"; "+f.Remedy), " ")
}

// patience bounds each call to a server.
const patience = 15 * time.Second

// visit is one installation looked over.
type visit struct {
	config.Config
	unit unit
	held bool // a daemon runs on the data folder

	mu     sync.Mutex
	faults []Fault
}

func (v *visit) fault(where, problem, remedy string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.faults = append(v.faults, Fault{where, problem, remedy})
}

// Examine looks at the installation of a configuration that was read without
// fault from file ("" for the defaults). units is the folder under which
// systemd's folders lie, "/" but for tests.
func Examine(ctx context.Context, file string, c config.Config, units string) []Fault {
	v := &visit{Config: c, unit: readUnit(units, file)}
	v.unit.hand(&v.Config)
	v.held = sqlite.Held(v.Data)
	v.folder()
	v.store(ctx)
	v.secrets()
	v.people()
	v.certificate("http.cert_file", v.HTTP.CertFile, v.HTTP.KeyFile, v.HTTP.PublicURL)
	if v.MQTT.Broker == "" {
		v.certificate("mqtt.cert_file", v.MQTT.CertFile, v.MQTT.KeyFile, "")
		v.port("mqtt.listen", v.MQTT.Listen)
	}
	v.port("http.listen", v.HTTP.Listen)
	var calls sync.WaitGroup
	for _, call := range []func(context.Context){v.broker, v.mail, v.influx, v.reach} {
		calls.Go(func() {
			ctx, cancel := context.WithTimeout(ctx, patience)
			defer cancel()
			call(ctx)
		})
	}
	calls.Wait()
	return v.faults
}

// folder looks whether the daemon can write where it keeps the record.
func (v *visit) folder() {
	info, err := os.Stat(v.Data)
	if errors.Is(err, fs.ErrNotExist) {
		above := filepath.Dir(filepath.Clean(v.Data))
		if err := writable(above); err != nil {
			v.fault("data", fmt.Sprintf("%s is not there and cannot be made: %v", v.Data, err),
				"make it, or name another folder")
		}
		return
	}
	switch {
	case err != nil:
		v.fault("data", err.Error(), "name a folder that the daemon's user can read and write")
		return
	case !info.IsDir():
		v.fault("data", v.Data+" is no folder", "name a folder, or move the file away")
		return
	}
	if err := writable(v.Data); err != nil {
		v.fault("data", fmt.Sprintf("%s cannot be written: %v", v.Data, err), fmt.Sprintf(
			"give it to the daemon's user (it belongs to %d), or run this as that user", owner(info)))
	}
	files, _ := filepath.Glob(filepath.Join(v.Data, "*"))
	for _, file := range files {
		if i, err := os.Lstat(file); err == nil && owner(i) != owner(info) {
			v.fault("data", fmt.Sprintf("%s belongs to user %d and its folder to %d", file, owner(i), owner(info)),
				fmt.Sprintf("chown -R %d %s", owner(info), v.Data))
		}
	}
	if space, err := sqlite.SpaceOf(v.Data); err == nil && space.Low() {
		v.fault("data", fmt.Sprintf("%.1f of %.1f GB are left on the disk", float64(space.Free)/1e9, float64(space.Size)/1e9),
			"free some space: at half of that the bytes of rejects are dropped, on a full disk nothing is taken")
	}
}

func owner(i fs.FileInfo) uint32 { return i.Sys().(*syscall.Stat_t).Uid }

func writable(dir string) error {
	f, err := os.CreateTemp(dir, ".dewcase-doctor-*")
	if err != nil {
		var p *fs.PathError
		if errors.As(err, &p) {
			err = p.Err
		}
		return err
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}

// store verifies the record, as `dewcase check` does.
func (v *visit) store(ctx context.Context) {
	if files, _ := filepath.Glob(filepath.Join(v.Data, "dewcase.*")); len(files) == 0 {
		return // nothing has been stored yet
	}
	rep, err := sqlite.Check(ctx, v.Data)
	if err == nil {
		err = rep.Err()
	}
	if err != nil {
		v.fault("data", err.Error(), "lay the last backup down beside it (dewcase restore) and compare; INSTALL.md, Rollback")
	}
	for _, i := range rep.Incidents {
		if i.Open() {
			v.fault("data", "an incident is not confirmed: "+i.What,
				"find out what was lost, then confirm it on the Alerts page")
		}
	}
}

// secrets looks at each file that holds one.
func (v *visit) secrets() {
	for _, s := range []struct{ key, file string }{
		{"http.password_file", v.HTTP.PasswordFile}, {"http.token_file", v.HTTP.TokenFile},
		{"http.key_file", v.HTTP.KeyFile}, {"mqtt.password_file", v.MQTT.PasswordFile}, {"mqtt.key_file", v.MQTT.KeyFile},
		{"mqtt.users_file", v.MQTT.UsersFile}, {"http.push_tokens_file", v.HTTP.PushFile},
		{"influxdb.token_file", v.Store.Influx.TokenFile},
		{"alerts.smtp.password_file", v.Alerts.SMTPPasswordFile}, {"alerts.webhook.secret_file", v.Alerts.WebhookSecret},
		{"password-hash", kept(v.PasswordHashFile())}, {"set-up-code", kept(v.SetUpCodeFile())},
	} {
		if s.file == "" {
			continue
		}
		if everybodys(s.file) {
			v.fault(s.key, s.file+" can be read by everybody on this machine", "chmod o-rwx "+s.file)
		}
		if _, err := config.Secret(s.file, ""); err != nil {
			remedy := "write it, or take the key out"
			if errors.Is(err, fs.ErrPermission) {
				remedy = "give it to the daemon's user or group, or run this as root"
			}
			v.fault(s.key, err.Error(), remedy)
		}
	}
}

// everybodys reports whether any user of the machine can read or write a file,
// which a closed folder above it prevents.
func everybodys(file string) bool {
	info, err := os.Stat(file)
	if err != nil || info.Mode()&0o006 == 0 {
		return false
	}
	at, err := filepath.Abs(file)
	for dir := filepath.Dir(at); err == nil; dir = filepath.Dir(dir) {
		if info, err := os.Stat(dir); err == nil && info.Mode()&0o001 == 0 {
			return false
		}
		if dir == filepath.Dir(dir) {
			break
		}
	}
	return true
}

func kept(file string) string {
	if _, err := os.Stat(file); err != nil {
		return ""
	}
	return file
}

// people looks whether those who are meant to come in can, and nobody else.
func (v *visit) people() {
	token, err := config.Secret(v.HTTP.TokenFile, "DEWCASE_TOKEN")
	hash, err2 := v.PasswordHash()
	if errors.Is(err2, credentials.ErrHash) {
		v.fault("http.password_file", err2.Error(), "write the line that `dewcase password` prints")
	}
	if err != nil || err2 != nil {
		return // told with the files
	}
	where := "http.listen"
	if v.HTTP.PublicURL != "" {
		where = "http.public_url"
	}
	switch {
	case hash != "" || token != "" || !v.Demands(hash, token): // a token alone is a way in, for programs
	case !config.Loopback(v.HTTP.Listen):
		v.fault(where, "pages that other machines reach need credentials, and there are none: the daemon will not start",
			"write http.password_file (dewcase password makes the hash) or http.token_file")
	default:
		v.fault(where, "everybody is asked for credentials, and the consultant's password is not set",
			"open the log-in page with the code in "+v.SetUpCodeFile()+" of the running daemon, or write http.password_file")
	}
	if v.MQTT.Broker == "" && v.MQTT.UsersFile == "" && !config.Loopback(v.MQTT.Listen) {
		v.fault("mqtt.listen", "the broker listens to other machines and there are no users: the daemon will not start",
			"write mqtt.users_file, a line CASE/LOGGER:HASH each, or listen on 127.0.0.1")
	}
	if v.HTTP.PushFile != "" {
		if _, err := credentials.ReadPushTokens(v.HTTP.PushFile); err != nil && !errors.Is(err, fs.ErrNotExist) {
			v.fault("http.push_tokens_file", err.Error(), "a line is what `dewcase token` prints")
		}
	}
	if v.MQTT.UsersFile != "" {
		if _, err := credentials.ReadUsers(v.MQTT.UsersFile); err != nil && !errors.Is(err, fs.ErrNotExist) {
			v.fault("mqtt.users_file", err.Error(), "a line is NAME:HASH with the hash from `dewcase password`")
		}
	}
}

// certificate looks at one that we show ourselves, and at the name it is for.
func (v *visit) certificate(key, certFile, keyFile, public string) {
	if certFile == "" {
		return
	}
	cert, err := config.Certificate(certFile, keyFile)
	if err != nil {
		v.fault(key, err.Error(), "let cert_file and key_file name a certificate and its own key, both as PEM")
		return
	}
	leaf := cert.Leaf
	switch now := time.Now(); {
	case now.After(leaf.NotAfter):
		v.fault(key, "the certificate has expired on "+leaf.NotAfter.UTC().Format("2 Jan 2006"), "renew it")
	case now.Before(leaf.NotBefore):
		v.fault(key, "the certificate is not valid before "+leaf.NotBefore.UTC().Format("2 Jan 2006 15:04"),
			"wait, or put this machine's clock right")
	case now.Add(14 * 24 * time.Hour).After(leaf.NotAfter):
		v.fault(key, "the certificate expires on "+leaf.NotAfter.UTC().Format("2 Jan 2006"), "renew it before")
	}
	if u, err := url.Parse(public); public != "" && err == nil {
		if err := leaf.VerifyHostname(u.Hostname()); err != nil {
			var name x509.HostnameError
			errors.As(err, &name)
			v.fault(key, "the certificate is not for "+u.Hostname()+" of http.public_url", fmt.Sprintf(
				"have one made for that name (it is for %s)", strings.Join(leaf.DNSNames, ", ")))
		}
	}
}

// port looks whether an address is free, unless our own daemon has it.
func (v *visit) port(key, address string) {
	if v.held {
		return
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		v.fault(key, err.Error(), "end what has the port (ss -tlnp names it), or choose another")
		return
	}
	_ = l.Close()
}

func (v *visit) broker(ctx context.Context) {
	c := v.MQTT
	if c.Broker == "" {
		return
	}
	topics := append([]string{}, c.Topics...)
	if d, err := payload.New(c.Mappings); err == nil {
		topics = append(topics, d.Filters()...)
	}
	err := mqttfeed.Try(ctx, mqttfeed.Options{URL: c.Broker, ClientID: c.ClientID, Topics: topics, Username: c.Username,
		Password: func() (string, error) { return config.Secret(c.PasswordFile, "DEWCASE_MQTT_PASSWORD") },
		CAFile:   c.CAFile, CertFile: c.CertFile, KeyFile: c.KeyFile})
	if err != nil {
		v.fault("mqtt.broker", err.Error(), "readings come only once this is right")
	}
}

func (v *visit) mail(ctx context.Context) {
	a := v.Alerts
	if a.SMTPHost == "" {
		return
	}
	password, err := config.Secret(a.SMTPPasswordFile, "DEWCASE_SMTP_PASSWORD")
	if err != nil {
		return // told with the files
	}
	m, err := notify.NewMail(notify.MailOptions{Host: a.SMTPHost, Port: a.SMTPPort, User: a.SMTPUser, Password: password,
		TLS: a.SMTPTLS, From: a.From, CAFile: a.SMTPCAFile})
	if err == nil {
		err = m.Try(ctx)
	}
	if err != nil {
		v.fault("alerts.smtp", err.Error(), "no mail reaches anybody until this is right")
	}
}

func (v *visit) influx(ctx context.Context) {
	c := v.Store
	if c.Kind != "influxdb" && !c.Mirror {
		return
	}
	token, err := config.Secret(c.Influx.TokenFile, "DEWCASE_INFLUX_TOKEN")
	if err != nil {
		return // told with the files
	}
	client, err := influx.NewClient(influx.Server{URL: c.Influx.URL, Org: c.Influx.Org, Bucket: c.Influx.Bucket,
		Token: token})
	if err == nil {
		defer client.Close()
		err = client.Ping(ctx)
	}
	if err != nil {
		v.fault("influxdb", err.Error(), "readings are kept here and wait until it takes them")
	}
}
