// Package patience waits in tests for what must come true, long enough for a
// slow or busy machine; a wait that is fulfilled costs nothing.
package patience

import (
	"testing"
	"time"
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
