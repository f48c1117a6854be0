// Package deploytest tries what deploy/ tells people to install: the unit, the
// broker's configuration, the certificates, and the rehearsal of a restore.
package deploytest

import (
	"bytes"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"dewcase/internal/run/config"
	"dewcase/internal/testkit/crashtest"
	"dewcase/internal/testkit/mosquittotest"
	"dewcase/internal/testkit/patience"
)

const deploy = "../../../deploy"

func TestMain(m *testing.M) { crashtest.Main(m) }

func read(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(deploy, name))
	require.NoError(t, err)
	return string(b)
}

// needs fails, rather than skips, where a tool is missing.
func needs(t *testing.T, tool, pkg string) {
	t.Helper()
	_, err := exec.LookPath(tool)
	require.NoError(t, err, "%s is needed for this test: apt-get install %s", tool, pkg)
}

func TestTheUnitIsHardened(t *testing.T) {
	needs(t, "systemd-analyze", "systemd")
	out, err := exec.Command("systemd-analyze", "security", "--offline=true",
		filepath.Join(deploy, "dewcase.service")).CombinedOutput()
	require.NoError(t, err, string(out))
	m := regexp.MustCompile(`Overall exposure level for dewcase\.service: ([0-9.]+)`).FindSubmatch(out)
	require.NotNil(t, m, string(out))
	exposure, err := strconv.ParseFloat(string(m[1]), 64)
	require.NoError(t, err)
	require.LessOrEqual(t, exposure, 1.5)
}

func TestTheUnitIsValid(t *testing.T) {
	needs(t, "systemd-analyze", "systemd")
	unit := filepath.Join(t.TempDir(), "dewcase.service")
	require.NoError(t, os.WriteFile(unit, []byte(
		strings.Replace(read(t, "dewcase.service"), "/usr/bin/dewcase", "/bin/true", 1)), 0o600))
	out, err := exec.Command("systemd-analyze", "verify", "--man=no", unit).CombinedOutput()
	require.NoError(t, err, string(out))
	for line := range strings.Lines(string(out)) {
		require.NotContains(t, line, "dewcase.service", "a complaint about our unit")
	}
}

// harmless are system calls that the unit forbids and the daemon does without.
var harmless = map[string]string{
	"prlimit64": "the Go runtime asks for more descriptors at start; LimitNOFILE is what holds",
	"setrlimit": "the same, older kernels",
	"fchown":    "SQLite gives its files to the owner of the database, as root only; the unit's user is not",
}

func TestTheUnitLetsTheDaemonMakeItsSystemCalls(t *testing.T) {
	needs(t, "systemd-analyze", "systemd")
	needs(t, "strace", "strace")
	trace := filepath.Join(t.TempDir(), "trace")
	data := t.TempDir()
	cmd := exec.Command("strace", "-D", "-f", "-qq", "-o", trace, crashtest.Binary(t), "serve", "-data", data, "-http",
		"127.0.0.1:0", "-mqtt-listen", "127.0.0.1:0")
	said, err := os.Create(filepath.Join(data, "said"))
	require.NoError(t, err)
	defer said.Close()
	cmd.Stderr = said
	require.NoError(t, cmd.Start()) // with -D the process is the daemon, strace looks on from beside it
	defer func() { _ = cmd.Process.Kill() }()
	patience.Until(t, "it is ready", func() bool {
		log, err := os.ReadFile(said.Name())
		return err == nil && bytes.Contains(log, []byte("msg=ready"))
	})
	time.Sleep(500 * time.Millisecond) // a little of its daily life
	require.NoError(t, cmd.Process.Signal(os.Interrupt))
	require.NoError(t, cmd.Wait())
	allowed := allowedCalls(t)
	var text []byte
	patience.Until(t, "the trace is complete", func() bool {
		var err error
		text, err = os.ReadFile(trace)
		return err == nil && bytes.Contains(text, []byte("exit_group(0"))
	})
	seen := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^\d+ +(?:<\.\.\. )?([a-z0-9_]+)(?:\(| resumed)`).FindAllStringSubmatch(
		string(text), -1) {
		seen[m[1]] = true
	}
	require.Greater(t, len(seen), 20, "the trace was read")
	for call := range seen {
		if harmless[call] == "" {
			require.Contains(t, allowed, call, "the unit would forbid a system call that the daemon makes")
		}
	}
}

// allowedCalls works the unit's SystemCallFilter out.
func allowedCalls(t *testing.T) map[string]bool {
	t.Helper()
	sets := map[string][]string{}
	out, err := exec.Command("systemd-analyze", "syscall-filter", "--no-pager").Output()
	require.NoError(t, err)
	var name string
	for line := range strings.Lines(string(out)) {
		word := strings.TrimSpace(line)
		switch {
		case strings.HasPrefix(line, "@"):
			name = word
		case word != "" && !strings.HasPrefix(word, "#"):
			sets[name] = append(sets[name], word)
		}
	}
	var expand func(string) []string
	expand = func(name string) (calls []string) {
		for _, w := range sets[name] {
			if strings.HasPrefix(w, "@") {
				calls = append(calls, expand(w)...)
			} else {
				calls = append(calls, w)
			}
		}
		return calls
	}
	allowed := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^SystemCallFilter=(~?)(.*)$`).FindAllStringSubmatch(
		read(t, "dewcase.service"), -1) {
		for _, set := range strings.Fields(m[2]) {
			for _, call := range expand(set) {
				if m[1] == "~" {
					delete(allowed, call)
				} else {
					allowed[call] = true
				}
			}
		}
	}
	require.True(t, allowed["read"])
	return allowed
}

