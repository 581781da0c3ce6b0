package march_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/vectors/march"
)

// What each test finds: + all faults of the model, - not all, blank where the
// literature as remembered is silent.
//
//   - SAF to CFst: van de Goor 1991, chapter 4, and van de Goor 1993, the table of
//     tests against faults; SOF and DRF: van de Goor 1993, who adds a read after
//     the write for SOF (March X becomes March Y) and the delays for DRF (March G).
//     The + of March A and B under CFid are the "linked CFids" they were made for.
//     From memory.
//   - RDF to WDF: the conditions of Hamdioui et al. 2002 and of Adams and Cooley
//     1996: a DRDF needs a second read of the same value, a WDF a write of the value
//     that is there. From memory; that March SS finds every simple static fault and
//     no older test does is in the abstract of the former. The later March RAW and
//     March SL are said to find the simple static faults, too (2002 and 2003, from memory).
const published = `
           SAF TF AF CFin CFid CFst RDF DRDF IRF WDF SOF DRF
MATS       +   -  -  -    -    -    +   -    +   -   -   -
MATS+      +   -  +  -    -    -    +   -    +   -   -   -
MATS++     +   +  +  -    -    -    +   -    +   -   +   -
March X    +   +  +  +    -    -    +   -    +   -   -   -
March Y    +   +  +  +    -    -    +   +    +   -   +   -
March C-   +   +  +  +    +    +    +   -    +   -   -   -
March A    +   +  +  +    +         +   -    +   -   -   -
March B    +   +  +  +    +         +   -    +   -   +   -
March SS   +   +  +  +    +    +    +   +    +   +   -   -
March G    +   +  +  +    +         +        +   -   +   +
March RAW  +   +  +  +    +    +    +   +    +   +        -
March SL   +   +  +  +    +    +    +   +    +   +        -
`

func TestCoverageIsThePublishedOne(t *testing.T) {
	columns := []struct {
		model string
		at    int
	}{{"SAF", 11}, {"TF", 15}, {"AF", 18}, {"CFin", 21}, {"CFid", 26}, {"CFst", 31}, {"RDF", 36}, {"DRDF", 40}, {"IRF", 45}, {"WDF", 49}, {"SOF", 53}, {"DRF", 57}}
	lines := strings.Split(strings.Trim(published, "\n"), "\n")
	require.Len(t, lines, len(march.All())+1)
	for i, m := range march.All() {
		line := lines[i+1]
		require.Equal(t, fmt.Sprintf("%-11s", m.Name), line[:11])
		coverage := coverageOf(m, 4)
		for _, c := range columns {
			require.Equal(t, c.model, lines[0][c.at:c.at+len(c.model)])
			switch line[c.at] {
			case '+':
				assert.True(t, coverage[c.model].Full(), "%s: %v", m.Name, coverage[c.model])
			case '-':
				assert.False(t, coverage[c.model].Full(), "%s: %v", m.Name, coverage[c.model])
			default:
				assert.Equal(t, byte(' '), line[c.at])
			}
		}
	}
}

func coverageOf(m march.Test, n int) map[string]march.Detection {
	rows := map[string]march.Detection{}
	for _, r := range march.Coverage(m, n) {
		rows[r.Model] = r
	}
	return rows
}

// Hamdioui et al. 2002 count 12 single-cell and 36 two-cell static primitives (the
// 12 are printed in Table 6.1 of Models in Hardware Testing, Springer 2010; the 36
// from memory), and March SS finds them all, which no older test here does.
func TestMarchSSFindsEverySimpleStaticFault(t *testing.T) {
	single := []string{"SAF", "TF", "WDF", "RDF", "DRDF", "IRF"} // their SF is the SAF
	double := []string{"CFst", "CFds", "CFtr", "CFwd", "CFrd", "CFdr", "CFir"}
	count := func(models []string, n int) int {
		faults := 0
		for _, m := range models {
			faults += len(march.Faults(m, n))
		}
		return faults
	}
	assert.Equal(t, 12, count(single, 1))
	assert.Equal(t, 36*2, count(double, 2), "each of two cells is the victim in turn")
	for _, m := range march.All() {
		coverage := coverageOf(m, 4)
		all := true
		for _, model := range append(single, double...) {
			all = all && coverage[model].Full()
		}
		assert.Equal(t, slices.Contains([]string{"March SS", "March RAW", "March SL"}, m.Name), all, m.Name)
	}
}

