package credentials

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestAGuessIsCountedAgainstWhoeverHoldsTheAddress(t *testing.T) {
	for host, want := range map[string]string{
		"203.0.113.9":         "203.0.113.9",
		"::ffff:203.0.113.9":  "203.0.113.9",
		"2001:db8:1:2::9":     "2001:db8:1:2::/64",
		"2001:db8:1:2:ffff::": "2001:db8:1:2::/64",
		"2001:db8:1:3::9":     "2001:db8:1:3::/64",
		"fe80::1%eth0":        "fe80::/64",
		"::1":                 "::/64",
		"pipe":                "pipe",
		"":                    "",
	} {
		assert.Equal(t, want, Source(host), host)
	}
}
