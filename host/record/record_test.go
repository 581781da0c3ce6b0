package record

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestSmoke(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a b?#%.sqlite")
	s, err := Open(path)
	require.NoError(t, err)
	r, err := s.Append(t.Context(), Record{Part: "7410", Type: "74LS10", Verdict: "pass", Report: []byte(`{"a": 1}`), Time: time.Now()})
	require.NoError(t, err)
	t.Log(r.Serial, r.Digest)
	g, err := s.Get(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, r, g)
	n, bad, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.Nil(t, bad)
	require.Equal(t, 1, n)
	_, err = s.Append(t.Context(), Record{Kind: Void, Corrects: 1})
	require.NoError(t, err)
	h, err := s.Stock(t.Context(), Query{})
	require.NoError(t, err)
	t.Log(h)
	require.NoError(t, s.Close())
	m, _ := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
	t.Log(m)
	s, err = Open(path)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	m, _ = filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
	t.Log(m)
}
