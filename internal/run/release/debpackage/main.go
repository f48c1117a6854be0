// Command debpackage makes a Debian package of a built binary: an ar archive of
// debian-binary, control.tar.gz and data.tar.gz (deb(5)). The same inputs make
// the same bytes.
package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/md5"
	"flag"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

func main() {
	arch := flag.String("arch", "amd64", "Debian's name of the architecture")
	version := flag.String("version", "0.0.0", "version; a leading v is left off")
	binary := flag.String("binary", "bin/dewcase", "the built program")
	root := flag.String("root", ".", "the repository")
	notices := flag.String("notices", "bin/notices.txt",
		"texts of the licences of what is linked, made by internal/run/release/sbom")
	to := flag.String("to", "dist", "folder for the package")
	flag.Parse()
	name, err := Build(*root, *binary, *notices, *arch, *version, *to)
	if err != nil {
		fmt.Fprintln(os.Stderr, "debpackage: "+err.Error())
		os.Exit(1)
	}
	fmt.Println(name)
}

// file is one file of the package.
type file struct {
	path string // in the package
	from string // in the repository, "" for text
	text string
	mode int64
	conf bool // kept at an upgrade where somebody changed it
}

// content lists what is installed. The configuration is a small one that works
// at once; the one for a broker of one's own is among the documents.
func content(binary, notices string) []file {
	docs := []file{
		{path: "usr/bin/dewcase", from: binary, mode: 0o755},
		{path: "usr/lib/systemd/system/dewcase.service", from: "deploy/dewcase.service", mode: 0o644},
		{path: "etc/dewcase/dewcase.yaml", text: "# Every key with its default: " +
			"/usr/share/doc/dewcase/REFERENCE.md; behind Mosquitto:\n" +
			"# /usr/share/doc/dewcase/examples/dewcase.yaml\ndata: /var/lib/dewcase\n", mode: 0o644, conf: true},
		{path: "usr/share/doc/dewcase/copyright", from: notices, mode: 0o644},
		{path: "usr/share/doc/dewcase/README.md", from: "README.md", mode: 0o644},
		{path: "usr/share/doc/dewcase/REFERENCE.md", from: "deploy/REFERENCE.md", mode: 0o644},
	}
	docs = append(docs, file{path: "usr/share/doc/dewcase/INSTALL.md", from: "deploy/INSTALL.md", mode: 0o644})
	for _, name := range []string{"roof.json", "daemon.json"} {
		docs = append(docs, file{path: "usr/share/doc/dewcase/examples/grafana-" + name, from: "dashboards/grafana/" + name,
			mode: 0o644})
	}
	for _, name := range []string{"dewcase.yaml", "mosquitto/dewcase.conf", "mosquitto/acl", "alerts.yml"} {
		docs = append(docs, file{path: "usr/share/doc/dewcase/examples/" + path.Base(path.Dir("x/"+name)) + "-" +
			path.Base(name), from: "deploy/" + name, mode: 0o644})
	}
	docs = append(docs, file{path: "usr/share/doc/dewcase/examples/certificates.sh", from: "deploy/certificates.sh",
		mode: 0o755})
	for i := range docs {
		docs[i].path = strings.Replace(docs[i].path, "examples/x-", "examples/", 1)
	}
	return docs
}

// The maintainer scripts. The unit's user is made at start (DynamicUser); a fixed
// one of the same name is made here all the same, so that secret files can be
// given to it and the folder keeps its owner where systemd is old.
const (
	postinst = `#!/bin/sh
set -e
if [ "$1" = configure ]; then
	if ! getent passwd dewcase >/dev/null; then
		if command -v systemd-sysusers >/dev/null; then
			printf 'u dewcase - "dewcase daemon" /var/lib/dewcase\n' | systemd-sysusers -
		else
			useradd --system --user-group --no-create-home --home-dir /var/lib/dewcase --shell /usr/sbin/nologin dewcase
		fi
	fi
	chgrp dewcase /etc/dewcase
	chmod 750 /etc/dewcase
	if [ -d /run/systemd/system ]; then
		systemctl daemon-reload
		if [ -n "$2" ]; then
			systemctl try-restart dewcase.service
		else
			echo "dewcase: look at /etc/dewcase/dewcase.yaml, then: systemctl enable --now dewcase"
		fi
	fi
fi
`
	prerm = `#!/bin/sh
set -e
if [ "$1" = remove ] && [ -d /run/systemd/system ]; then
	systemctl disable --now dewcase.service
fi
`
	postrm = `#!/bin/sh
set -e
if [ -d /run/systemd/system ]; then
	systemctl daemon-reload
fi
# The readings in /var/lib/dewcase are evidence: they stay, also at a purge.
`
)

var debianVersion = regexp.MustCompile(`^[0-9][A-Za-z0-9.+~]*$`)

