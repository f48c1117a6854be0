package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"dewcase/internal/flow/houses"
	"dewcase/internal/roof"
)

// HouseRow is one house as it was last summed up.
type HouseRow struct {
	Case        string         `json:"case"`
	Label       string         `json:"label"`
	Need        roof.HouseNeed `json:"need" doc:"for what a person should look at it, the most pressing; empty: nothing"`
	WetNights   int            `json:"wet_nights_of_7"`
	SeenWeek    int            `json:"observed_nights_of_7"`
	WetMonth    int            `json:"wet_nights_of_30"`
	SeenMonth   int            `json:"observed_nights_of_30"`
	Finding     string         `json:"finding" doc:"empty: not assessed yet"`
	Verdict     string         `json:"verdict" doc:"on the latest repair; empty: none"`
	Silent      []string       `json:"silent_loggers"`
	LastReading *time.Time     `json:"last_reading" doc:"null before the first"`
	SummedUp    *time.Time     `json:"summed_up" doc:"null: not yet"`
}

// Houses answers from the summaries of houses, without their records.
type Houses interface {
	Figures(ctx context.Context) (houses.Figures, error)
	// Pooled counts over all instances that the configuration names.
	Pooled(ctx context.Context) (houses.Pooled, error)
	// List gives a part of the list, and how many houses it would be in all.
	List(ctx context.Context, q roof.HouseQuery) (rows []HouseRow, found int, err error)
}

// housePage is a part of the list of houses.
type housePage struct {
	Found  int        `json:"found" doc:"houses searched for, of which this is a part"`
	Houses []HouseRow `json:"houses"`
}

// CountsPath is where the counts of one instance are read.
const CountsPath = "/api/houses/figures"

func (s *server) houses() {
	register(s, huma.Operation{OperationID: "pool-houses", Method: http.MethodGet, Path: CountsPath + "/instances",
		Summary: "Houses counted over all instances, each as it last answered"},
		func(ctx context.Context, _ *struct{}) (*struct{ Body houses.Pooled }, error) {
			p, err := s.Houses.Pooled(ctx)
			return &struct{ Body houses.Pooled }{p}, err
		})
	register(s, huma.Operation{OperationID: "count-houses", Method: http.MethodGet, Path: CountsPath,
		Summary: "The houses of this instance counted over their last summaries"},
		func(ctx context.Context, _ *struct{}) (*struct{ Body houses.Figures }, error) {
			f, err := s.Houses.Figures(ctx)
			return &struct{ Body houses.Figures }{f}, err
		})
	register(s, huma.Operation{OperationID: "list-houses", Method: http.MethodGet, Path: "/api/houses",
		Summary: "Houses as they were last summed up, searched, sorted and by parts"},
		func(ctx context.Context, in *struct {
			Search  string          `query:"q" maxLength:"200" doc:"a part of the name or id"`
			Cause   []string        `query:"cause" doc:"findings, any of these; none: not assessed"`
			Verdict []string        `query:"verdict" doc:"verdicts on the latest repair, any of these; none: no repair judged"`
			Needs   roof.HouseNeed  `query:"needs" doc:"look, silent, alert, sweating, or a need as the figures name them"`
			Sort    roof.HouseOrder `query:"sort" enum:"need,name,wet,trend,heard" default:"need"`
			Limit   int             `query:"limit" minimum:"1" maximum:"500" default:"50"`
			Offset  int             `query:"offset" minimum:"0" default:"0"`
		}) (*struct{ Body housePage }, error) {
			rows, found, err := s.Houses.List(ctx, roof.HouseQuery{Search: in.Search, Need: in.Needs,
				Findings: orNone(in.Cause), Verdicts: orNone(in.Verdict), Order: in.Sort,
				Offset: in.Offset, Limit: in.Limit})
			if rows == nil {
				rows = []HouseRow{}
			}
			return &struct{ Body housePage }{housePage{found, rows}}, err
		})
}

// orNone reads none as what has no name.
func orNone(names []string) []string {
	for i, n := range names {
		if n == "none" {
			names[i] = ""
		}
	}
	return names
}
