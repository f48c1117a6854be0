package clicktest

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/door/credentials"
	"dewcase/internal/run/config"
	"dewcase/internal/testkit/browsertest"
	"dewcase/internal/testkit/running"
)

// shape is one form of message as loggers and bridges send it, and what it must
// become.
type shape struct {
	Name     string `json:"name"`
	Push     bool   `json:"push"` // sent by HTTP with a token that may do nothing else
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

var timeMark = regexp.MustCompile(`\{(rfc3339|s|ms|ns|local|utc)(-\d+)\}`)

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
		case "utc":
			return at.UTC().Format("2006-01-02+15:04:05")
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
	tokens := filepath.Join(t.TempDir(), "tokens")
	token, line := credentials.NewPushToken("gateway", []string{"#"})
	require.NoError(t, os.WriteFile(tokens, []byte(line+"\n"), 0o600))
	d := running.Start(t, func(c *config.Config) { c.HTTP.PushFile = tokens })
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
			if all[n].Push {
				answer, said := d.Ask("POST", "/api/push/"+m.Topic, body, "Authorization", "Bearer "+token)
				if answer.StatusCode != http.StatusOK && answer.StatusCode != http.StatusUnprocessableEntity {
					http.Error(w, said, answer.StatusCode)
				}
				continue
			}
			d.Publish(m.Topic, body, false)
		}
	}))
	defer publisher.Close()
	browsertest.Run(t, []string{"browser/inbox.test.js"}, "DEWCASE_PAGES="+d.HTTP, "DEWCASE_PUBLISH="+publisher.URL,
		"DEWCASE_SHAPES="+browsertest.Path(t, shapesFile))
}