func TestTheConfigurationsLoad(t *testing.T) {
	for _, name := range []string{"dewcase.yaml", "compose/dewcase.yaml"} {
		c, faults := config.Parse(name, []byte(read(t, name)))
		require.Empty(t, faults, name)
		require.Equal(t, "dewcase", c.MQTT.ClientID)
		require.True(t, strings.HasPrefix(c.MQTT.Broker, "mqtts://"))
	}
}

func TestTheContainersAreNamedByVersionAndRunWithoutPrivileges(t *testing.T) {
	var compose struct {
		Services map[string]struct {
			Image       string
			SecurityOpt []string `yaml:"security_opt"`
			Volumes     []string
			Secrets     []string
		}
		Volumes map[string]any
		Secrets map[string]struct{ File string }
	}
	require.NoError(t, yaml.Unmarshal([]byte(read(t, "compose.yaml")), &compose))
	require.Len(t, compose.Services, 3)
	for name, s := range compose.Services {
		require.NotContains(t, s.Image, ":latest")
		require.True(t, name == "dewcase" || strings.Contains(s.Image, ":"), name)
		require.Contains(t, s.SecurityOpt, "no-new-privileges:true", name)
		for _, v := range s.Volumes {
			from, _, _ := strings.Cut(v, ":")
			if !strings.HasPrefix(from, "./") {
				require.Contains(t, compose.Volumes, from)
				// made at installation
			} else if !strings.HasPrefix(from, "./compose/certs") && from != "./compose/passwords" && from != "./compose/queue" {
				_, err := os.Stat(filepath.Join(deploy, from))
				require.NoError(t, err)
			}
		}
		for _, secret := range s.Secrets {
			require.Contains(t, compose.Secrets, secret)
		}
	}
	container := read(t, "Containerfile")
	last := container[strings.LastIndex(container, "\nFROM "):]
	require.Contains(t, last, "FROM scratch")
	require.Regexp(t, `(?m)^USER [1-9]\d+:[1-9]\d+$`, last)
}

// What is made at installation and mounted must be made by the procedure, and
// no secret may reach the builder of the image.
func TestWhatTheContainersMountIsMadeByTheProcedureAndKeptFromTheBuilder(t *testing.T) {
	_, procedure, found := strings.Cut(read(t, "INSTALL.md"), "## C. In containers")
	require.True(t, found)
	procedure, _, _ = strings.Cut(procedure, "\n## ")
	kept := strings.Split(read(t, "Containerfile.dockerignore"), "\n")
	for _, made := range []string{"compose/secrets", "compose/passwords", "compose/queue", "compose/certs"} {
		require.Contains(t, procedure, made)
		require.Contains(t, read(t, "compose.yaml"), "./"+made)
		require.Contains(t, kept, "deploy/"+made)
	}
	require.Regexp(t, `chown 1883:1883 .*compose/queue`, procedure,
		"the queue is written by the user of Mosquitto's image")
}

