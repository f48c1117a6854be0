package doctor_test

import (
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
	"dewcase/internal/run/config"
	"dewcase/internal/run/doctor"
	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

func TestMain(m *testing.M) { crashtest.Main(m) }

// installation is one that is sound until a test spoils it.
type installation struct {
	t      *testing.T
	dir    string
	data   string
	as     uint32            // the user that looks, 0 for root
	http   map[string]string // keys of the sections
	mqtt   map[string]string
	influx map[string]string
	smtp   map[string]string
	more   string
}

// neighbours are real servers for all rows.
type neighbours struct {
	mosquitto  *mosquittotest.Broker
	smtp       int
	influx     string
	hash, used string
}

func (i *installation) write(name, text string) string {
	i.t.Helper()
	path := filepath.Join(i.dir, name)
	require.NoError(i.t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

func (i *installation) config() string {
	var b strings.Builder
	for _, s := range []struct {
		name string
		keys map[string]string
	}{{"http", i.http}, {"mqtt", i.mqtt}, {"influxdb", i.influx}} {
		if len(s.keys) > 0 {
			fmt.Fprintf(&b, "%s:\n", s.name)
			for k, v := range s.keys {
				fmt.Fprintf(&b, "  %s: %s\n", k, v)
			}
		}
	}
	if len(i.smtp) > 0 {
		b.WriteString("alerts:\n  smtp:\n")
		for k, v := range i.smtp {
			fmt.Fprintf(&b, "    %s: %s\n", k, v)
		}
	}
	return i.write("dewcase.yaml", b.String()+i.more)
}

func (i *installation) look() (out string, status int) {
	i.t.Helper()
	file := i.config()
	require.NoError(i.t, os.Chmod(file, 0o644))
	return crashtest.RunAs(i.t, i.as, "doctor", "-config", file, "-data", i.data)
}

const house = `case: house-1
property: {label: House One, timezone: Europe/London, altitude_m: 60}
positions: [{id: loft, place: loft_air}]
loggers: [{id: k7, interval_s: 300, fitted: [{position: loft, from: 2026-01-01T00:00:00Z}]}]
`

func (i *installation) store(day int) {
	i.t.Helper()
	csv := "time,logger,temp_c,rh_pct\n"
	for n := range 200 {
		csv += fmt.Sprintf("2026-02-%02dT%02d:%02d:00Z,k7,%d,80\n", day, n/10, n%10*6, n%9)
	}
	out, status := crashtest.Run(i.t, "import", "-case", i.write("house.yaml", house), "-readings", i.write("r.csv", csv),
		"-data", i.data)
	require.Zero(i.t, status, out)
}

func sound(t *testing.T, n neighbours) *installation {
	t.Helper()
	i := &installation{t: t, dir: t.TempDir()}
	for _, dir := range []string{i.dir, filepath.Dir(i.dir)} {
		require.NoError(t, os.Chmod(dir, 0o755))
	}
	i.data = filepath.Join(i.dir, "data")
	i.store(1)
	cert, key := crashtest.Certificate(t, 1, time.Now().Add(60*24*time.Hour), "roof.example.org")
	i.http = map[string]string{"listen": free(t), "password_file": i.write("hash", n.hash+"\n"),
		"token_file": i.write("token", "0123456789abcdef\n"), "public_url": "https://roof.example.org",
		"cert_file": i.write("cert.pem", cert), "key_file": i.write("key.pem", key)}
	i.mqtt = map[string]string{"broker": "mqtt://" + n.mosquitto.Addr(), "username": "dewcase",
		"password_file": i.write("mqtt-password", "d\n")}
	i.influx = map[string]string{"url": n.influx, "bucket": "roof", "mirror": "yes"}
	i.smtp = map[string]string{"host": "127.0.0.1", "port": fmt.Sprint(n.smtp), "tls": "none", "from": "roof@example.org"}
	return i
}

// ownBroker is the same with the embedded broker and its users.
func (i *installation) ownBroker(n neighbours) {
	i.mqtt = map[string]string{"listen": free(i.t), "users_file": i.write("users", "house-1/k7:"+n.hash+"\n"),
		"cert_file": i.http["cert_file"], "key_file": i.http["key_file"]}
}

func free(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

func start(t *testing.T, answers func() bool, name string, env []string, args ...string) {
	t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Env = append(os.Environ(), env...)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	patience.Until(t, name+" answers", answers)
}

func beside(t *testing.T) neighbours {
	t.Helper()
	hash, err := credentials.Hash("wet battens")
	require.NoError(t, err)
	n := neighbours{hash: hash, mosquitto: mosquittotest.New(t, "allow_anonymous false\npassword_file {dir}/passwords\n")}
	n.mosquitto.Passwords(map[string]string{"dewcase": "d"})
	n.mosquitto.Restart()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	n.used = l.Addr().String()
	t.Cleanup(func() { _ = l.Close() })

	smtp := free(t)
	_, err = fmt.Sscanf(smtp, "127.0.0.1:%d", &n.smtp)
	require.NoError(t, err)
	start(t, func() bool {
		c, err := net.Dial("tcp", smtp)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	}, "aiosmtpd", nil, "-n", "-l", smtp, "-c", "aiosmtpd.handlers.Mailbox", filepath.Join(t.TempDir(), "box"))

	dir, addr := t.TempDir(), free(t)
	n.influx = "http://" + addr
	ask := func(query string) bool {
		resp, err := http.Post(n.influx+"/query?q="+strings.ReplaceAll(query, " ", "+"), "", nil)
		if err != nil {
			return false
		}
		_, _ = io.Copy(io.Discard, resp.Body)
		_ = resp.Body.Close()
		return resp.StatusCode == http.StatusOK
	}
	start(t, func() bool { return ask("CREATE DATABASE roof") }, "influxd", []string{"INFLUXDB_HTTP_BIND_ADDRESS=" + addr,
		"INFLUXDB_BIND_ADDRESS=127.0.0.1:0", "INFLUXDB_META_DIR=" + dir + "/meta", "INFLUXDB_DATA_DIR=" + dir + "/data",
		"INFLUXDB_DATA_WAL_DIR=" + dir + "/wal", "INFLUXDB_REPORTING_DISABLED=true"}, "-config", os.DevNull)
	return n
}

// Each row spoils one thing of an installation in which nothing is wrong, and
// that one is named, with what would be right, and nothing else.
func TestEachFaultOfAnInstallationIsNamedAlone(t *testing.T) {
	n := beside(t)
	db := func(i *installation) string { return filepath.Join(i.data, "dewcase.db") }
	for _, row := range []struct {
		what  string
		spoil func(i *installation)
		want  string // "" nothing is wrong
	}{
		{"nothing, with an outside broker", func(*installation) {}, ""},
		{"nothing, an open file in a closed folder", func(i *installation) {
			dir := filepath.Join(i.dir, "secrets")
			require.NoError(i.t, os.Mkdir(dir, 0o700))
			i.http["token_file"] = i.write("secrets/token", "0123456789abcdef\n")
			require.NoError(i.t, os.Chmod(i.http["token_file"], 0o644))
		}, ""},
		{"nothing, with its own broker", func(i *installation) { i.ownBroker(n) }, ""},
		{"an unknown key", func(i *installation) { i.more = "lgo: {level: info}\n" }, `lgo: is not a known key`},
		{"a port that is taken", func(i *installation) { i.http["listen"] = n.used }, `http\.listen: .*in use; end what has`},
		{"the broker's port taken", func(i *installation) { i.ownBroker(n); i.mqtt["listen"] = n.used },
			`mqtt\.listen: .*in use; end what has`},
		{"a data folder that is a file", func(i *installation) { i.data = i.write("data.txt", "") }, `data: .* is no folder`},
		{"a data folder that another user's daemon cannot write", func(i *installation) {
			i.as = 65534
			require.NoError(i.t, filepath.WalkDir(i.dir, func(p string, d os.DirEntry, _ error) error {
				return os.Chown(p, 65534, 65534)
			}))
			require.NoError(i.t, os.Chown(i.data, 0, 65534))
			require.NoError(i.t, os.Chmod(i.data, 0o750))
			files, _ := filepath.Glob(filepath.Join(i.data, "*"))
			for _, f := range files {
				require.NoError(i.t, errors.Join(os.Chown(f, 0, 65534), os.Chmod(f, 0o660)))
			}
		}, `data: .* cannot be written: permission denied; give it to the daemon's user`},
		{"a store of another user", func(i *installation) { require.NoError(i.t, os.Chown(db(i), 65534, 65534)) },
			`data: .*dewcase\.db belongs to user 65534 and its folder to 0; chown -R 0 `},
		{"a damaged store", func(i *installation) {
			f, err := os.OpenFile(db(i), os.O_RDWR, 0)
			require.NoError(i.t, err)
			st, err := f.Stat()
			require.NoError(i.t, err)
			for at := int64(8192); at < st.Size(); at += 4096 { // one byte of each page, where its rows lie
				_, err = f.WriteAt([]byte{0xa5}, at+4080)
				require.NoError(i.t, err)
			}
			require.NoError(i.t, f.Close())
		}, `data: .*; lay the last backup down`},
		{"an older copy of the store", func(i *installation) {
			old, err := os.ReadFile(db(i))
			require.NoError(i.t, err)
			i.store(2)
			require.NoError(i.t, os.WriteFile(db(i), old, 0o600))
			_ = os.Remove(db(i) + "-wal")
		}, `data: .*; lay the last backup down`},
		{"a disk that is nearly full", func(i *installation) {
			i.data = filepath.Join(i.dir, "small")
			require.NoError(i.t, os.Mkdir(i.data, 0o700))
			require.NoError(i.t, syscall.Mount("tmpfs", i.data, "tmpfs", 0, "size=8m"))
			i.t.Cleanup(func() { _ = syscall.Unmount(i.data, syscall.MNT_DETACH) })
			require.NoError(i.t, os.WriteFile(filepath.Join(i.data, "filler"), make([]byte, 60<<17), 0o600))
		}, `data: .* GB are left on the disk; free some space`},
		{"a token file that is missing", func(i *installation) { i.http["token_file"] = "/nowhere/token" },
			`http\.token_file: .*no such file`},
		{"an empty password file", func(i *installation) { i.write("hash", "") }, `http\.password_file: .* is empty`},
		{"a password file that everybody reads", func(i *installation) {
			require.NoError(i.t, os.Chmod(i.http["password_file"], 0o644))
		}, `http\.password_file: .*read by everybody on this machine; chmod o-rwx`},
		{"a password instead of its hash", func(i *installation) { i.write("hash", "wet battens\n") },
			"http\\.password_file: .*; write the line that `dewcase password` prints"},
		{"a bad line of users", func(i *installation) { i.ownBroker(n); i.write("users", "house-1/k7:"+n.hash+"\nk8\n") },
			`mqtt\.users_file: .*users:2: `},
		{"a push token without a topic", func(i *installation) {
			i.http["push_tokens_file"] = i.write("tokens", "gateway:"+strings.Repeat("0a", 32)+"\n")
		}, `http\.push_tokens_file: .*tokens:1: gateway is not CASE/LOGGER`},
		{"a certificate that has expired", func(i *installation) {
			cert, key := crashtest.Certificate(i.t, 1, time.Now().Add(-time.Hour), "roof.example.org")
			i.write("cert.pem", cert)
			i.write("key.pem", key)
		}, `http\.cert_file: the certificate has expired on .*; renew it`},
		{"a certificate for another name", func(i *installation) { i.http["public_url"] = "https://house.example.org" },
			`http\.cert_file: the certificate is not for house\.example\.org of http\.public_url; .*roof\.example\.org`},
		{"a key of another certificate", func(i *installation) {
			_, key := crashtest.Certificate(i.t, 1, time.Now().Add(time.Hour))
			i.write("key.pem", key)
		}, `http\.cert_file: .*private key does not match`},
		{"a broker that is away", func(i *installation) { i.mqtt["broker"] = "mqtt://" + free(i.t) },
			`mqtt\.broker: no broker answers at .*connection refused`},
		{"a broker that refuses the password", func(i *installation) { i.write("mqtt-password", "wrong\n") },
			`mqtt\.broker: the broker .*; check mqtt\.username`},
		{"a broker without TLS", func(i *installation) { i.mqtt["broker"] = "mqtts://" + n.mosquitto.Addr() },
			`mqtt\.broker: .*127\.0\.0\.1`},
		{"a mail server that is away", func(i *installation) { i.smtp["port"] = "1" },
			`alerts\.smtp: the mail server 127\.0\.0\.1 .*connection refused; no mail reaches`},
		{"a mail server that speaks no TLS", func(i *installation) { i.smtp["tls"] = "starttls" },
			`alerts\.smtp: the mail server .*STARTTLS.*; no mail reaches`},
		{"InfluxDB that is away", func(i *installation) { i.influx["url"] = "http://" + free(i.t) },
			`influxdb: .*connection refused`},
		{"InfluxDB without the bucket", func(i *installation) { i.influx["bucket"] = "other" }, `influxdb: .*other`},
		{"a public address and no way in", func(i *installation) {
			delete(i.http, "password_file")
			delete(i.http, "token_file")
		}, `http\.public_url: everybody is asked for credentials, and the consultant's password is not set; .*set-up-code`},
		{"a token alone, which is a way in", func(i *installation) { delete(i.http, "password_file") }, ""},
		{"pages for other machines and no credentials", func(i *installation) {
			i.http = map[string]string{"listen": "0.0.0.0:0"}
		}, `http\.listen: .*the daemon will not start; write http\.password_file`},
		{"a broker for other machines and no users", func(i *installation) {
			i.mqtt = map[string]string{"listen": "0.0.0.0:0"}
		}, `mqtt\.listen: .*no users: the daemon will not start`},
	} {
		t.Run(row.what, func(t *testing.T) {
			i := sound(t, n)
			row.spoil(i)
			out, status := i.look()
			if row.want == "" {
				assert.Zero(t, status, out)
				assert.Contains(t, out, "nothing is wrong")
				return
			}
			assert.Equal(t, 1, status, out)
			assert.Regexp(t, `(?m)^.*`+row.want, out)
			assert.Equal(t, 1, strings.Count(out, "\n"), "one fault, one line: %s", out)
		})
	}
	out, status := crashtest.Run(t, "doctor", "-config", "/nowhere/dewcase.yaml")
	assert.Equal(t, 1, status)
	assert.Contains(t, out, "/nowhere/dewcase.yaml")
}

// While the daemon serves, its own ports and folder are no fault.
func TestARunningDaemonIsNoFaultOfItsInstallation(t *testing.T) {
	d := crashtest.Serve(t, filepath.Join(t.TempDir(), "data"))
	out, status := crashtest.Run(t, "doctor", "-data", filepath.Join(t.TempDir(), "data"), "-http",
		strings.TrimPrefix(d.HTTP, "http://"), "-mqtt-listen", "127.0.0.1:0")
	require.Equal(t, 1, status, "another installation's port is taken")
	require.Contains(t, out, "http.listen")
	out, status = crashtest.Run(t, "doctor", "-data", d.Data, "-http", strings.TrimPrefix(d.HTTP, "http://"),
		"-mqtt-listen", d.MQTT)
	require.Zero(t, status, out)
}

// The unit that is shipped lets the daemon talk to the house alone; a mail
// server elsewhere is named before a household waits for a mail in vain.
func TestWhomTheUnitCutsOffIsNamed(t *testing.T) {
	root, data := t.TempDir(), t.TempDir()
	file := filepath.Join(t.TempDir(), "dewcase.yaml")
	lay := func(from, to string, change ...string) {
		text, err := os.ReadFile(filepath.Join("../../../deploy", from))
		require.NoError(t, err)
		to = filepath.Join(root, to)
		require.NoError(t, os.MkdirAll(filepath.Dir(to), 0o755))
		require.NoError(t, os.WriteFile(to, []byte(strings.NewReplacer(change...).Replace(string(text))), 0o600))
	}
	look := func(host string) string {
		t.Helper()
		c := config.Default()
		c.Data, c.HTTP.Listen, c.MQTT.Listen = data, "127.0.0.1:0", "127.0.0.1:0"
		c.Alerts.SMTPHost, c.Alerts.SMTPPort, c.Alerts.From = host, 1, "roof@example.org"
		var out []string
		for _, f := range doctor.Examine(t.Context(), file, c, root) {
			if f.Where != "alerts.smtp" { // nobody listens there
				out = append(out, f.String())
			}
		}
		return strings.Join(out, "\n")
	}
	require.Empty(t, look("198.51.100.9"), "no unit, nothing forbidden")
	lay("dewcase.service", "usr/lib/systemd/system/dewcase.service")
	require.Empty(t, look("198.51.100.9"), "a unit that serves another configuration")
	lay("dewcase.service", "etc/systemd/system/dewcase.service", "/etc/dewcase/dewcase.yaml", file)
	require.Regexp(t, `alerts\.smtp\.host: the unit's IPAddressDeny cuts 198\.51\.100\.9 .* deploy/outside\.conf`,
		look("198.51.100.9"))
	require.Empty(t, look("192.168.1.9"))
	require.Empty(t, look("127.0.0.1"))
	lay("outside.conf", "etc/systemd/system/dewcase.service.d/outside.conf")
	require.Empty(t, look("198.51.100.9"), "the drop-in that is shipped lifts it")
}
