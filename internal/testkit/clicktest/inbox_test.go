package clicktest

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/testkit/browsertest"
	"dewcase/internal/testkit/running"
)

// shape is one form of message as loggers and bridges send it, and what it must
// become.
type shape struct {
	Name     string `json:"name"`
	Messages []struct{ Topic, Payload, Base64 string }
}

const shapesFile = "testdata/shapes/shapes.json"

func shapes(t *testing.T) (out []shape) {
	t.Helper()
	text, err := os.ReadFile(browsertest.Path(t, shapesFile))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &out))
	return out
}

var timeMark = regexp.MustCompile(`\{(rfc3339|s|ms|ns|local)(-\d+)\}`)

// timed puts times into a payload: {s-60} is a minute before now.
func timed(text string, now time.Time) string {
	return timeMark.ReplaceAllStringFunc(text, func(mark string) string {
		m := timeMark.FindStringSubmatch(mark)
		seconds, _ := strconv.Atoi(m[2])
		at := now.Add(time.Duration(seconds) * time.Second)
		switch m[1] {
		case "rfc3339":
			return at.UTC().Format(time.RFC3339)
		case "s":
			return fmt.Sprint(at.Unix())
		case "ms":
			return fmt.Sprint(at.UnixMilli())
		case "ns":
			return fmt.Sprint(at.UnixNano())
		}
		zone, _ := time.LoadLocation("Europe/London")
		return at.In(zone).Format("2006-01-02 15:04:05")
	})
}

// TestShapesReachTheirPositionByClicksInABrowser runs
// dashboards/test/browser/inbox.test.js at the width of a phone: messages as
// loggers send them reach the right position with nothing typed, under a daemon
// that is never restarted.
func TestShapesReachTheirPositionByClicksInABrowser(t *testing.T) {
	d := running.Start(t, nil)
	all := shapes(t)
	// The browser asks for a shape's messages to be published.
	publisher := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		n, err := strconv.Atoi(r.URL.Query().Get("shape"))
		if err != nil || n < 0 || n >= len(all) {
			http.Error(w, "no such shape", http.StatusNotFound)
			return
		}
		for _, m := range all[n].Messages {
			body := timed(m.Payload, time.Now())
			if m.Base64 != "" {
				raw, _ := base64.StdEncoding.DecodeString(m.Base64)
				body = string(raw)
			}
			d.Publish(m.Topic, body, false)
		}
	}))
	defer publisher.Close()
	browsertest.Run(t, []string{"browser/inbox.test.js"}, "DEWCASE_PAGES="+d.HTTP, "DEWCASE_PUBLISH="+publisher.URL,
		"DEWCASE_SHAPES="+browsertest.Path(t, shapesFile))
}
