package deploytest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/crashtest"
)

// section is the part of INSTALL.md under a heading, with its blocks of one
// language.
func section(t *testing.T, heading string) string {
	t.Helper()
	_, text, found := strings.Cut(read(t, "INSTALL.md"), "\n## "+heading)
	require.True(t, found, heading)
	text, _, _ = strings.Cut(text, "\n## ")
	return text
}

func blocks(t *testing.T, heading, language string, n int) []string {
	t.Helper()
	found := regexp.MustCompile("(?s)```"+language+"\n(.*?)```").FindAllStringSubmatch(section(t, heading), -1)
	require.Len(t, found, n, "blocks of %s under %s", language, heading)
	var out []string
	for _, f := range found {
		out = append(out, f[1])
	}
	return out
}

// walk follows INSTALL.md in namespaces of its own: this machine's files with a
// layer above them, no network but loopback, processes that end with it. What it
// saw comes back.
func walk(t *testing.T, files map[string]string, script string) map[string]string {
	t.Helper()
	for tool, pkg := range map[string]string{"unshare": "util-linux", "ip": "iproute2", "nginx": "nginx-light",
		"curl": "curl", "mosquitto": "mosquitto", "openssl": "openssl"} {
		needs(t, tool, pkg)
	}
	dir := t.TempDir()
	put := func(name, text string, mode os.FileMode) {
		t.Helper()
		path := filepath.Join(dir, "put", name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), mode))
	}
	for _, tool := range []string{"testdata/systemctl", "testdata/walk.sh"} {
		text, err := os.ReadFile(tool)
		require.NoError(t, err)
		put(map[string]string{"testdata/systemctl": "usr/local/bin/systemctl", "testdata/walk.sh": "root/walk.sh"}[tool],
			string(text), 0o755)
	}
	put("usr/local/bin/apt-get", "#!/bin/sh\nshift\ndpkg -s \"$@\" >/dev/null\n", 0o755) // what it names is there
	put("usr/local/bin/mosquitto_passwd", "#!/bin/sh\n[ \"$1\" = -b ] || set -- -b \"$1\" \"$2\" "+
		"\"$([ \"$2\" = dewcase ] && echo d-secret || echo k-secret)\"\nexec /usr/bin/mosquitto_passwd \"$@\"\n", 0o755)
	put("root/house.yaml", strings.NewReplacer("house-1", "larkfield-9", "id: k7,", "id: k7-loft,").Replace(house), 0o644)
	put("root/blocks/nginx", blocks(t, "The password, and a proxy in front", "nginx", 1)[0], 0o644)
	for name, text := range files {
		put(name, text, 0o755)
	}
	put("root/run.sh", ". /root/walk.sh\n"+script, 0o755)
	over, top := filepath.Join(dir, "over"), filepath.Join(dir, "over", "root")
	require.NoError(t, os.Mkdir(over, 0o755))
	root, err := filepath.Abs("../../..")
	require.NoError(t, err)
	outer := fmt.Sprintf(`set -eu
mount -t tmpfs none %[1]s
mkdir %[1]s/up %[1]s/work %[2]s
mount -t overlay overlay -o lowerdir=/,upperdir=%[1]s/up,workdir=%[1]s/work %[2]s
mount -t proc proc %[2]s/proc
mount --rbind /dev %[2]s/dev
mount -t tmpfs none %[2]s/tmp
mount -t tmpfs none %[2]s/run
mkdir -p %[2]s/root/dewcase/bin
cp -r %[3]s/put/. %[2]s/
cp -r %[4]s/deploy %[2]s/root/dewcase/
cp %[5]s %[2]s/root/dewcase/bin/dewcase
chmod 755 %[2]s/root
exec chroot %[2]s /bin/bash /root/run.sh
`, over, top, dir, root, crashtest.Binary(t))
	cmd := exec.CommandContext(t.Context(), "unshare", "--mount", "--net", "--pid", "--fork", "--kill-child",
		"--mount-proc", "/bin/bash", "-c", outer)
	cmd.WaitDelay = 5 * time.Second
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	seen := map[string]string{}
	for _, m := range regexp.MustCompile(`(?m)^SEEN ([^:]+): (.*)$`).FindAllStringSubmatch(string(out), -1) {
		seen[m[1]] = m[2]
	}
	return seen
}

// entered is what everybody sees who goes through the proxy.
func entered(t *testing.T, seen map[string]string) {
	t.Helper()
	for what, want := range map[string]string{"a stranger asks": "401", "a stranger writes": "401", "a wrong code": "403",
		"the code": "303", "who set it": "200", "a stranger still": "401"} {
		require.Equal(t, want, seen[what], what)
	}
}

