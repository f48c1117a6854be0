package web

import (
	"fmt"
	"html/template"
	"strings"

	"rsc.io/qr"
)

// qrQuiet is the white margin that readers want around a QR code, in its modules.
const qrQuiet = 4

// qrCode draws a text as a QR code that a phone's camera reads from a screen or
// from paper: dark on white in any colour scheme.
func qrCode(text string) (template.HTML, error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return "", fmt.Errorf("drawing %d bytes as a QR code: %w", len(text), err)
	}
	var path strings.Builder
	for y := range code.Size {
		for x := 0; x < code.Size; x++ {
			run := 0
			for code.Black(x+run, y) {
				run++
			}
			if run > 0 {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", x+qrQuiet, y+qrQuiet, run, run)
				x += run
			}
		}
	}
	side := code.Size + 2*qrQuiet
	return template.HTML(fmt.Sprintf(`<svg class="qr" role="img" aria-label="The link as a QR code" viewBox="0 0 %d %d">`+ //nolint:gosec // figures alone
		`<rect class="qr-ground" width="%d" height="%d"/><path class="qr-dark" shape-rendering="crispEdges" d="%s"/></svg>`,
		side, side, side, side, path.String())), nil
}
