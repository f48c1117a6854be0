package credentials_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
)

func TestASecretIsVerifiedByItsHashAlone(t *testing.T) {
	h, err := credentials.Hash("wet battens")
	require.NoError(t, err)
	assert.NotContains(t, h, "wet")
	good, err := credentials.Verify(h, "wet battens")
	require.NoError(t, err)
	assert.True(t, good)
	good, err = credentials.Verify(h, "dry battens")
	require.NoError(t, err)
	assert.False(t, good)
	other, err := credentials.Hash("wet battens")
	require.NoError(t, err)
	assert.NotEqual(t, h, other, "each hash has a salt of its own")
	_, err = credentials.Verify("plain text", "plain text")
	assert.ErrorIs(t, err, credentials.ErrHash)
}

func TestUsersFileNamesTheFaultyLine(t *testing.T) {
	h, err := credentials.Hash("s3cret")
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "users")
	require.NoError(t, os.WriteFile(file, []byte("# loggers\n\nk7-loft:"+h+"\n"), 0o600))
	u, err := credentials.ReadUsers(file)
	require.NoError(t, err)
	assert.True(t, u.Check("k7-loft", "s3cret"))
	assert.True(t, u.Check("k7-loft", "s3cret"), "again, from what was verified before")
	assert.False(t, u.Check("k7-loft", "other"))
	assert.False(t, u.Check("k8", "s3cret"))
	require.NoError(t, os.WriteFile(file, []byte("k7-loft:s3cret\n"), 0o600))
	_, err = credentials.ReadUsers(file)
	assert.ErrorContains(t, err, ":1:")
	assert.NotContains(t, err.Error(), "s3cret")
}

func TestALineSaysWhatAUserReadsAndWhatItPublishesTo(t *testing.T) {
	hash, err := credentials.Hash("s3cret")
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "users")
	for line, want := range map[string]credentials.Topics{
		"a/+,b":              {Read: []string{"a/+", "b"}, Write: []string{"a/+", "b"}},
		"read=a/+,b;write=c": {Read: []string{"a/+", "b"}, Write: []string{"c"}},
		"write=c;read=a":     {Read: []string{"a"}, Write: []string{"c"}},
		"read=a":             {Read: []string{"a"}}, "write=a": {Write: []string{"a"}},
	} {
		require.NoError(t, os.WriteFile(file, []byte("home:"+hash+":"+line+"\nk1:"+hash+"\n"), 0o600))
		u, err := credentials.ReadUsers(file)
		require.NoError(t, err, line)
		got, named := u.Topics("home")
		assert.True(t, named)
		assert.Equal(t, want, got, line)
		_, named = u.Topics("k1")
		assert.False(t, named)
	}
	for _, line := range []string{"read=a;writes=b", "read=a;read=b", "read=", "read=a;b", "write=a,b;"} {
		require.NoError(t, os.WriteFile(file, []byte("k1:"+hash+"\nhome:"+hash+":"+line+"\n"), 0o600))
		_, err := credentials.ReadUsers(file)
		assert.ErrorContains(t, err, ":2: user home: topics are topic,topic or read=topic,topic;write=topic", line)
	}
}

func TestAUserWhoStandsTwiceIsRefusedByLine(t *testing.T) {
	hash, err := credentials.Hash("s3cret")
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "users")
	require.NoError(t, os.WriteFile(file, []byte("k1:"+hash+"\nk2:"+hash+"\n# k1 again\nk1:"+hash+"\n"), 0o600))
	_, err = credentials.ReadUsers(file)
	assert.ErrorContains(t, err, ":4: user k1")
}

func TestSecretsAreTheSameOrNot(t *testing.T) {
	assert.True(t, credentials.Same("a", "a"))
	assert.False(t, credentials.Same("a", "ab"))
}