// publicURL sets the address that the document names.
func publicURL(t *testing.T) string {
	t.Helper()
	m := regexp.MustCompile("set `http\\.public_url: (https://[^`]+)`").FindStringSubmatch(section(t,
		"The password, and a proxy in front"))
	require.NotNil(t, m)
	return m[1]
}

// codeLine is the document's line that shows the code, of two.
func codeLine(t *testing.T, n int) string {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(blocks(t, "The password, and a proxy in front", "sh", 1)[0]), "\n")
	require.Len(t, lines, 2)
	return lines[n] + "\n"
}

func TestInstallAIsFollowedWordByWord(t *testing.T) {
	b := blocks(t, "A. One binary, its own broker", "sh", 4)
	seen := walk(t, map[string]string{"root/blocks/1": b[0], "root/blocks/2": b[1], "root/blocks/3": b[2],
		"root/blocks/4": b[3], "root/blocks/code": codeLine(t, 0)}, `
follow /root/blocks/1
until_ready
seen "a house" "$(code -X PUT --data-binary @/root/house.yaml http://127.0.0.1:8480/api/cases/larkfield-9/file)"
proxy
seen "a stranger before" "$(code "${through[@]}" https://roof.example.org/api/cases)"
follow /root/blocks/2
until_ready
say() { mosquitto_pub -h 127.0.0.1 -u larkfield-9/k7-loft -P "$1" -q 1 -t dewcase/larkfield-9/k7-loft \
	-m '{"temp_c":4.3,"rh_pct":92}'; }
if say 'wet battens'; then seen "a logger" in; fi
if say wrong; then seen "a wrong logger" in; else seen "a wrong logger" out; fi
seen "readings" "$(curl -sS http://127.0.0.1:8480/api/cases/larkfield-9/readings.csv | grep -c k7-loft)"
follow /root/blocks/3
until_ready
printf 'http:\n  public_url: `+publicURL(t)+`\n  trusted_proxies: [127.0.0.1]\n' >>/etc/dewcase/dewcase.yaml
systemctl restart dewcase
until_ready
enter "$(follow /root/blocks/code | tail -1)"
seen "the doctor" "$(follow /root/blocks/4 2>&1 | tail -1)"
`)
	require.Equal(t, "201", seen["a house"])
	require.Equal(t, "421", seen["a stranger before"], "not under a name that nobody allowed")
	require.Equal(t, "in", seen["a logger"])
	require.Equal(t, "out", seen["a wrong logger"])
	require.Equal(t, "1", seen["readings"])
	entered(t, seen)
	require.Contains(t, seen["the doctor"], "nothing is wrong")
}

func TestInstallBIsFollowedWordByWord(t *testing.T) {
	first, _, found := strings.Cut(blocks(t, "A. One binary, its own broker", "sh", 4)[0], " && systemctl enable")
	require.True(t, found, "the lines of A up to daemon-reload")
	try := regexp.MustCompile("Try it: `([^`]+)`").FindStringSubmatch(section(t, "B. Behind Mosquitto"))
	require.NotNil(t, try)
	seen := walk(t, map[string]string{"root/blocks/a": first + "\n",
		"root/blocks/b": blocks(t, "B. Behind Mosquitto", "sh", 1)[0],
		"root/edit":     blocks(t, "B. Behind Mosquitto", "ini", 1)[0], "root/blocks/code": codeLine(t, 0),
		"root/blocks/try": strings.Replace(try[1], "-P ...", "-P k-secret", 1) + "\n"}, `
follow /root/blocks/a
follow /root/blocks/b
until_ready
token=$(cat /etc/dewcase/secrets/admin-token)
admin=(-H "Authorization: Bearer $token")
seen "a house" "$(code "${admin[@]}" -X PUT --data-binary @/root/house.yaml \
	http://127.0.0.1:8480/api/cases/larkfield-9/file)"
(cd ~/dewcase-ca && follow /root/blocks/try)
for _ in $(seq 100); do
	n=$(curl -sS "${admin[@]}" http://127.0.0.1:8480/api/cases/larkfield-9/readings.csv | grep -c k7-loft || true)
	[ "$n" = 0 ] || break
	sleep 0.2
done
seen "readings" "$n"
proxy
sed -i 's|^  #public_url: [^ ]*|  public_url: `+publicURL(t)+`|' /etc/dewcase/dewcase.yaml
systemctl restart dewcase
until_ready
enter "$(follow /root/blocks/code | tail -1)"
seen "the administrator" "$(code "${through[@]}" "${admin[@]}" https://roof.example.org/api/cases)"
systemctl reload dewcase
for _ in $(seq 100); do grep -q 'read again' /var/log/dewcase.log && break; sleep 0.1; done
seen "the reload" "$(grep -o 'the configuration was read again' /var/log/dewcase.log)"
seen "the doctor" "$(dewcase doctor -config /etc/dewcase/dewcase.yaml -data /var/lib/dewcase 2>&1 | tail -1)"
`)
	require.Equal(t, "201", seen["a house"])
	require.Equal(t, "1", seen["readings"])
	entered(t, seen)
	require.Equal(t, "200", seen["the administrator"])
	require.NotEmpty(t, seen["the reload"])
	require.Contains(t, seen["the doctor"], "nothing is wrong")
}

