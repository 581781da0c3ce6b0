package function

import (
	"slices"
	"testing"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/stimulus"
)

func vectorsOf(t *testing.T, name string) Vectors {
	t.Helper()
	typ, err := library.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	p, err := proof.Of(typ, nil)
	if err != nil {
		t.Fatal(err)
	}
	return Vectors{Type: typ, Circuit: p.Circuit, Sequence: p.Sequence}
}

// Within a stretch the adapter drives the same pins, and an output that also releases drives in all of its steps
// or in none. All of a part that remembers nothing is in them, in whatever order; of another the sequence's
// beginning, in its order. Outputs of all stages and kinds of pins are judged.
func TestStretchesInWhichOutputsDrive(t *testing.T) {
	for _, c := range []struct {
		name   string
		judged part.Pins
		free   bool
	}{
		{"74LS244", part.PinSet(3, 5, 7, 9, 12, 14, 16, 18), true},
		{"74125", part.PinSet(3, 6, 8, 11), true},
		{"74LS251", part.PinSet(5, 6), true},
		{"74LS374", part.PinSet(2, 5, 6, 9, 12, 15, 16, 19), false},
		{"74LS245", part.PinSet(2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14, 15, 16, 17, 18), false},
		{"74LS173", part.PinSet(3, 4, 5, 6), false},
		{"7400", 0, false},
		{"7438", 0, false},
	} {
		v := vectorsOf(t, c.name)
		d := v.driving()
		if d.pins != c.judged || d.free != c.free {
			t.Errorf("%s: pins %v are judged, want %v; free %v", c.name, d.pins, c.judged, d.free)
		}
		if len(d.stretches) > mostStretches {
			t.Errorf("%s: %d stretches", c.name, len(d.stretches))
		}
		var all []stimulus.Step
		for _, stretch := range d.stretches {
			for _, st := range stretch {
				if st.Driven != stretch[0].Driven || st.Compared != stretch[0].Compared || (st.Z^stretch[0].Z)&d.loose != 0 {
					t.Fatalf("%s: a stretch changes what drives", c.name)
				}
			}
			all = append(all, stretch...)
		}
		steps := v.Sequence.Steps
		switch {
		case d.pins == 0:
		case d.free:
			count := map[stimulus.Step]int{}
			for i := range steps {
				count[steps[i]]++
				count[all[i]]--
			}
			for st, n := range count {
				if n != 0 {
					t.Fatalf("%s: %+v is in the stretches %d times less", c.name, st, n)
				}
			}
		default:
			for i, st := range all {
				if st != steps[i] {
					t.Fatalf("%s: step %d is not the sequence's", c.name, i)
				}
			}
		}
		// Each output that is judged is walked over a change, and few stretches are walked.
		var rose, fell part.Pins
		for _, i := range d.walked {
			for j := 1; j < len(d.stretches[i]); j++ {
				before, st := d.stretches[i][j-1], d.stretches[i][j]
				rose |= st.High &^ before.High & d.in(st)
				fell |= before.High &^ st.High & d.in(st)
			}
		}
		if rose|fell != d.pins || len(d.walked) > 64 {
			t.Errorf("%s: %v rise and %v fall in %d stretches of %d", c.name, rose, fell, len(d.walked), len(d.stretches))
		}
		if walked := d.walked; len(walked) > 0 {
			if end := len(slices.Concat(d.stretches[:walked[len(walked)-1]+1]...)); end != d.steps {
				t.Errorf("%s: %d steps are said, the last ends at %d", c.name, d.steps, end)
			}
		}
	}
}
