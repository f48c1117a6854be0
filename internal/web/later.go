package web

import "github.com/go-chi/chi/v5"

// caseRoutes are the pages of a case that stand on the causes, the repairs and
// the build-up.
func (p *Pages) caseRoutes(chi.Router) {}
