package drawer

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/record"
)

// A corrected is a Keeper whose first record somebody corrects elsewhere at once.
type corrected struct {
	Keeper
	done bool
}

func (c *corrected) Append(ctx context.Context, r record.Record) (record.Record, error) {
	r, err := c.Keeper.Append(ctx, r)
	if err != nil || c.done {
		return r, err
	}
	c.done = true
	other := r
	other.Kind, other.Corrects, other.Marking = record.Correction, r.Serial, "SN7400N"
	_, err = c.Keeper.Append(ctx, other)
	return r, err
}

// What was corrected on another page meanwhile is not corrected or taken back here; the run
// says so and goes on.
func TestCorrectedElsewhere(t *testing.T) {
	b := &bench{script: "cc<undo><note x>--cc--"}
	rows, shown := played(t, b, func(r *Run) { r.Records = &corrected{Keeper: r.Records} })
	require.Equal(t, []string{"2 7400 pass", "3 7400 pass"}, rows, shown)
	require.Contains(t, shown, "the last record was corrected elsewhere since: correct it, or take it back, there")
}
