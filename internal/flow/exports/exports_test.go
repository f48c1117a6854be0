package exports

import (
	"bytes"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/flow/csvreadings"
	"dewcase/internal/roof"
)

var now = time.Date(2027, 4, 1, 12, 0, 0, 0, time.UTC)

func textOf(name string, data []byte) Text {
	return Text{Name: name, Open: func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(data)), nil }}
}

// taken reads a text by a plan into the records that a store would keep.
func taken(t testing.TB, p *Plan) (*csvreadings.Columns, csvreadings.Summary) {
	t.Helper()
	require.Empty(t, p.Questions)
	c := csvreadings.NewColumns()
	sum, err := p.Read(now, func(r roof.Reading, _ int) error { c.Add(r); return nil })
	require.NoError(t, err)
	return c, sum
}