// Build writes the package and returns its name.
func Build(root, binary, notices, arch, version, to string) (string, error) {
	version = strings.ReplaceAll(strings.TrimPrefix(version, "v"), "-", "+")
	if !debianVersion.MatchString(version) {
		version = "0.0.0+" + version // a commit's name alone
	}
	if !debianVersion.MatchString(version) {
		return "", fmt.Errorf("%q is no version that Debian takes", version)
	}
	files := content(binary, notices)
	slices.SortFunc(files, func(a, b file) int { return strings.Compare(a.path, b.path) })
	var sums, conf strings.Builder
	var data []entry
	size := int64(0)
	for _, f := range files {
		body := []byte(f.text)
		if f.from != "" {
			from := f.from
			if !filepath.IsAbs(from) {
				from = filepath.Join(root, from)
			}
			var err error
			if body, err = os.ReadFile(from); err != nil {
				return "", fmt.Errorf("packing %s: %w", f.path, err)
			}
		}
		data = append(data, entry{f.path, f.mode, body})
		fmt.Fprintf(&sums, "%x  %s\n", md5.Sum(body), f.path) // the sum that deb-md5sums(5) asks for
		if f.conf {
			conf.WriteString("/" + f.path + "\n")
		}
		size += int64(len(body)+1023) / 1024
	}
	control := fmt.Sprintf("Package: dewcase\nVersion: %s\nArchitecture: %s\nMaintainer: dewcase "+
		"<dewcase@localhost>\nInstalled-Size: %d\nDepends: passwd\nRecommends: tzdata, ca-certificates\nSuggests: "+
		"mosquitto\nSection: science\nPriority: optional\n"+
		"Description: dew and roof moisture watch\n Collects temperature and humidity loggers of a roof over MQTT, "+
		"computes dew\n point and hours of surface condensation, says which cause the evidence\n supports, and shows "+
		"whether a repair worked.\n", version, arch, size)
	meta := []entry{{"conffiles", 0o644, []byte(conf.String())}, {"control", 0o644, []byte(control)},
		{"md5sums", 0o644, []byte(sums.String())},
		{"postinst", 0o755, []byte(postinst)}, {"postrm", 0o755, []byte(postrm)}, {"prerm", 0o755, []byte(prerm)}}
	controlTar, err := pack(meta)
	if err != nil {
		return "", err
	}
	dataTar, err := pack(data)
	if err != nil {
		return "", err
	}
	var out bytes.Buffer
	out.WriteString("!<arch>\n")
	for _, m := range []entry{{"debian-binary", 0o644, []byte("2.0\n")}, {"control.tar.gz", 0o644, controlTar},
		{"data.tar.gz", 0o644, dataTar}} {
		fmt.Fprintf(&out, "%-16s%-12d%-6d%-6d%-8o%-10d`\n", m.path, 0, 0, 0, 0o100000|m.mode, len(m.body))
		out.Write(m.body)
		if len(m.body)%2 == 1 {
			out.WriteByte('\n')
		}
	}
	if err := os.MkdirAll(to, 0o755); err != nil {
		return "", fmt.Errorf("making the folder for the package: %w", err)
	}
	name := filepath.Join(to, "dewcase_"+version+"_"+arch+".deb")
	if err := os.WriteFile(name, out.Bytes(), 0o644); err != nil {
		return "", fmt.Errorf("writing the package: %w", err)
	}
	return name, nil
}

type entry struct {
	path string
	mode int64
	body []byte
}

// pack makes a compressed tar with the folders above each file, all of root's and
// of one time.
func pack(entries []entry) ([]byte, error) {
	var out bytes.Buffer
	z, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err != nil {
		return nil, fmt.Errorf("compressing: %w", err)
	}
	w := tar.NewWriter(z)
	made := map[string]bool{}
	put := func(h *tar.Header, body []byte) error {
		h.ModTime, h.Uname, h.Gname, h.Format = time.Unix(0, 0), "root", "root", tar.FormatGNU
		if err := w.WriteHeader(h); err != nil {
			return fmt.Errorf("packing %s: %w", h.Name, err)
		}
		_, err := io.Copy(w, bytes.NewReader(body))
		return err
	}
	for _, e := range entries {
		var above []string
		for d := path.Dir(e.path); d != "."; d = path.Dir(d) {
			above = append(above, d)
		}
		above = append(above, ".")
		for _, d := range slices.Backward(above) {
			if made[d] {
				continue
			}
			made[d] = true
			name := "./"
			if d != "." {
				name += d + "/"
			}
			if err := put(&tar.Header{Typeflag: tar.TypeDir, Name: name, Mode: 0o755}, nil); err != nil {
				return nil, err
			}
		}
		if err := put(&tar.Header{Typeflag: tar.TypeReg, Name: "./" + e.path, Mode: e.mode, Size: int64(len(e.body))},
			e.body); err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, fmt.Errorf("packing: %w", err)
	}
	if err := z.Close(); err != nil {
		return nil, fmt.Errorf("compressing: %w", err)
	}
	return out.Bytes(), nil
}