// Debian's own mosquitto.conf says where the queue lies, and Mosquitto takes
// that twice for an error: INSTALL.md's command leaves it out.
func TestMosquittoAsOnDebianStartsWithWhatTheProcedureLaysDown(t *testing.T) {
	sed := regexp.MustCompile(`(?m)^sed '([^']+)' deploy/mosquitto/dewcase\.conf > /etc/mosquitto/conf\.d/dewcase\.conf`).FindStringSubmatch(read(t, "INSTALL.md"))
	require.NotNil(t, sed)
	conf, err := exec.Command("sed", sed[1], filepath.Join(deploy, "mosquitto/dewcase.conf")).Output()
	require.NoError(t, err)
	b, _ := installed(t, "persistence true\npersistence_location /var/lib/mosquitto/\n"+string(conf))
	require.Error(t, send(t, b, filepath.Join(b.Dir, "ca.pem"), "house-1/k7", "wrong", "dewcase/house-1/k7", reading(0)))
	require.NoError(t, send(t, b, filepath.Join(b.Dir, "ca.pem"), "house-1/k7", "k", "dewcase/house-1/k7", reading(0)))
}

// install makes a broker of deploy/'s own files in the test's folder.
func install(t *testing.T) (b *mosquittotest.Broker, ca string) {
	t.Helper()
	return installed(t, read(t, "mosquitto/dewcase.conf"))
}

func installed(t *testing.T, conf string) (b *mosquittotest.Broker, ca string) {
	t.Helper()
	needs(t, "openssl", "openssl")
	conf = strings.NewReplacer("listener 8883", "listener {port} 127.0.0.1", "/etc/mosquitto/dewcase", "{dir}",
		"/var/lib/mosquitto", "{dir}/queue").Replace(conf)
	require.NotRegexp(t, `(?m)^[^#\n]*/(etc|var)/`, conf)
	b = mosquittotest.New(t, conf)
	require.NoError(t, os.Mkdir(filepath.Join(b.Dir, "queue"), 0o700))
	out, err := exec.Command(filepath.Join(deploy, "certificates.sh"), b.Dir, "localhost", "127.0.0.1").CombinedOutput()
	require.NoError(t, err, string(out))
	b.Passwords(map[string]string{"dewcase": "d", "house-1/k7": "k", "house-1/k8": "k", "home": "h"})
	b.Write("acl", read(t, "mosquitto/acl"))
	b.Restart()
	return b, filepath.Join(b.Dir, "ca.pem")
}

// send publishes with Mosquitto's own client, as INSTALL.md shows.
func send(t *testing.T, b *mosquittotest.Broker, ca, user, password, topic, payload string, more ...string) error {
	t.Helper()
	args := append(more, "-h", "127.0.0.1", "-p", strconv.Itoa(b.Port), "--cafile", ca, "-q", "1", "-t", topic,
		"-m", payload)
	if user != "" {
		args = append(args, "-u", user, "-P", password)
	}
	out, err := exec.Command("mosquitto_pub", args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%w: %s", err, out)
	}
	return nil
}

const house = `case: house-1
property: {label: House One, timezone: Europe/London, altitude_m: 60}
positions:
  - {id: loft, place: loft_air}
loggers:
  - {id: k7, interval_s: 300, fitted: [{position: loft, from: 2026-01-01T00:00:00Z}]}
`

func reading(minute int) string {
	return fmt.Sprintf(`{"time":%q,"temp_c":%.2f,"rh_pct":80}`,
		time.Date(2026, 2, 1, 0, minute, 0, 0, time.UTC).Format(time.RFC3339), 4+float64(minute)/100)
}

// listen gives what comes on a topic first, by Mosquitto's own client.
func listen(t *testing.T, b *mosquittotest.Broker, ca, user, password, topic string) string {
	t.Helper()
	out, err := exec.Command("mosquitto_sub", "-h", "127.0.0.1", "-p", strconv.Itoa(b.Port), "--cafile", ca, "-u", user,
		"-P", password, "-t", topic, "-C", "1", "-W", "30").CombinedOutput()
	require.NoError(t, err, string(out))
	return string(out)
}

