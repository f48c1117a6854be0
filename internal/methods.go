// Package internal embeds the sources of the methods in the binary, unchanged: for
// people who do not have them, and so that a value that was kept can be told from
// one that these sources would give. It stands above the wings since a package can
// embed only what lies below it.
package internal

import "embed"

// Methods are the sources of the rooms that hours, curves and assessments come
// from, and the files of others that begin with a method's documentation.
//
//go:embed roof/*.go roof/caution/*.go words/*.go
//go:embed physics/psychro/*.go physics/airchange/*.go physics/condensate/*.go physics/corrosion/*.go
//go:embed physics/glaser/*.go physics/mould/*.go physics/spell/*.go physics/timber/*.go physics/vapour/*.go
//go:embed reason/buildup/*.go reason/cause/*.go reason/evidence/*.go reason/leak/*.go reason/mechanism/*.go
//go:embed reason/openings/*.go reason/predict/*.go reason/repair/*.go reason/risk/*.go reason/series/*.go
//go:embed flow/assessment/*.go flow/curves/*.go flow/kept/*.go flow/qc/*.go flow/record/*.go flow/timeline/*.go
//go:embed flow/watch/watch.go physics/roofsim/doc.go
var Methods embed.FS
