package drawer

import (
	"context"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"chipassay/host/assay"
	"chipassay/vectors/part"
)

// seen notes what a run shows of the chip in the socket, each time that this changes.
type seen struct {
	*Screen
	list []string
}

func (s *seen) Show(now Standing) {
	words := "nothing"
	if now.Sheet != nil {
		words = strings.TrimSpace(fmt.Sprintf("%s %s %s", now.Sheet.Verdict, now.Sheet.DateCode, now.Sheet.Note)) + "; " + now.Recorded
	}
	if now.Kept {
		words += "; kept"
	}
	if n := len(s.list); n == 0 || s.list[n-1] != words {
		s.list = append(s.list, words)
	}
}

// stopping stops its second test.
type stopping struct{ *bench }

func (s stopping) Test(ctx context.Context, t part.Type) (*assay.Result, error) {
	r, err := s.bench.Test(ctx, t)
	if len(s.tests) == 2 {
		return nil, ErrStopped
	}
	return r, err
}

// What is shown of a chip is what was found of it and holds: as it was corrected, or that its
// record was taken back. Of one that was skipped, or whose test was stopped, nothing is shown,
// least of all what was found of the chip before.
func TestWhatIsShownOfAChip(t *testing.T) {
	const pass, taken = "pass none given; recorded, strong", "pass none given; taken back"
	dated := strings.Replace(pass, "none given", "7806 (1978)", 1)
	for script, want := range map[string][]string{
		"cc<date 7806><note x><undo><undo><undo>--": {"nothing", pass + "; kept", dated + "; kept", strings.Replace(dated, ";", " x;", 1) + "; kept",
			dated + "; kept", pass + "; kept", taken},
		"cc--<undo>":   {"nothing", pass + "; kept", pass, taken},
		"cc<skip>--cc": {"nothing", pass + "; kept", pass, "nothing"},
		"cc--cc--":     {"nothing", pass + "; kept", pass, "nothing"},
	} {
		s := &seen{Screen: &Screen{W: io.Discard}}
		played(t, &bench{script: script}, func(r *Run) { r.Screen, r.Bench = s, stopping{r.Bench.(*bench)} })
		assert.Equal(t, want, s.list, script)
	}
}
