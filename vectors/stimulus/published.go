package stimulus

import (
	"fmt"
	"strings"

	"chipassay/vectors/part"
)

// longestBeside bounds the cycles that are run where the definition has sequences:
// these are there for what takes longer.
const longestBeside = 64

// published applies the sequences of the definition, from the first step on: they
// bring the chip to a known state by themselves, as printed ones do. It says what
// was applied.
func (w *walker) published(r *Rules) (methods []string, err error) {
	for _, q := range w.c.Variant.Logic.Sequences {
		before := len(w.s.Steps)
		for _, row := range q.Rows {
			if err := w.row(r, row); err != nil {
				return nil, fmt.Errorf("part %s, %s:%d: %s: %w", w.c.Variant.Part.Number, w.c.Variant.Part.File, row.Line, row.Text, err)
			}
		}
		methods = append(methods, fmt.Sprintf("%s: %d steps", q.Name, len(w.s.Steps)-before))
	}
	w.s.Fixed = len(w.s.Steps)
	return methods, nil
}

// row takes the steps of a row.
func (w *walker) row(r *Rules, row part.SequenceRow) error {
	for range row.Times {
		for _, levels := range row.Steps {
			to := levels.Over(w.drive)
			first := len(w.s.Steps) == 0 // nothing is known yet that a change could spoil
			if why := r.refuses(w.drive, to, first); why != "" {
				return fmt.Errorf("this step is not legal: %s", why)
			}
			w.to(to)
		}
	}
	return nil
}

// refuses says why a step is not legal; empty where it is. The first step of all
// only has to come to levels that are.
func (r *Rules) refuses(from, to part.Pins, first bool) string {
	switch {
	case r.forbidden(to):
		return "its levels are among those that never may be applied"
	case first || r.Allows(from, to):
		return ""
	case ((from^to)&r.sensitive) != 0 && (from^to).Len() > 1 && !r.joined(from, to):
		return fmt.Sprintf("%s is a clock, a set, a clear or an enable, and changes alone", r.names((from^to)&r.sensitive))
	}
	return fmt.Sprintf("%s must stay as it is there", r.names(from^to))
}

// names lists pins by their names.
func (r *Rules) names(pins part.Pins) string {
	var names []string
	for n := range pins.All() {
		names = append(names, r.c.Variant.Pins[n-1].Name)
	}
	return strings.Join(names, " ")
}
