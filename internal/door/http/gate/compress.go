package gate

import (
	"io"
	"net/http"

	"github.com/go-chi/chi/v5/middleware"
	"github.com/klauspost/compress/gzip"
)

// compressLevel is where a timeline of a winter, 2.8 MB of JSON, costs less time to
// pack than to make.
const compressLevel = 2

// Compress packs answers of the given media types for whoever takes gzip.
func Compress(types ...string) func(http.Handler) http.Handler {
	c := middleware.NewCompressor(compressLevel, types...)
	c.SetEncoder("gzip", func(w io.Writer, level int) io.Writer {
		zw, err := gzip.NewWriterLevel(w, level)
		if err != nil {
			return nil // no such level: the compressor leaves the encoding out
		}
		return zw
	})
	return c.Handler
}
