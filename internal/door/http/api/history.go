package api

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"dewcase/internal/roof"
)

// VersionRow is one version of a case file in its history.
type VersionRow struct {
	Version int       `json:"version" doc:"counts the versions of this case from 1"`
	ETag    string    `json:"etag" doc:"SHA-256 of the file, its entity tag without the quotes; empty where the case was removed"`
	At      time.Time `json:"at" doc:"when it was written"`
	By      string    `json:"by" doc:"who wrote it, as far as known"`
	Size    int       `json:"size_bytes"`
	Removed bool      `json:"removed" doc:"the case was taken out of force; there is no file of this version"`
}

// history shows who changed a case file, when, and to what: a diagnosis or the
// verdict on a repair may be disputed by whoever did not write it.
func (s *server) history() {
	const path = "/api/cases/{case}/file/history"
	register(s, huma.Operation{OperationID: "list-case-file-versions", Method: http.MethodGet, Path: path,
		Summary: "The versions of the case file, newest first: who changed it, and when", Errors: []int{404}},
		func(ctx context.Context, in *struct {
			CaseID
			Limit  int `query:"limit" minimum:"1" maximum:"1000" default:"100"`
			Before int `query:"before" minimum:"1" doc:"only versions older than this one"`
		}) (*struct{ Body []VersionRow }, error) {
			versions, err := s.Cases.History(ctx, in.Case, in.Limit, in.Before)
			return listed(versions, err, func(v roof.CaseVersion) VersionRow {
				return VersionRow{Version: v.Number, ETag: v.ETag, At: v.Updated, By: v.By, Size: v.Size, Removed: v.ETag == ""}
			})
		})
	register(s, huma.Operation{OperationID: "get-case-file-version", Method: http.MethodGet,
		Path: path + "/{version}", Summary: "One version of the case file (YAML)", Errors: []int{404},
		Responses: map[string]*huma.Response{"200": {Description: "The case file as it was written then",
			Content: map[string]*huma.MediaType{"application/yaml": {Schema: &huma.Schema{Type: "string"}}}}}},
		func(ctx context.Context, in *struct {
			CaseID
			Version string `path:"version" pattern:"^([1-9][0-9]{0,8}|[0-9a-f]{64})$" doc:"its number, or the SHA-256 of the file as lists, entity tags and reports name it"`
		}) (*caseFile, error) {
			v, err := s.Cases.Version(ctx, in.Case, in.Version)
			if err == nil && v.ETag == "" {
				err = fmt.Errorf("with version %d the case was removed, it has no file: %w", v.Number, roof.ErrNotFound)
			}
			if err != nil {
				return nil, err
			}
			return &caseFile{ContentType: "application/yaml; charset=utf-8", ETag: quoted(v.ETag), CacheControl: "no-cache",
				Body: v.File}, nil
		})
}
