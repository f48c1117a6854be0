package doctor

import (
	"context"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"dewcase/internal/run/config"
)

// unit is what systemd's unit of the daemon, with the drop-ins beside it, hands
// over and forbids.
type unit struct {
	allow, deny []netip.Prefix
	credentials map[string]string // by name, where root keeps them
}

// handed is where a service finds what LoadCredential= gives it.
const handed = "/run/credentials/dewcase.service/"

// words that stand for networks in systemd.resource-control(5).
var networks = map[string][]string{"any": {"0.0.0.0/0", "::/0"}, "localhost": {"127.0.0.0/8", "::1/128"},
	"link-local": {"169.254.0.0/16", "fe80::/64"}, "multicast": {"224.0.0.0/4", "ff00::/8"}}

// readUnit reads the unit that serves a configuration; an empty one forbids
// nothing. Administrators' files come before the system's.
func readUnit(root, configFile string) unit {
	u := unit{credentials: map[string]string{}}
	var files []string
	for _, dir := range []string{"etc/systemd/system", "usr/lib/systemd/system", "lib/systemd/system"} {
		name := filepath.Join(root, dir, "dewcase.service")
		if _, err := os.Stat(name); err == nil && len(files) == 0 {
			files = append(files, name)
		}
	}
	for _, dir := range []string{"usr/lib/systemd/system", "etc/systemd/system"} {
		more, _ := filepath.Glob(filepath.Join(root, dir, "dewcase.service.d", "*.conf"))
		files = append(files, more...)
	}
	at, err := filepath.Abs(configFile)
	if err != nil || configFile == "" || len(files) == 0 {
		return u
	}
	serves := false
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			continue
		}
		for line := range strings.Lines(string(text)) {
			key, value, _ := strings.Cut(strings.TrimSpace(line), "=")
			switch key {
			case "ExecStart":
				serves = slices.Contains(strings.Fields(value), at)
			case "LoadCredential":
				name, from, _ := strings.Cut(value, ":")
				u.credentials[name] = from
			case "IPAddressAllow":
				u.allow = addresses(u.allow, value)
			case "IPAddressDeny":
				u.deny = addresses(u.deny, value)
			}
		}
	}
	if !serves {
		return unit{}
	}
	return u
}

// addresses adds what an assignment names; an empty one takes all back.
func addresses(to []netip.Prefix, value string) []netip.Prefix {
	if strings.TrimSpace(value) == "" {
		return nil
	}
	for _, word := range strings.Fields(value) {
		named, ok := networks[word]
		if !ok {
			named = []string{word}
		}
		for _, n := range named {
			if p, err := netip.ParsePrefix(n); err == nil {
				to = append(to, p)
			} else if ip, err := netip.ParseAddr(n); err == nil {
				to = append(to, netip.PrefixFrom(ip, ip.BitLen()))
			}
		}
	}
	return to
}

func (u unit) forbids(ip netip.Addr) bool {
	has := func(all []netip.Prefix) bool {
		return slices.ContainsFunc(all, func(p netip.Prefix) bool { return p.Contains(ip) })
	}
	return has(u.deny) && !has(u.allow)
}

// hand puts in place of what the unit hands over the files that it takes it
// from: outside the service they are all there is.
func (u unit) hand(c *config.Config) {
	for _, file := range []*string{&c.HTTP.PasswordFile, &c.HTTP.TokenFile, &c.HTTP.PushFile, &c.HTTP.CertFile,
		&c.HTTP.KeyFile, &c.MQTT.PasswordFile, &c.MQTT.UsersFile, &c.MQTT.CertFile, &c.MQTT.KeyFile, &c.MQTT.CAFile,
		&c.Store.Influx.TokenFile, &c.Alerts.SMTPPasswordFile, &c.Alerts.WebhookSecret} {
		if name, ok := strings.CutPrefix(*file, handed); ok && u.credentials[name] != "" {
			*file = u.credentials[name]
		}
	}
}

// reach looks whether the unit lets the daemon talk to whom the configuration
// names. Seen from here they may all answer: what it forbids it forbids the
// service alone.
func (v *visit) reach(ctx context.Context) {
	if len(v.unit.deny) == 0 {
		return
	}
	for _, s := range []struct{ key, server string }{{"alerts.smtp.host", "//" + v.Alerts.SMTPHost},
		{"mqtt.broker", v.MQTT.Broker}, {"influxdb.url", v.Store.Influx.URL}, {"alerts.webhook.url", v.Alerts.WebhookURL}} {
		u, err := url.Parse(s.server)
		if err != nil || u.Hostname() == "" {
			continue
		}
		found, err := net.DefaultResolver.LookupNetIP(ctx, "ip", u.Hostname())
		if err != nil {
			continue // told by whoever tries to reach it
		}
		for _, ip := range found {
			if ip = ip.Unmap(); v.unit.forbids(ip) {
				v.fault(s.key, fmt.Sprintf("the unit's IPAddressDeny cuts %s (%s) off from the daemon", u.Hostname(), ip),
					"install deploy/outside.conf as /etc/systemd/system/dewcase.service.d/outside.conf, then systemctl "+
						"daemon-reload and systemctl restart dewcase")
				break
			}
		}
	}
}
