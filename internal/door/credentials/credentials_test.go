package credentials_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

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

// A kept hash carries its own cost, so that it can be raised later. The hashes are
// those of the reference implementation's tests (phc-winner-argon2, src/test.c,
// argon2id, version 19), of costs that this program never made.
func TestAHashIsVerifiedAtItsOwnCost(t *testing.T) {
	for _, hash := range []string{
		"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=65536,t=1,p=1$c29tZXNhbHQ$9qWtwbpyPd3vm1rB1GThgPzZ3/ydHL92zKL+15XZypg",
		"$argon2id$v=19$m=65536,t=4,p=1$c29tZXNhbHQ$kCXUjmjvc5XMqQedpMTsOv+zyJEf5PhtGiUghW9jFyw",
	} {
		good, err := credentials.Verify(hash, "password")
		require.NoError(t, err, hash)
		assert.True(t, good, hash)
		good, err = credentials.Verify(hash, "passwore")
		require.NoError(t, err, hash)
		assert.False(t, good, hash)
	}
}

// No line of a file may cost what a small board has not got, or next to nothing.
func TestACostThatIsNoneOrTooMuchIsRefusedBeforeItIsPaid(t *testing.T) {
	began := time.Now()
	for _, cost := range []string{"m=262145,t=2,p=1", "m=4294967295,t=2,p=1", "m=19456,t=17,p=1",
		"m=19456,t=4294967295,p=1", "m=19456,t=2,p=17", "m=19456,t=2,p=255", "m=19456,t=2,p=0",
		"m=19456,t=0,p=1", "m=8191,t=2,p=1", "m=0,t=2,p=1",
		"m=-1,t=2,p=1", "t=2,p=1"} {
		_, err := credentials.Verify("$argon2id$v=19$"+cost+
			"$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc", "password")
		assert.ErrorIs(t, err, credentials.ErrHash, cost)
	}
	for _, hash := range []string{"$argon2i$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=16$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc",
		"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$", "$argon2id$v=19$m=65536,t=2,p=1$$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHA",
		"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$" + strings.Repeat("CTFh", 100)} {
		_, err := credentials.Verify(hash, "password")
		assert.ErrorIs(t, err, credentials.ErrHash, hash)
	}
	assert.Less(t, time.Since(began), time.Minute, "the dearest would take years")
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
