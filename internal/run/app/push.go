package app

import (
	"context"
	"net/http"
	"time"

	"dewcase/internal/door/credentials"
	"dewcase/internal/door/http/api"
	"dewcase/internal/flow/ingest"
	"dewcase/internal/flow/payload"
	"dewcase/internal/roof"
	"dewcase/internal/run/config"
)

// pushes takes in messages that come by HTTP, as those that come by MQTT.
type pushes struct {
	path *ingest.Path
	now  func() time.Time
}

func (p pushes) Push(ctx context.Context, topic string, body []byte) (int, []roof.Reject, error) {
	return p.path.Push(ctx, payload.Message{Topic: topic, Payload: body, Arrived: p.now()})
}

// readPushTokens reads the tokens with which messages may be sent by HTTP; without
// a file there are none.
func readPushTokens(c config.HTTP) (*credentials.PushTokens, error) {
	if c.PushFile == "" {
		return nil, nil
	}
	return credentials.ReadPushTokens(c.PushFile)
}

// pushToken asks whose token a request presents that sends a message, or reads the
// counts of houses.
func (a *App) pushToken(token string, r *http.Request) (name string, known, may, ok bool) {
	if r.Method == http.MethodGet && r.URL.Path == api.CountsPath {
		name, may = a.pushTokens.Load().ReadsCounts(token)
		return name, may, may, may
	}
	topic := api.PushTopic(r.URL)
	if topic == "" || r.Method != http.MethodPost {
		return "", false, false, false
	}
	name, known, may = a.pushTokens.Load().Holder(token, topic)
	return name, known, may, true
}
