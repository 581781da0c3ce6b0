package drawer

import (
	"io"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// counting is a Screen that holds what it is shown against a new count.
type counting struct {
	*Screen
	t      *testing.T
	run    *Run
	shown  int
	counts int // that differ from the one before
	before Standing
}

func (c *counting) Show(now Standing) {
	assert.Equal(c.t, c.run.tally(), now.Tally)
	assert.Equal(c.t, c.run.current(), now.Written)
	same := c.shown > 0 && len(now.Written) == len(c.before.Written) && (len(now.Written) == 0 || &now.Written[0] == &c.before.Written[0])
	if !same {
		c.counts++
	}
	c.before, c.shown = now, c.shown+1
}

// What is shown of the chips is what the records say after each test, correction, retest and
// undo; and where nothing was recorded the chips are not counted again.
func TestChipsAreCountedWhenOneIsRecorded(t *testing.T) {
	var c *counting
	played(t, &bench{script: "cc--cc<note x>--<undo>cc<retest>--<undo><undo><undo>cccccccccc----"}, func(r *Run) {
		c = &counting{Screen: &Screen{W: io.Discard}, t: t, run: r}
		r.Screen = c
	})
	require.Equal(t, 11, c.counts, "at first, for six records and four undone")
	require.Greater(t, c.shown, 2*c.counts)
}
