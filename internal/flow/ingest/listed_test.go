package ingest

import (
	"context"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/roof"
)

// A file of bad rows is answered in a bounded report that counts them all; what
// was listed and what was only counted are counted once each.
func TestOfManyBadRowsTheFirstFiveThousandAreListedAndAllAreCounted(t *testing.T) {
	for _, bad := range []int{4999, 5000, 5003, 12_000} {
		p, d, _ := path(t, "")
		var file strings.Builder
		file.WriteString("time,logger,temp_c,rh_pct\n2026-01-31T12:00:00Z,k1,4,90\n")
		for i := range bad {
			fmt.Fprintf(&file, "2026-01-31T12:00:00Z,k1,%d,90\n", 200+i)
		}
		rep, err := csvOf(p, strings.NewReader(file.String()))
		require.NoError(t, err)
		require.Len(t, rep.Rejected, min(bad, 5000))
		require.Equal(t, bad, rep.RejectedN)
		require.Equal(t, 3, rep.Rejected[0].Line)
		counted := 0
		for _, n := range d.rejects {
			counted += n
		}
		require.Equal(t, bad, counted)
	}
}

// csvOf stores a readings file.
func csvOf(p *Path, r io.Reader) (Report, error) {
	return p.File(context.Background(), "a", "readings.csv", func(now time.Time, each func(roof.Reading, int) error) (
		csvreadings.Summary, error) {
		return csvreadings.Read("readings.csv", r, now, each)
	})
}
