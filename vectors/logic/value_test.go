package logic

import "testing"

// A pin that nothing drives follows a pull, and a driven one does not (common practice of benches with a pull resistor).
func TestFromPulls(t *testing.T) {
	for want, read := range map[Value][2]bool{One: {true, true}, Zero: {false, false}, Z: {true, false}, X: {false, true}} {
		if got := FromPulls(read[0], read[1]); got != want {
			t.Errorf("up %v, down %v: %v, want %v", read[0], read[1], got, want)
		}
	}
}