// What home automation reads and tells passes the access list that is installed.
func TestHomeAutomationReadsTheStateAndTellsAForecastBehindMosquittoAsInstalled(t *testing.T) {
	b, ca := install(t)
	d := crashtest.Serve(t, filepath.Join(t.TempDir(), "data"), "-broker", fmt.Sprintf("mqtts://127.0.0.1:%d", b.Port),
		"-config", b.Write("dewcase.yaml", fmt.Sprintf("mqtt: {username: dewcase, password_file: %s, ca_file: %s}\n",
			b.Write("mqtt-password", "d\n"), ca)))
	patience.Until(t, "ready", func() bool { return d.Status("/readyz") == 200 })
	d.Do(http.MethodPut, "/api/cases/house-1/file", strings.NewReader(house), 201)
	require.NoError(t, send(t, b, ca, "house-1/k7", "k", "dewcase/house-1/k7", reading(0)))
	state := func() string { return listen(t, b, ca, "home", "h", "dewcase-state/house-1") }
	require.Contains(t, state(), `"sentence":`)
	for user, password := range map[string]string{"home": "h", "house-1/k7": "k"} {
		require.NoError(t, send(t, b, ca, user, password, "dewcase-state/house-1", user+" says dry", "-r"))
	}
	require.NotContains(t, state(), "says dry", "the daemon alone says the state of a roof")
	require.NoError(t, send(t, b, ca, "dewcase", "d", "dewcase-state/house-1", "dewcase says dry", "-r"))
	require.Equal(t, "dewcase says dry\n", state())

	until := time.Now().Add(12 * time.Hour).UTC().Format(time.RFC3339)
	require.NoError(t, send(t, b, ca, "house-1/k7", "k", "dewcase-forecast/house-1",
		fmt.Sprintf(`{"min_c":-8,"until":%q}`, until)), "Mosquitto drops a logger's without a word")
	require.NoError(t, send(t, b, ca, "home", "h", "dewcase-forecast/house-1",
		fmt.Sprintf(`{"min_c":-2,"until":%q}`, until)))
	patience.Until(t, "the forecast is kept", func() bool { return d.Status("/api/cases/house-1/forecast") == 200 })
	require.Contains(t, string(d.Do(http.MethodGet, "/api/cases/house-1/forecast", nil, 200)), `"min_c":-2`)
	require.Zero(t, d.Stop(), d.Log())
}

func TestMosquittoAsInstalledHoldsReadingsAndKeepsLoggersToTheirTopics(t *testing.T) {
	b, ca := install(t)
	dir := t.TempDir()
	conf := filepath.Join(dir, "dewcase.yaml")
	text := strings.NewReplacer("mqtts://localhost:8883", fmt.Sprintf("mqtts://127.0.0.1:%d", b.Port),
		"/etc/dewcase/ca.pem", ca,
		"/run/credentials/dewcase.service/mqtt-password", b.Write("mqtt-password", "d\n"),
		"/run/credentials/dewcase.service/admin-token", b.Write("admin-token", "0123456789abcdef0123456789abcdef\n")).Replace(
		read(t, "dewcase.yaml"))
	require.NoError(t, os.WriteFile(conf, []byte(text), 0o600))
	data := filepath.Join(dir, "data")
	serve := func() *crashtest.Daemon {
		return crashtest.Serve(t, data, "-config", conf, "-broker", fmt.Sprintf("mqtts://127.0.0.1:%d", b.Port))
	}

	d := serve()
	d.Token = "0123456789abcdef0123456789abcdef"
	patience.Until(t, "ready", func() bool { return d.Status("/readyz") == 200 })
	d.Do(http.MethodPut, "/api/cases/house-1/file", strings.NewReader(house), 201)
	require.NoError(t, send(t, b, ca, "house-1/k7", "k", "dewcase/house-1/k7", reading(0)))
	patience.Until(t, "stored", func() bool { return d.Metric("dewcase_readings_stored_total") == 1 })
	require.Zero(t, d.Stop(), d.Log())

	// While the daemon is down, and over a restart of the broker.
	for minute := 1; minute <= 20; minute++ {
		require.NoError(t, send(t, b, ca, "house-1/k7", "k", "dewcase/house-1/k7", reading(minute)))
	}
	b.Restart()
	// What another logger sends in its name, somebody without a name, and somebody with a wrong password.
	require.NoError(t, send(t, b, ca, "house-1/k8", "k", "dewcase/house-1/k7", reading(50)),
		"Mosquitto drops it without a word")
	require.Error(t, send(t, b, ca, "", "", "dewcase/house-1/k7", reading(51)))
	require.Error(t, send(t, b, ca, "house-1/k7", "wrong", "dewcase/house-1/k7", reading(52)))

	d = serve()
	d.Token = "0123456789abcdef0123456789abcdef"
	patience.Until(t, "all that waited is stored", func() bool { return d.Metric("dewcase_readings_stored_total") >= 20 })
	require.NoError(t, send(t, b, ca, "house-1/k7", "k", "dewcase/house-1/k7", reading(59)))
	patience.Until(t, "and what comes after", func() bool { return d.Metric("dewcase_readings_stored_total") >= 21 })
	csv := string(d.Do(http.MethodGet, "/api/cases/house-1/readings.csv", nil, 200))
	require.Equal(t, 1+22, strings.Count(csv, "\n"), csv)
	require.NotContains(t, csv, "T00:50:00Z")
	require.Zero(t, d.Stop(), d.Log())
	require.NotContains(t, d.Log(), "0123456789abcdef", "no secret in the log")
}

