// Package patience waits in tests for what must come true, long enough for a
// slow or busy machine; a wait that is fulfilled costs nothing.
package patience

import (
	"fmt"
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// Long bounds a single wait.
const Long = 2 * time.Minute

// Until waits for something that must come true.
func Until(t testing.TB, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(Long); !is(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("never came true: %s", what)
		}
	}
}

// Main runs a room's tests and fails where a goroutine of theirs stays.
func Main(m *testing.M) {
	code := m.Run()
	err := goleak.Find()
	for range 20 { // each looks for a second or two
		if err == nil {
			break
		}
		err = goleak.Find()
	}
	if err != nil && code == 0 {
		fmt.Fprintln(os.Stderr, err)
		code = 1
	}
	os.Exit(code)
}