// A few cases worked on paper, of two cells 0 and 1.
func TestDetectsByHand(t *testing.T) {
	for _, c := range []struct {
		test, model, notation string
		victim                int
		found                 bool
		why                   string
	}{
		{"MATS+", "TF", "<1w0/1/->", 0, false, "⇓(r1,w0) is the last element; nobody looks whether the 0 was taken"},
		{"MATS++", "TF", "<1w0/1/->", 0, true, "its r0 right after w0 looks"},
		{"MATS+", "CFin", "<1w0;0/1/-> <1w0;1/0/->", 1, false, "cell 0 falls last of all, after cell 1 was read"},
		{"March X", "CFin", "<1w0;0/1/-> <1w0;1/0/->", 1, true, "⇕(r0) reads cell 1 once more"},
		{"March X", "CFid", "<0w1;1/0/->", 1, false, "when cell 0 rises in ⇑(r0,w1), cell 1 is still 0"},
		{"March C-", "CFid", "<0w1;1/0/->", 1, true, "in ⇓(r0,w1) cell 1 is 1 already when cell 0 rises, and ⇓(r1,w0) reads it"},
		{"March C-", "CFid", "<0w1;1/0/->", 0, true, "in ⇑(r0,w1) cell 1 rises while cell 0 is 1, and ⇑ goes on with r1"},
		{"March C-", "WDF", "<0w0/1/->", 0, false, "it writes 0 over an initial 0 only if there was one"},
		{"March A", "CFst", "<0;1/0/->", 1, true, "in ⇑(r1,w0,w1) cell 0 is 0 for a moment while cell 1 holds 1, whose r1 follows"},
		{"March X", "CFst", "<0;1/0/->", 1, false, "cell 1 is 1 only while cell 0 is"},
	} {
		m, err := march.ByName(c.test)
		require.NoError(t, err)
		seen := false
		for _, f := range march.Faults(c.model, 2) {
			if f.Notation == c.notation && f.Victim == c.victim {
				seen = true
				assert.Equal(t, c.found, march.Detects(m, f, 2), "%s, %s: %s", c.test, f, c.why)
			}
		}
		assert.True(t, seen, "%s %s", c.model, c.notation)
	}
}

// March C- primitive by primitive, from what its operations are: no write of the
// value that is there (but the first, whose effect hangs on chance) and no two
// reads in a row, so what these sensitize is missed, and all else is found.
func TestMarchCMinusByPrimitive(t *testing.T) {
	m, err := march.ByName("March C-")
	require.NoError(t, err)
	for _, model := range []string{"TF", "WDF", "RDF", "DRDF", "IRF", "CFst", "CFds", "CFtr", "CFwd", "CFrd", "CFdr", "CFir"} {
		for _, f := range march.Faults(model, 3) {
			missed := strings.Contains(f.Notation, "0w0") || strings.Contains(f.Notation, "1w1") || model == "DRDF" || model == "CFdr"
			assert.Equal(t, !missed, march.Detects(m, f, 3), "%s", f)
		}
	}
}

// What a test finds does not depend on the size of the memory.
func TestCoverageDoesNotDependOnSize(t *testing.T) {
	for _, m := range march.All() {
		small, large := coverageOf(m, 3), coverageOf(m, 5)
		for _, model := range march.Models() {
			assert.Equal(t, small[model].Full(), large[model].Full(), "%s %s", m.Name, model)
		}
	}
}

// The simulated memory without a fault never fails a test, and adding operations
// behind a test never hides what it found.
func TestSimulationLaws(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := genTest(r)
		n := rapid.IntRange(1, 3).Draw(r, "cells")
		require.False(r, march.Detects(m, march.Fault{Aggressor: -1}, n))
		model := rapid.SampledFrom(march.Models()).Draw(r, "model")
		if faults := march.Faults(model, 2); march.Detects(m, faults[0], 2) {
			require.True(r, march.Detects(m.Retention(), faults[0], 2), "%s", faults[0])
		}
	})
}

func TestFaultString(t *testing.T) {
	assert.Equal(t, "SAF <1/0/-> of cell 0", march.Faults("SAF", 1)[0].String())
	assert.Equal(t, "CFid <0w1;0/1/-> of cell 0 by cell 1", march.Faults("CFid", 2)[0].String())
}
