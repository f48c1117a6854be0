package sqlite

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dewcase/internal/roof"
	"dewcase/internal/testkit/storetest"
)

func openIn(t testing.TB, dir string, opt Options) *Store {
	t.Helper()
	s, err := Open(t.Context(), dir, opt)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

// incidents are the words of those that nobody has confirmed.
func incidents(t testing.TB, s *Store) (out []string) {
	t.Helper()
	all, err := s.Incidents(t.Context())
	require.NoError(t, err)
	for _, i := range all {
		if i.Open() {
			out = append(out, i.What)
		}
	}
	return out
}

// wayAhead is a clock for which every test reading is old.
func wayAhead() time.Time { return time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC) }

// toSeal seals whatever is there.
var toSeal = Options{Now: wayAhead, SealAfter: time.Millisecond, SealQuiet: -1, BlockFrom: -1}

// sealing seals everything after every append, so that each append meets only
// sealed days.
type sealing struct {
	*Store
	t *testing.T
}

func (s sealing) Append(ctx context.Context, caseID string, readings []roof.Reading) ([]roof.Outcome, error) {
	out, err := s.Store.Append(ctx, caseID, readings)
	if err != nil {
		return nil, err
	}
	_, err = s.Seal(ctx)
	return out, err
}

func TestStoreKeepsTheContract(t *testing.T) {
	storetest.Run(t, func(t *testing.T) roof.ReadingStore { return openIn(t, t.TempDir(), Options{SealAfter: -1}) })
}

func TestStoreKeepsTheContractWithSealedDays(t *testing.T) {
	storetest.Run(t, func(t *testing.T) roof.ReadingStore {
		return sealing{openIn(t, t.TempDir(), toSeal), t}
	})
}
