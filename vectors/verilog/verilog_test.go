package verilog_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/sample"
	"chipassay/vectors/stimulus"
	"chipassay/vectors/verilog"
)

// A simulator that knows nothing of this project (Icarus Verilog) runs the
// exported module of every variant of every part through the steps of its test
// and must see what they expect. The ordinary run takes two of each kind (sample.KindOf), and
// the first few hundred steps.
func TestExportedModulesAnswerTheVectors(t *testing.T) {
	for _, tool := range []string{"iverilog", "vvp"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Fatalf("%s is missing: apt-get install -y --no-install-recommends iverilog", tool)
		}
	}
	parts, err := library.All()
	require.NoError(t, err)
	most := sample.Number(250, 30_000) // steps
	slots := make(chan struct{}, 2)    // as many at once as a small machine has cores
	var types []part.Type
	for _, p := range parts {
		for _, v := range p.Variants {
			types = append(types, part.Type{Variant: v, Family: v.Families[0]})
		}
	}
	for _, typ := range sample.OfEach(sample.Random(t), 2, types, sample.KindOf) {
		t.Run(fmt.Sprintf("%s/%d", typ.Part().Number, slices.Index(typ.Part().Variants, typ.Variant)), func(t *testing.T) {
			t.Parallel()
			slots <- struct{}{}
			defer func() { <-slots }()
			c, err := logic.Compile(typ.Variant)
			require.NoError(t, err)
			s, err := stimulus.For(c)
			require.NoError(t, err)
			s.Steps = s.Steps[:min(len(s.Steps), most)]
			require.Equal(t, fmt.Sprintf("done %d steps 0 differences\n", len(s.Steps)), simulate(t, c, s))
		})
	}
}

func simulate(t *testing.T, c *logic.Circuit, s *stimulus.Sequence) string {
	t.Helper()
	var module, bench bytes.Buffer
	require.NoError(t, verilog.WriteModule(&module, c))
	require.NoError(t, verilog.WriteBench(&bench, s))
	return run(t, append(module.Bytes(), bench.Bytes()...))
}

// run compiles a text with Icarus Verilog and gives what it prints.
func run(t *testing.T, text []byte) string {
	t.Helper()
	dir := t.TempDir()
	file := filepath.Join(dir, "part.v")
	require.NoError(t, os.WriteFile(file, text, 0o644))
	compiled := filepath.Join(dir, "part.vvp")
	out, err := exec.Command("iverilog", "-g2005", "-Wall", "-o", compiled, file).CombinedOutput()
	require.NoError(t, err, "%s", out)
	out, err = exec.Command("vvp", "-n", compiled).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return string(out)
}
