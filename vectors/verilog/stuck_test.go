package verilog_test

import (
	"bytes"
	"math/rand/v2"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/fault"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/stimulus"
	"chipassay/vectors/verilog"
)

// certain is a difference with a known level: an x in the simulation decides nothing.
var certain = regexp.MustCompile(`got [01z] want`)

// One fault at a time, injected into the exported module and simulated by Icarus
// Verilog, must be seen just where the bit-parallel simulation sees it. A part
// that remembers starts unknown there, and from random states here: what is seen
// there must be seen here.
func TestSerialFaultSimulationAgrees(t *testing.T) {
	const perPart = 12
	random := rand.New(rand.NewPCG(1, 5012))
	compared := 0
	for _, number := range []string{"7400", "7410", "7451", "7486", "4048", "4008", "4013", "4017", "4029"} {
		p, err := library.Builtin().Find(number)
		require.NoError(t, err)
		require.NotNil(t, p, number)
		c, err := logic.Compile(p.Variants[0])
		require.NoError(t, err)
		s, err := stimulus.For(c)
		require.NoError(t, err)
		s.Steps = s.Steps[:min(len(s.Steps), 1500)]
		m := fault.NewModel(c)
		detected := m.Detected(s)
		for _, i := range random.Perm(len(m.Classes))[:min(perPart, len(m.Classes))] {
			line := m.Classes[i][0]
			var module, bench bytes.Buffer
			require.NoError(t, verilog.WriteStuck(&module, m.Circuit, line.Node, line.Value))
			require.NoError(t, verilog.WriteBench(&bench, s))
			seen := certain.MatchString(run(t, append(module.Bytes(), bench.Bytes()...)))
			if len(c.Registers) == 0 {
				require.Equal(t, seen, detected[i], "%s: %s", number, m.Name(line))
			} else if seen {
				require.True(t, detected[i], "%s: %s", number, m.Name(line))
			}
			compared++
		}
	}
	t.Logf("%d faults compared", compared)
}
