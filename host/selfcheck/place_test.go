package selfcheck

import (
	"fmt"
	"testing"
)

// Where faults are: the pins of a 74HC595 are QA 15, QB to QH 1 to 7 (data sheet, from
// memory), and QE holds the bias of L5 (the carrier's table).
func TestPlaces(t *testing.T) {
	for _, c := range []struct{ defect, want string }{
		{"R305 open", "[R305 U21 pin 4]"},
		{"L5 shorted to L6", "[between L5 and L6]"},
		{"Q107 turned", "[Q107]"},
		{"R115 open", "[R115 label 11 of the microcontroller's board]"},
		{"monitor dead", "[U51 label 20 of the microcontroller's board label 21 of the microcontroller's board]"},
		{"shunt 1 ohms", "[U51]"},
	} {
		faults := faultsOf(t, c.defect)
		if len(faults) != 1 {
			t.Fatalf("%s: %v", c.defect, faults)
		}
		if got := fmt.Sprint(faults[0].Places()); got != c.want {
			t.Errorf("%s: %s, want %s", c.defect, got, c.want)
		}
	}
	if got := (&Fault{Position: 5, What: "nothing explains it"}).Places(); len(got) != 0 {
		t.Error(got)
	}
}