// composed makes what compose.yaml says into shell: each service in a mount
// namespace, with what it mounts and its secrets bound into place.
func composed(t *testing.T) string {
	t.Helper()
	var compose struct {
		Services map[string]struct {
			Volumes []string
			Secrets []string
		}
		Secrets map[string]struct{ File string }
	}
	require.NoError(t, yaml.Unmarshal([]byte(read(t, "compose.yaml")), &compose))
	cmd := regexp.MustCompile(`(?m)^CMD \[(.*)\]`).FindStringSubmatch(read(t, "Containerfile"))
	require.NotNil(t, cmd)
	run := map[string]string{
		"dewcase": "setpriv --reuid 65532 --regid 65532 --clear-groups /root/dewcase/bin/dewcase " +
			strings.ReplaceAll(cmd[1], ",", " "),
		"mosquitto": "setpriv --reuid 1883 --regid 1883 --clear-groups mosquitto -c /mosquitto/config/mosquitto.conf",
	}
	up := "#!/bin/bash\nset -euo pipefail\nshift # compose\ncase $1 in\nup)\n" +
		"echo 127.0.0.1 dewcase mosquitto >>/etc/hosts\ninstall -d -o 65532 -g 65532 /volumes/data\n"
	for name, program := range run {
		s := compose.Services[name]
		up += "cat >/root/up-" + name + " <<'END'\nset -eu\n"
		mount := func(from, to string) {
			up += fmt.Sprintf("mkdir -p \"$(dirname %[2]s)\"; if [ -d %[1]s ]; then mkdir -p %[2]s; else touch %[2]s; fi; "+
				"mount --bind %[1]s %[2]s\n", from, to)
		}
		for _, v := range s.Volumes {
			part := strings.Split(v, ":")
			from := "/root/dewcase/deploy/" + strings.TrimPrefix(part[0], "./")
			if !strings.HasPrefix(part[0], ".") {
				from = "/volumes/" + part[0]
			}
			mount(from, part[1])
		}
		for _, secret := range s.Secrets {
			mount("/root/dewcase/deploy/"+strings.TrimPrefix(compose.Secrets[secret].File, "./"), "/run/secrets/"+secret)
		}
		up += "exec " + program + "\nEND\nunshare --mount bash /root/up-" + name + " </dev/null >>/var/log/" + name +
			".log 2>&1 &\n"
	}
	return up + ";;\ncp) cp \"/volumes/${2#dewcase:/}\" \"$3\" ;;\n*) exit 1 ;;\nesac\n"
}

func TestInstallCIsFollowedWordByWord(t *testing.T) {
	seen := walk(t, map[string]string{"root/blocks/c": blocks(t, "C. In containers", "sh", 1)[0],
		"usr/local/bin/docker": composed(t), "root/blocks/code": codeLine(t, 1)}, `
sed -i 's|^http:|http:\n  public_url: `+publicURL(t)+`|' deploy/compose/dewcase.yaml
proxy
follow /root/blocks/c
until_ready || { cat /var/log/dewcase.log /var/log/mosquitto.log; exit 1; }
admin=(-H "Authorization: Bearer $(cat compose/secrets/admin-token)")
seen "a house" "$(code "${admin[@]}" -X PUT --data-binary @/root/house.yaml \
	http://127.0.0.1:8480/api/cases/larkfield-9/file)"
mosquitto_pub -h broker.home -p 8883 --cafile compose/certs/ca.pem -u larkfield-9/k7-loft -P k-secret -q 1 \
	-t dewcase/larkfield-9/k7-loft -m '{"temp_c":4.3,"rh_pct":92}'
for _ in $(seq 100); do
	n=$(curl -sS "${admin[@]}" http://127.0.0.1:8480/api/cases/larkfield-9/readings.csv | grep -c k7-loft || true)
	[ "$n" = 0 ] || break
	sleep 0.2
done
seen "readings" "$n"
enter "$(follow /root/blocks/code | tail -1)"
seen "the administrator" "$(code "${through[@]}" "${admin[@]}" https://roof.example.org/api/cases)"
`)
	require.Equal(t, "201", seen["a house"])
	require.Equal(t, "1", seen["readings"])
	entered(t, seen)
	require.Equal(t, "200", seen["the administrator"])
}
