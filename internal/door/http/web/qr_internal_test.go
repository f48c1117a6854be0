package web

import (
	"fmt"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"rsc.io/qr"
)

// What is drawn is the library's code, module by module, with the margin that a
// reader needs around it.
func TestALinkIsDrawnAsItsQRCode(t *testing.T) {
	const link = "https://roof.example.org/home/TpomfYXtVTvfccNcjTki2aScDG3Nr4x3OTJJ2s8jsC8"
	drawn, err := qrCode(link)
	require.NoError(t, err)
	want, err := qr.Encode(link, qr.M)
	require.NoError(t, err)
	dark := map[[2]int]bool{}
	for _, m := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1`).FindAllStringSubmatch(string(drawn), -1) {
		x, _ := strconv.Atoi(m[1])
		y, _ := strconv.Atoi(m[2])
		run, _ := strconv.Atoi(m[3])
		for i := range run {
			dark[[2]int{x + i, y}] = true
		}
	}
	side := want.Size + 8
	assert.Contains(t, string(drawn), fmt.Sprintf(`viewBox="0 0 %d %d"`, side, side))
	for y := range side {
		for x := range side {
			assert.Equal(t, want.Black(x-4, y-4), dark[[2]int{x, y}], "module %d, %d", x, y)
		}
	}
	_, err = qrCode(string(make([]byte, 5000)))
	assert.Error(t, err, "more than a code holds")
}
