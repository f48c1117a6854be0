// Package internal carries the package documentation of the methods into the
// binary, word for word as it stands in their rooms: people without the source
// ask for it too.
package internal

import "embed"

// Methods are the files that begin with that documentation.
//
//go:embed reason/cause/doc.go reason/repair/doc.go reason/buildup/buildup.go reason/openings/openings.go
//go:embed flow/watch/watch.go physics/roofsim/doc.go physics/psychro/psychro.go
var Methods embed.FS
