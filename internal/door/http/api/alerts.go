package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"dewcase/internal/door/http/gate"
)

// AlertID is the alert named in a path.
type AlertID struct {
	Alert string `path:"alert" maxLength:"200" doc:"the alert's id, as the list of alerts gives it"`
}

// by is who changes something.
func by(ctx context.Context) string {
	if who := gate.Who(ctx); who != "" {
		return who
	}
	return "this machine"
}

func (s *server) alerts() {
	const path = "/api/cases/{case}/alerts/{alert}/"
	changed := map[string]*huma.Response{"204": {Description: "Done"}}
	register(s, huma.Operation{OperationID: "acknowledge-alert", Method: http.MethodPost,
		Path: path + "acknowledge", Summary: "Say that an alert is known: it is told again only if it worsens or comes back",
		Errors: []int{404}, Responses: changed},
		func(ctx context.Context, in *struct {
			CaseID
			AlertID
		}) (*struct{}, error) {
			return nil, s.Alerts.Acknowledge(ctx, in.Case, in.Alert, by(ctx))
		})
	register(s, huma.Operation{OperationID: "snooze-alert", Method: http.MethodPost, Path: path + "snooze",
		Summary: "Keep an alert quiet until a time, unless it worsens", Errors: []int{400, 404}, Responses: changed},
		func(ctx context.Context, in *struct {
			CaseID
			AlertID
			Body struct {
				Until time.Time `json:"until" doc:"within the next 31 days"`
			}
		}) (*struct{}, error) {
			return nil, s.Alerts.Snooze(ctx, in.Case, in.Alert, by(ctx), in.Body.Until)
		})
}
