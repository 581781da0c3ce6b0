package board

import "testing"

func TestPlacement(t *testing.T) {
	b, err := Placed()
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range b.Violations() {
		t.Error(v)
	}
}

func TestCopperIsTheNetlist(t *testing.T) {
	b, err := Committed()
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range append(b.Violations(), b.Differences()...) {
		t.Error(v)
	}
}
