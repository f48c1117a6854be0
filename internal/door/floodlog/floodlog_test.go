package floodlog_test

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"

	"dewcase/internal/door/floodlog"
)

func TestAFloodIsAFewLinesAndACount(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		l := floodlog.Log{To: slog.New(slog.NewTextHandler(&out, nil)), Lines: 3, Within: time.Minute}
		for range 500 {
			l.Warn("a wrong password was tried", "from", "192.0.2.7")
		}
		assert.Equal(t, 3, strings.Count(out.String(), "\n"))
		time.Sleep(time.Minute)
		out.Reset()
		l.Warn("a wrong password was tried", "from", "192.0.2.8")
		assert.Contains(t, out.String(), "from=192.0.2.8 left_out_before=497")
		out.Reset()
		l.Warn("a wrong password was tried")
		assert.NotContains(t, out.String(), "left_out_before", "they are counted once")
	})
}
