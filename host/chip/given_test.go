package chip

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/record"
	"chipassay/host/verdict"
)

// A chip that is given away keeps what was found, its lot and its number; it is out of its drawer, and
// taken back it is in it again.
func TestGive(t *testing.T) {
	s, err := record.Open(filepath.Join(t.TempDir(), "records"))
	require.NoError(t, err)
	defer s.Close()
	for range 2 {
		_, err := s.Append(t.Context(), record.Record{Part: "7400", Type: "7400", Drawer: "D7", Lot: "depot", Verdict: verdict.Pass, Grade: verdict.Strong})
		require.NoError(t, err)
	}
	stock := func(q record.Query) (n int) {
		list, err := s.Stock(t.Context(), q)
		require.NoError(t, err)
		for _, h := range list {
			n += h.Good()
		}
		return n
	}
	r, err := Give(t.Context(), s, 2, " the model\nclub ")
	require.NoError(t, err)
	assert.Equal(t, []any{record.Correction, int64(2), "given away to the model club", "depot", verdict.Strong}, []any{r.Kind, r.Chip, r.Drawer, r.Lot, r.Grade})
	assert.Equal(t, 1, stock(record.Query{}))
	assert.Equal(t, 1, stock(record.Query{Drawer: r.Drawer}))
	lots, err := s.Counts(t.Context(), record.Query{}, record.ByLot)
	require.NoError(t, err)
	assert.Equal(t, 2, lots[0].Good(), "the lot's yield stays")
	c, err := Find(t.Context(), s, 2)
	require.NoError(t, err)
	assert.Equal(t, "D7", c.Drawer())
	_, err = Give(t.Context(), s, 2, "")
	require.ErrorIs(t, err, ErrGiven)
	_, err = TakeBack(t.Context(), s, 2, "the wrong bag")
	require.NoError(t, err)
	assert.Equal(t, 2, stock(record.Query{}))
	_, err = Give(t.Context(), s, 2, "")
	require.NoError(t, err)
	_, err = Give(t.Context(), s, 99, "")
	require.ErrorIs(t, err, record.ErrNone)
	for drawer, is := range map[string]bool{"given away": true, "given away to X": true, "given awayD": false, "D7": false, "": false} {
		assert.Equal(t, is, record.IsAway(drawer), drawer)
	}
}
