package pictures

import (
	"bytes"
	"flag"
	"os"
	"testing"

	"chipassay/firmware/carrier"
)

var update = flag.Bool("update", false, "draw the committed pictures anew")

// The committed pictures are those of the netlist as it is.
func TestPicturesAreCurrent(t *testing.T) {
	files, err := Files(carrier.New())
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range files {
		if *update {
			if err := os.WriteFile(name, want, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s is older than the netlist: go test ./firmware/carrier/pictures -update", name)
		}
	}
}

// The design: switches at these positions, and nowhere else.
func TestSwitches(t *testing.T) {
	want := map[bool]map[int]bool{
		true:  {1: true, 4: true, 5: true, 8: true, 22: true, 28: true},
		false: {1: true, 4: true, 7: true, 8: true, 9: true, 10: true, 11: true, 12: true, 14: true, 21: true, 24: true, 25: true, 28: true},
	}
	for position := 1; position <= 28; position++ {
		if high, low := switched(carrier.New(), position); high != want[true][position] || low != want[false][position] {
			t.Errorf("position %d: high side %v, low side %v", position, high, low)
		}
	}
}
