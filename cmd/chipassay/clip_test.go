package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"

	"chipassay/host/assay/thresholds"
	"chipassay/vectors/library"
)

// A person is told the cautions once, then asked pin by pin, by the socket's position too; who goes away
// is not waited for.
func TestPersonIsAskedToClip(t *testing.T) {
	typ, err := library.Open("74LS14")
	require.NoError(t, err)
	c := clipping{marked: "470n"}
	require.NoError(t, c.check(typ))
	var said bytes.Buffer
	cmd := &cobra.Command{}
	cmd.SetErr(&said)
	cmd.SetIn(strings.NewReader("\n\n"))
	q := c.request(headerOf(cmd, thresholds.Cautions...), nil, typ)
	require.InDelta(t, 470e-9, q.Farads, 1e-15)
	require.False(t, q.All)
	require.NoError(t, q.Clip(t.Context(), 1))
	require.NoError(t, q.Clip(t.Context(), 13))
	for _, caution := range []string{"the supply is off while you clip", "discharge the capacitor", "plus at the input's pin"} {
		require.Equal(t, 1, strings.Count(said.String(), caution))
	}
	require.Contains(t, said.String(), "Clip 470 nF between position 1 (pin 1, 1A) and ground")
	require.Contains(t, said.String(), "position 27 (pin 13, 6A)")
	require.ErrorContains(t, q.Clip(t.Context(), 3), "nobody pressed Enter")
	require.NoError(t, q.Clip(t.Context(), 0))
	require.Contains(t, said.String(), "Take the capacitor off")
}
