// Package floodlog limits log lines that a stranger could provoke in floods.
// It writes a few per interval and counts the rest, so that nobody can fill
// the disk.
package floodlog

import (
	"log/slog"
	"sync"
	"time"
)

// Log writes at most Lines lines Within a time.
type Log struct {
	To     *slog.Logger
	Lines  int
	Within time.Duration

	mu               sync.Mutex
	since            time.Time
	written, leftOut int
}

// Warn writes a line, or counts it for the next one that is written.
func (l *Log) Warn(msg string, args ...any) {
	l.mu.Lock()
	if now := time.Now(); now.Sub(l.since) >= l.Within {
		l.since, l.written = now, 0
	}
	if l.written == l.Lines {
		l.leftOut++
		l.mu.Unlock()
		return
	}
	l.written++
	if l.leftOut > 0 {
		args = append(args, "left_out_before", l.leftOut)
		l.leftOut = 0
	}
	l.mu.Unlock()
	l.To.Warn(msg, args...)
}
