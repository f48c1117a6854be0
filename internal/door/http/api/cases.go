package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"dewcase/internal/flow/casebook"
	"dewcase/internal/roof"
)

type caseFile struct {
	ContentType  string `header:"Content-Type"`
	ETag         string `header:"ETag"`
	CacheControl string `header:"Cache-Control"`
	Body         []byte
}

func (s *server) cases() {
	register(s, huma.Operation{OperationID: "list-cases", Method: http.MethodGet, Path: "/api/cases",
		Summary: "The cases"},
		func(ctx context.Context, _ *struct{}) (*struct{ Body []CaseRow }, error) {
			rows, err := s.Views.List(ctx)
			return listed(rows, err, func(r CaseRow) CaseRow { return r })
		})

	register(s, huma.Operation{OperationID: "get-case-file", Method: http.MethodGet,
		Path: "/api/cases/{case}/file", Summary: "The case file (YAML)",
		Responses: map[string]*huma.Response{"200": {Description: "The case file as it was written",
			Content: map[string]*huma.MediaType{"application/yaml": {Schema: &huma.Schema{Type: "string"}}}}}},
		func(ctx context.Context, in *struct{ CaseID }) (*caseFile, error) {
			file, etag, err := s.Cases.File(ctx, in.Case)
			if err != nil {
				return nil, err
			}
			return &caseFile{ContentType: "application/yaml; charset=utf-8", ETag: quoted(etag), CacheControl: "no-cache",
				Body: file}, nil
		})

	register(s, huma.Operation{OperationID: "put-case-file", Method: http.MethodPut,
		Path: "/api/cases/{case}/file", Summary: "Create or change a case",
		// The framework refuses a body that reaches its limit, hence one byte more.
		MaxBodyBytes: roof.MaxCaseFileBytes + 1, SkipValidateBody: true, Errors: []int{400, 412, 413, 422},
		Responses: map[string]*huma.Response{"201": {Description: "Created"}, "204": {Description: "Changed"}}},
		func(ctx context.Context, in *struct {
			CaseID
			IfMatch     string `header:"If-Match" doc:"the entity tag that the change was made from"`
			IfNoneMatch string `header:"If-None-Match" doc:"* creates the case and changes none that is there"`
			RawBody     []byte `contentType:"application/yaml"`
		}) (*struct {
			Status int
			ETag   string `header:"ETag"`
		}, error) {
			created, etag, err := s.Cases.Put(ctx, in.Case, in.RawBody,
				casebook.If{Match: in.IfMatch, NoneMatch: in.IfNoneMatch}, by(ctx))
			if err != nil {
				return nil, err
			}
			out := &struct {
				Status int
				ETag   string `header:"ETag"`
			}{Status: http.StatusNoContent, ETag: quoted(etag)}
			if created {
				out.Status = http.StatusCreated
			}
			return out, nil
		})
}

func quoted(etag string) string { return `"` + etag + `"` }
