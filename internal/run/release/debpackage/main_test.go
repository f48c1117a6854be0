package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/run/config"
	"dewcase/internal/testkit/crashtest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	crashtest.RemoveBinary()
	os.Exit(code)
}

func say(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	require.NoError(t, err, "%s %v: %s", name, args, out)
	return string(out)
}

// Debian's own tool reads the package, and what it lays down works.
func TestDebianTakesThePackage(t *testing.T) {
	binary, to := crashtest.Binary(t), t.TempDir()
	notices := filepath.Join(t.TempDir(), "notices")
	require.NoError(t, os.WriteFile(notices, []byte("licences\n"), 0o600))
	name, err := Build("../../../..", binary, notices, "amd64", "v1.2.3-4-gabcdef", to)
	require.NoError(t, err)
	require.Equal(t, filepath.Join(to, "dewcase_1.2.3+4+gabcdef_amd64.deb"), name)
	info := say(t, "dpkg-deb", "--info", name)
	for _, want := range []string{"Package: dewcase", "Version: 1.2.3+4+gabcdef", "Architecture: amd64", "postinst",
		"conffiles", "Description: dew and roof moisture watch"} {
		require.Contains(t, info, want)
	}
	list := say(t, "dpkg-deb", "--contents", name)
	for _, want := range []string{"-rwxr-xr-x root/root", "./usr/bin/dewcase", "./usr/lib/systemd/system/dewcase.service",
		"./etc/dewcase/dewcase.yaml", "./usr/share/doc/dewcase/README.md", "./usr/share/doc/dewcase/copyright",
		"./usr/share/doc/dewcase/examples/grafana-roof.json", "./usr/share/doc/dewcase/INSTALL.md",
		"./usr/share/doc/dewcase/examples/dewcase.yaml", "./usr/share/doc/dewcase/examples/mosquitto-dewcase.conf",
		"./usr/share/doc/dewcase/examples/certificates.sh"} {
		require.Contains(t, list, want)
	}
	require.NotContains(t, list, "x-")

	root := filepath.Join(t.TempDir(), "root")
	say(t, "dpkg-deb", "--extract", name, root)
	require.True(t, strings.HasPrefix(say(t, filepath.Join(root, "usr/bin/dewcase"), "version"), "dewcase "))
	_, faults, err := config.Load(filepath.Join(root, "etc/dewcase/dewcase.yaml"))
	require.NoError(t, err)
	require.Empty(t, faults)
	unit, err := os.ReadFile(filepath.Join(root, "usr/lib/systemd/system/dewcase.service"))
	require.NoError(t, err)
	require.Contains(t, string(unit), "ExecStart=/usr/bin/dewcase serve -config /etc/dewcase/dewcase.yaml")

	control := filepath.Join(t.TempDir(), "control")
	say(t, "dpkg-deb", "--control", name, control)
	sums := exec.Command("md5sum", "--check", "--strict", filepath.Join(control, "md5sums"))
	sums.Dir = root
	out, err := sums.CombinedOutput()
	require.NoError(t, err, string(out))
	for _, script := range []string{"postinst", "prerm", "postrm"} {
		say(t, "sh", "-n", filepath.Join(control, script))
	}
	again, err := Build("../../../..", binary, notices, "amd64", "v1.2.3-4-gabcdef", t.TempDir())
	require.NoError(t, err)
	one, err := os.ReadFile(name)
	require.NoError(t, err)
	two, err := os.ReadFile(again)
	require.NoError(t, err)
	require.True(t, string(one) == string(two), "the same inputs, the same bytes")

	// Unpacked by dpkg itself into a system of its own.
	sys := filepath.Join(t.TempDir(), "sys")
	require.NoError(t, os.MkdirAll(filepath.Join(sys, "var/lib/dpkg/updates"), 0o755))
	require.NoError(t, os.MkdirAll(filepath.Join(sys, "var/lib/dpkg/info"), 0o755))
	for _, f := range []string{"status", "available"} {
		require.NoError(t, os.WriteFile(filepath.Join(sys, "var/lib/dpkg", f), nil, 0o644))
	}
	say(t, "dpkg", "--root="+sys, "--force-not-root", "--force-depends", "--force-architecture", "--unpack", name)
	require.Contains(t, say(t, "dpkg", "--root="+sys, "--status", "dewcase"), "Status: install ok unpacked")
	require.Contains(t, say(t, "dpkg", "--root="+sys, "--listfiles", "dewcase"), "/usr/bin/dewcase")
}

func TestVersionsOfAnyBuildAreTaken(t *testing.T) {
	for version, want := range map[string]string{"v1.0.0": "1.0.0", "0efc1ab": "0efc1ab", "fc1ab22": "0.0.0+fc1ab22",
		"dev": "0.0.0+dev", "abc-dirty": "0.0.0+abc+dirty"} {
		name, err := Build("../../../..", "README.md", "README.md", "arm64", version, t.TempDir())
		require.NoError(t, err)
		require.Equal(t, "dewcase_"+want+"_arm64.deb", filepath.Base(name))
	}
	_, err := Build("../../../..", "README.md", "README.md", "arm64", "1.0 beta", t.TempDir())
	require.Error(t, err)
}
