package credentials_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
)

func TestAPushTokenMaySendOnItsTopicsAndNoOthers(t *testing.T) {
	file := filepath.Join(t.TempDir(), "tokens")
	own, line1 := credentials.NewPushToken("larch-3/k7-loft", nil)
	gateway, line2 := credentials.NewPushToken("gateway", []string{"node/+/state", "dewcase/larch-3/#"})
	assert.NotContains(t, line1+line2, own, "the file holds digests")
	require.NoError(t, os.WriteFile(file, []byte("# tokens\n\n"+line1+"\n"+line2+"\n"), 0o600))
	tokens, err := credentials.ReadPushTokens(file)
	require.NoError(t, err)
	for name, c := range map[string]struct {
		token, topic string
		known, may   bool
	}{
		"its own topic":          {own, "dewcase/larch-3/k7-loft", true, true},
		"another logger's":       {own, "dewcase/larch-3/k7-void", true, false},
		"another house's":        {own, "dewcase/larch-4/k7-loft", true, false},
		"below its own":          {own, "dewcase/larch-3/k7-loft/x", true, false},
		"a listed topic":         {gateway, "node/k1/state", true, true},
		"all of a house":         {gateway, "dewcase/larch-3/k9", true, true},
		"not listed":             {gateway, "dewcase-forecast/larch-3", true, false},
		"a token nobody has":     {"x" + own, "dewcase/larch-3/k7-loft", false, false},
		"no token":               {"", "dewcase/larch-3/k7-loft", false, false},
		"the digest for a token": {line1[len("larch-3/k7-loft:"):], "dewcase/larch-3/k7-loft", false, false},
	} {
		t.Run(name, func(t *testing.T) {
			_, known, may := tokens.Holder(c.token, c.topic)
			assert.Equal(t, c.known, known)
			assert.Equal(t, c.may, may)
		})
	}
	_, known, _ := (*credentials.PushTokens)(nil).Holder(own, "dewcase/larch-3/k7-loft")
	assert.False(t, known, "without a file there is none")
}

func TestAFileOfPushTokensIsRefusedByLine(t *testing.T) {
	_, line := credentials.NewPushToken("a/b", nil)
	for name, c := range map[string]struct{ text, want string }{
		"no digest":      {"\nname", ":2: a line is NAME:DIGEST"},
		"a password":     {"a/b:secret", ":1: a line is NAME:DIGEST"},
		"no topic":       {"gateway" + line[3:], ":1: gateway is not CASE/LOGGER and may send on no topic"},
		"twice the same": {line + "\n" + line, ":2: this token stands above already"},
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "tokens")
			require.NoError(t, os.WriteFile(file, []byte(c.text), 0o600))
			_, err := credentials.ReadPushTokens(file)
			assert.ErrorContains(t, err, c.want)
		})
	}
}
