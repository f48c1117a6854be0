// Package dashboards embeds the bundled script and style sheet of the pages.
// `make pages` builds them from src; without it the bundle is empty and the
// pages say so.
package dashboards

import (
	"embed"
	"io/fs"
)

//go:embed all:dist
var dist embed.FS

// Bundle is the folder with main.js and main.css; either may be missing when
// the bundle was not made.
func Bundle() fs.FS {
	sub, err := fs.Sub(dist, "dist")
	if err != nil { // only for an invalid path, and this one is a constant
		return dist
	}
	return sub
}
