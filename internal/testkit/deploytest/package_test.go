package deploytest

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dewcase/internal/run/config"
	"dewcase/internal/testkit/crashtest"
)

func say(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	require.NoError(t, err, "%s %v: %s", name, args, out)
	return strings.TrimSpace(string(out))
}

// packaged makes a package as `make package` does, of any file as the binary.
func packaged(t *testing.T, binary, version, arch string) string {
	t.Helper()
	notices := filepath.Join(t.TempDir(), "notices")
	require.NoError(t, os.WriteFile(notices, []byte("licences\n"), 0o600))
	return say(t, "../../../.ci/package", binary, notices, version, arch, t.TempDir())
}

// Debian's own tool reads the package, and what it lays down works.
func TestDebianTakesThePackage(t *testing.T) {
	binary := crashtest.Binary(t)
	name := packaged(t, binary, "v1.2.3-4-gabcdef", "amd64")
	require.Equal(t, "dewcase_1.2.3+4+gabcdef_amd64.deb", filepath.Base(name))
	info := say(t, "dpkg-deb", "--info", name)
	for _, want := range []string{"Package: dewcase", "Version: 1.2.3+4+gabcdef", "Architecture: amd64", "postinst",
		"conffiles", "Description: dew and roof moisture watch"} {
		require.Contains(t, info, want)
	}
	require.Regexp(t, `Installed-Size: [1-9]\d+`, info)
	list := say(t, "dpkg-deb", "--contents", name)
	for _, want := range []string{"-rwxr-xr-x root/root", "./usr/bin/dewcase", "./usr/lib/systemd/system/dewcase.service",
		"./etc/dewcase/dewcase.yaml", "./usr/share/doc/dewcase/README.md", "./usr/share/doc/dewcase/copyright"} {
		require.Contains(t, list, want)
	}

	root := filepath.Join(t.TempDir(), "root")
	say(t, "dpkg-deb", "--extract", name, root)
	require.Contains(t, say(t, filepath.Join(root, "usr/bin/dewcase"), "version"), "dewcase ")
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
	one, err := os.ReadFile(name)
	require.NoError(t, err)
	two, err := os.ReadFile(packaged(t, binary, "v1.2.3-4-gabcdef", "amd64"))
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
		require.Equal(t, "dewcase_"+want+"_arm64.deb", filepath.Base(packaged(t, "/bin/true", version, "arm64")))
	}
	require.Error(t, exec.Command("../../../.ci/package", "/bin/true", "/dev/null", "1.0 beta", "arm64",
		t.TempDir()).Run())
}

// Whoever has the package alone can follow the documents: each path and link in
// them leads somewhere from where they lie, each absolute one is laid down or made
// by the procedure.
func TestEveryPathOfTheDocumentsHoldsInThePackage(t *testing.T) {
	root := t.TempDir()
	say(t, "dpkg-deb", "--extract", packaged(t, "/bin/true", "1.0", "amd64"), root)
	docs := filepath.Join(root, "usr/share/doc/dewcase")
	there := func(path string) {
		t.Helper()
		_, err := os.Stat(filepath.Join(docs, path))
		require.NoError(t, err, path)
	}
	install, err := os.ReadFile(filepath.Join(docs, "deploy/INSTALL.md"))
	require.NoError(t, err)
	a, containers, found := strings.Cut(string(install), "## C. In containers")
	require.True(t, found)
	_, after, found := strings.Cut(containers, "\n## ")
	require.True(t, found)
	path := regexp.MustCompile(`(?:^|[\s(])(deploy/[A-Za-z0-9_./-]*[A-Za-z0-9_])`)
	for _, text := range []string{a, after} {
		for _, m := range path.FindAllStringSubmatch(text, -1) {
			there(m[1])
		}
	}
	require.Contains(t, containers, "needs the source")
	for _, doc := range []string{"README.md", "deploy/INSTALL.md", "deploy/REFERENCE.md"} {
		text, err := os.ReadFile(filepath.Join(docs, doc))
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`\]\(([^):#]+)\)`).FindAllStringSubmatch(string(text), -1) {
			there(filepath.Join(filepath.Dir(doc), m[1]))
		}
		require.NotContains(t, string(text), "go doc", "%s: whoever has no source can ask for none", doc)
	}
	for _, laid := range []string{"usr/lib/systemd/system/dewcase.service", "etc/dewcase/dewcase.yaml"} {
		text, err := os.ReadFile(filepath.Join(root, laid))
		require.NoError(t, err)
		named := regexp.MustCompile(`/usr/share/doc/dewcase/\S*[a-z]`).FindAllString(string(text), -1)
		require.NotEmpty(t, named, laid)
		for _, path := range named {
			_, err := os.Stat(filepath.Join(root, path))
			require.NoError(t, err, "%s speaks of %s", laid, path)
		}
	}
}
