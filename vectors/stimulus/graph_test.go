package stimulus

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The example graph of Thimbleby, "The directed Chinese Postman Problem",
// Software: Practice and Experience 33 (2003): four vertices, six arcs of cost 1,
// a shortest closed tour of cost 10 (from memory; by hand: vertices 2 and 3 have an
// arc in too many, and the cheapest ways from them to 0 and 1 cost 4 together). A
// tour that need not close is shorter by its last way.
func TestTourOfAPublishedGraph(t *testing.T) {
	arcs := [][2]int{{0, 1}, {0, 2}, {1, 2}, {1, 3}, {2, 3}, {3, 0}}
	g := &graph{out: make([][]transition, 4)}
	for _, arc := range arcs {
		g.out[arc[0]] = append(g.out[arc[0]], transition{to: arc[1]})
	}
	bound := g.lowerBound()
	require.Equal(t, 7, bound)
	way := g.tour()
	require.GreaterOrEqual(t, len(way), bound)
	require.LessOrEqual(t, len(way), 10)
	// a walker of its own sees every arc taken, and each begin where the last ended
	taken := map[[2]int]bool{}
	at := 0
	for _, step := range way {
		arc := [2]int{at, step.to}
		require.Contains(t, arcs, arc)
		taken[arc] = true
		at = step.to
	}
	require.Len(t, taken, len(arcs))
}
