package api

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-chi/chi/v5"

	"dewcase/internal/roof"
)

// PushPath is before the topic of a message that comes by HTTP.
const PushPath = "/api/push/"

// Messages takes in a message as if it came by MQTT on a topic. It returns once the
// message is durable or finally rejected.
type Messages interface {
	Push(ctx context.Context, topic string, payload []byte) (readings int, rejects []roof.Reject, err error)
}

// Pushed is what became of a message.
type Pushed struct {
	Readings int             `json:"readings"`
	Rejected []PushedRejects `json:"rejected"`
}

// PushedRejects is one thing of it that could not be used.
type PushedRejects struct {
	Logger string `json:"logger,omitempty"`
	Reason string `json:"reason"`
	Detail string `json:"detail"`
}

// push is a plain handler: the body is whatever a logger sends.
func (s *server) push(r chi.Router) {
	op := &huma.Operation{OperationID: "push-message", Method: http.MethodPost, Path: PushPath + "{topic}",
		Summary: "Take in a message as if it came by MQTT on the topic, whose levels follow as the path's",
		Description: "The body is the payload: what the topic takes by MQTT, natively or by a mapping. A token made by " +
			"`dewcase token` may do this and nothing else, on its topics. 200 once the readings are durable.",
		Parameters: []*huma.Param{{Name: "topic", In: "path", Required: true, Schema: &huma.Schema{Type: "string"}}},
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
			"application/octet-stream": {Schema: &huma.Schema{Type: "string", Format: "binary"}}}},
		Responses: refusals("401", "403", "413", "422", "429", "503")}
	op.Responses["200"] = &huma.Response{Description: "What became of the message",
		Content: map[string]*huma.MediaType{"application/json": {Schema: &huma.Schema{Type: "object"}}}}
	s.api.OpenAPI().AddOperation(op)
	r.Post(PushPath+"*", s.pushed)
}

// PushTopic is the topic that a path names; "" where it names none.
func PushTopic(u *url.URL) string {
	rest, ok := strings.CutPrefix(u.Path, PushPath)
	if !ok || strings.HasPrefix(rest, "$") || strings.ContainsAny(rest, "+#") {
		return ""
	}
	return rest
}

func (s *server) pushed(w http.ResponseWriter, r *http.Request) {
	topic := PushTopic(r.URL)
	if topic == "" {
		s.refuse(w, r, fmt.Errorf("the path names no topic that can be sent on: %w", ErrRequest))
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, s.MaxMessage))
	if err != nil {
		var large *http.MaxBytesError
		if !errors.As(err, &large) {
			err = fmt.Errorf("the body broke off: %w: %w", ErrRequest, err)
		}
		s.refuse(w, r, err)
		return
	}
	// What was sent whole is taken, whether or not the sender waits for the answer.
	readings, rejects, err := s.Messages.Push(context.WithoutCancel(r.Context()), topic, body)
	if err != nil {
		s.refuse(w, r, err)
		return
	}
	out := Pushed{Readings: readings, Rejected: make([]PushedRejects, len(rejects))}
	for i, x := range rejects {
		out.Rejected[i] = PushedRejects{x.Logger, string(x.Reason), x.Detail}
	}
	if readings == 0 && len(rejects) > 0 {
		s.refuse(w, r, roof.NewError(roof.Unusable, string(rejects[0].Reason)+": "+rejects[0].Detail))
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(out)
}
