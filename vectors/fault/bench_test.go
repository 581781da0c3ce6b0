package fault_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/fault"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/stimulus"
	"chipassay/vectors/verilog"
)

func alu(b *testing.B) (*logic.Circuit, *stimulus.Sequence) {
	b.Helper()
	typ, err := library.Open("40181B")
	require.NoError(b, err)
	c, err := logic.Compile(typ.Variant)
	require.NoError(b, err)
	s, err := stimulus.For(c)
	require.NoError(b, err)
	require.Len(b, s.Steps, 16384)
	return c, s
}

// All 16,384 vectors of the 16-function ALU against all of its stuck-at faults.
func BenchmarkALUAgainstAllFaults(b *testing.B) {
	c, s := alu(b)
	m := fault.NewModel(c)
	for b.Loop() {
		m.Detected(s)
	}
}

// The good ALU through all its vectors, 64 at a time. One evaluation is one gate in one vector.
func BenchmarkEvaluateALU(b *testing.B) {
	c, _ := alu(b)
	m := c.NewMachine()
	for b.Loop() {
		for range 16384 / 64 {
			for _, pin := range c.InputPins {
				m.Set(pin, logic.Splat(logic.One))
			}
			m.Settle()
		}
	}
	b.ReportMetric(float64(b.N)*16384*float64(len(c.Nodes))/b.Elapsed().Seconds()/1e6, "Mevaluations/s")
}

// The same vectors through the exported module in Icarus Verilog, compiling apart.
func BenchmarkALUInIcarusVerilog(b *testing.B) {
	c, s := alu(b)
	var module, bench bytes.Buffer
	require.NoError(b, verilog.WriteModule(&module, c))
	require.NoError(b, verilog.WriteBench(&bench, s))
	dir := b.TempDir()
	source, compiled := filepath.Join(dir, "alu.v"), filepath.Join(dir, "alu.vvp")
	require.NoError(b, os.WriteFile(source, append(module.Bytes(), bench.Bytes()...), 0o644))
	if out, err := exec.Command("iverilog", "-g2005", "-o", compiled, source).CombinedOutput(); err != nil {
		b.Fatalf("%s: %v: apt-get install -y --no-install-recommends iverilog", out, err)
	}
	for b.Loop() {
		require.NoError(b, exec.Command("vvp", "-n", compiled).Run())
	}
	b.ReportMetric(float64(b.N)*16384*float64(len(c.Nodes))/b.Elapsed().Seconds()/1e6, "Mevaluations/s")
}