func TestTheQueueIsFarLargerThanTheDefaultThatDropsReadings(t *testing.T) {
	conf := read(t, "mosquitto/dewcase.conf")
	for key, least := range map[string]int{"max_queued_messages": 100000, "max_inflight_messages": 200,
		"max_queued_bytes": 64 << 20} {
		m := regexp.MustCompile(`(?m)^` + key + ` (\d+)$`).FindStringSubmatch(conf)
		require.NotNil(t, m, key)
		n, err := strconv.Atoi(m[1])
		require.NoError(t, err)
		require.GreaterOrEqual(t, n, least, key)
	}
}

func TestARestoredBackupAnswersTheSameToTheLastDigit(t *testing.T) {
	dir := t.TempDir()
	data, backup, restored := filepath.Join(dir, "data"), filepath.Join(dir, "b"), filepath.Join(dir, "restored")
	d := crashtest.Serve(t, data)
	d.Do(http.MethodPut, "/api/cases/house-1/file", strings.NewReader(house), 201)
	var csv strings.Builder
	csv.WriteString("time,logger,temp_c,rh_pct\n")
	for i := range 2000 {
		fmt.Fprintf(&csv, "%s,k7,%.2f,%d\n", time.Date(2026, 1, 10, 0, 5*i, 0, 0, time.UTC).Format(time.RFC3339),
			float64(i%700)/50-3, 60+i%41)
	}
	d.Do(http.MethodPost, "/api/cases/house-1/readings", strings.NewReader(csv.String()), 200)
	out, status := crashtest.Run(t, "backup", "-data", data, "-to", backup) // while it serves
	require.Zero(t, status, out)
	pages := []string{"/api/cases/house-1/readings.csv", "/api/cases/house-1/assessment", "/api/cases/house-1/file"}
	want := map[string]string{}
	for _, p := range pages {
		want[p] = string(d.Do(http.MethodGet, p, nil, 200))
	}
	require.Zero(t, d.Stop(), d.Log())

	out, status = crashtest.Run(t, "restore", "-from", backup, "-data", restored)
	require.Zero(t, status, out)
	out, status = crashtest.Run(t, "check", "-data", restored)
	require.Zero(t, status, out)
	d = crashtest.Serve(t, restored)
	for _, p := range pages {
		require.Equal(t, want[p], string(d.Do(http.MethodGet, p, nil, 200)), p)
	}
}

func TestAlertRulesSpeakOfMetricsThatExist(t *testing.T) {
	var rules struct {
		Groups []struct {
			Rules []struct{ Alert, Expr string }
		}
	}
	require.NoError(t, yaml.Unmarshal([]byte(read(t, "alerts.yml")), &rules))
	b := mosquittotest.Start(t, mosquittotest.Quick)
	metrics := string(crashtest.Serve(t, t.TempDir()).Do(http.MethodGet, "/metrics", nil, 200)) +
		string(crashtest.Serve(t, t.TempDir(), "-broker", "mqtt://"+b.Addr()).Do(http.MethodGet, "/metrics", nil, 200))
	var spoken []string
	for _, r := range rules.Groups[0].Rules {
		names := regexp.MustCompile(`dewcase_[a-z0-9_]+`).FindAllString(r.Expr, -1)
		require.True(t, len(names) > 0 || r.Alert == "DewcaseDown", r.Alert)
		spoken = append(spoken, names...)
	}
	slices.Sort(spoken)
	for _, name := range slices.Compact(spoken) {
		require.Regexp(t, `(?m)^# TYPE `+name+` `, metrics)
	}
}
