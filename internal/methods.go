// Package internal embeds the package documentation of the methods in the
// binary, unchanged, for people who do not have the source.
package internal

import "embed"

// Methods are the files that begin with that documentation.
//
//go:embed reason/cause/doc.go reason/repair/doc.go reason/buildup/buildup.go reason/openings/openings.go
//go:embed reason/predict/doc.go reason/leak/doc.go reason/mechanism/doc.go flow/watch/watch.go
//go:embed physics/roofsim/doc.go physics/psychro/psychro.go
var Methods embed.FS
