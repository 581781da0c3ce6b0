package virtual_test

import (
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/adapter/conformance"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// open starts a virtual adapter on a socket with a chip of the library.
func open(t testing.TB, chip string, defects ...string) *virtual.Adapter {
	t.Helper()
	return openWith(t, virtual.Nominal, chip, defects...)
}

// openVaried does so with a chip drawn by a seed.
func openVaried(t testing.TB, seed uint64, chip string, defects ...string) *virtual.Adapter {
	t.Helper()
	return openWith(t, func(typ part.Type) virtual.Variety { return virtual.Sampled(typ, seed) }, chip, defects...)
}

func openWith(t testing.TB, variety func(part.Type) virtual.Variety, chip string, defects ...string) *virtual.Adapter {
	t.Helper()
	var in *virtual.Chip
	if chip != "" {
		typ, err := library.Open(chip)
		if err != nil {
			t.Fatal(err)
		}
		var parsed []virtual.Defect
		for _, text := range defects {
			d, err := virtual.ParseDefect(text)
			if err != nil {
				t.Fatal(err)
			}
			parsed = append(parsed, d)
		}
		if in, err = virtual.NewChip(typ, parsed...); err != nil {
			t.Fatal(err)
		}
		in.Vary(variety(typ))
	}
	a, err := virtual.Open(t.Context(), virtual.NewSocket(in, 1))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	return a
}

func TestConformance(t *testing.T) {
	conformance.Run(t, func(t testing.TB, chip string, defects ...string) link.Conn { return open(t, chip, defects...) })
}

// The same with good chips of other makers and other processes, which no case may take
// for anything else (Sampled).
func TestConformanceWithChipsThatDiffer(t *testing.T) {
	const chips = 6
	for seed := range uint64(chips) {
		conformance.Run(t, func(t testing.TB, chip string, defects ...string) link.Conn {
			return openVaried(t, seed, chip, defects...)
		})
	}
}

// BenchmarkOpen is the start of the firmware image under wazero.
func BenchmarkOpen(b *testing.B) {
	for b.Loop() {
		open(b, "").Close()
	}
}

// BenchmarkSteps is a thousand steps through the protocol, the firmware and the socket.
func BenchmarkSteps(b *testing.B) {
	a, err := adapter.Open(b.Context(), link.New(open(b, "7410"), 0))
	if err != nil {
		b.Fatal(err)
	}
	seat, err := a.Seat(14, 14, 7)
	if err != nil {
		b.Fatal(err)
	}
	if _, err := seat.PowerOn(b.Context(), 100); err != nil {
		b.Fatal(err)
	}
	inputs := part.PinSet(1, 2, 13, 3, 4, 5, 9, 10, 11)
	steps := make([]stimulus.Step, 1000)
	for i := range steps {
		steps[i] = stimulus.Step{Driven: inputs, Drive: inputs & part.Pins(i^i>>1)}
	}
	for b.Loop() {
		if _, err := seat.Apply(b.Context(), steps, adapter.High); err != nil {
			b.Fatal(err)
		}
	}
}
