package ingest

import (
	"slices"

	"dewcase/internal/flow/payload"
)

// Try says what messages would become under mappings and no others, in their
// order: readings with the flags that they would get on arrival, or why not.
// Nothing is stored, and whether the house and the logger are known is not asked.
// An error names every mapping that is wrong.
func Try(mappings []payload.Mapping, messages []payload.Message, options ...payload.Option) ([]payload.Became, error) {
	out, err := payload.Become(mappings, messages, options...)
	for i := range out {
		b := &out[i]
		kept, rejects := checked(b.Message, b.Case, b.Readings)
		b.Readings, b.Rejects = slices.Clip(kept), append(b.Rejects, rejects...)
	}
	return out, err
}
