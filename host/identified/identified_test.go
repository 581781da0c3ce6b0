package identified

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/host/assay"
	"chipassay/host/identify"
	"chipassay/host/probe"
	"chipassay/host/verdict"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// sevenFour00 is an answer as the engine gives it for a 7400 that passed.
func sevenFour00(t *testing.T, doubts ...string) *identify.Answer {
	t.Helper()
	typ, err := library.Open("7400")
	require.NoError(t, err)
	return &identify.Answer{
		Seat: probe.Seat{Pins: 14, VCC: 14, GND: 7}, Open: part.PinSet(2),
		Candidates: []identify.Candidate{{
			Part: typ.Part(), Variant: typ.Variant, SameFunction: []string{"7437"}, Families: []*part.Family{typ.Family},
		}},
		Certain: len(doubts) == 0, Doubts: doubts, Verdict: verdict.Pass, Reason: "all 256 vectors answered as in the data sheet",
		Test: &assay.Result{Type: typ, Verdict: verdict.Pass, Grade: verdict.Strong, Reason: "all 256 vectors answered as in the data sheet",
			VectorsPlanned: 256, VectorsApplied: 256, SupplyCurrentMA: -1},
		Tests: 1, Technology: "bipolar", Draw: 0.86, Record: &probe.Record{}, Steps: 85,
	}
}

func briefOf(t *testing.T, d Document) []string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, d.WriteBrief(&b, false))
	return strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
}

func TestACertainChipHasThePlainVerdict(t *testing.T) {
	lines := briefOf(t, Of(sevenFour00(t), "74??", nil))
	require.Equal(t, "7400 quad 2-input NAND gate", lines[0])
	require.Equal(t, "PASS, strong  all 256 vectors answered as in the data sheet", lines[len(lines)-1])
	require.Contains(t, lines, "No contact  pin 2")
	require.Contains(t, lines, "Family      74: bipolar inputs, 0.86 mA each when low")
}

// A chip that passes as one of several parts is not said to be good, by any rendering.
func TestAnUncertainChipNeverHasABarePass(t *testing.T) {
	d := Of(sevenFour00(t, "a 7437 also passes the test of a 7400", "and another"), "", nil)
	require.Equal(t, NotCertain, d.Verdict)
	lines := briefOf(t, d)
	require.Equal(t, "Probably a 7400 quad 2-input NAND gate", lines[0])
	require.Regexp(t, "^NOT CERTAIN  passes as a 7400; not certain: ", lines[len(lines)-1])
	require.Contains(t, lines, "Doubt       and another")
	for _, line := range lines {
		require.NotRegexp(t, "^PASS", line)
	}
	var b bytes.Buffer
	require.NoError(t, d.WriteJSON(&b))
	var object struct {
		Verdict string
		Supply  []int
		Certain bool
	}
	require.NoError(t, json.Unmarshal(b.Bytes(), &object))
	require.Equal(t, "not-certain", object.Verdict)
	require.Equal(t, []int{14, 7}, object.Supply)
	b.Reset()
	require.NoError(t, d.WriteHTML(&b))
	require.Contains(t, b.String(), "The chip may be another part")
}

// However much there is to say, ten lines of 80 columns say it.
func TestTheAnswerHasTenLines(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		a := sevenFour00(t, rapid.SliceOfN(rapid.StringMatching(`[a-z ]{1,120}`), 0, 6).Draw(r, "doubts")...)
		a.Reason = rapid.StringMatching(`[a-z ]{0,300}`).Draw(r, "reason")
		a.Verdict = rapid.SampledFrom(verdict.All).Draw(r, "verdict")
		if rapid.Bool().Draw(r, "broken") {
			a.Candidates = append(a.Candidates, a.Candidates[0], a.Candidates[0])
			a.Candidates[1].Faults = []string{"pin 3 (1Y) stuck at 0"}
		}
		lines := briefOf(t, Of(a, "", nil))
		require.LessOrEqual(t, len(lines), 10)
		for _, line := range lines {
			require.LessOrEqual(t, utf8.RuneCountInString(line), 80, line)
		}
		require.Contains(t, strings.Join(lines, "\n"), "Probed      85 steps")
	})
}

func TestWhatIsNotKnownIsSaidSo(t *testing.T) {
	a := &identify.Answer{Verdict: verdict.NotTested, Reason: "no part of the library explains it", Record: &probe.Record{},
		Seat: probe.Seat{Pins: 14, VCC: 14, GND: 7}, Steps: 9,
		Table: &identify.Table{Inputs: []int{1, 2}, Outputs: []int{3}, Steps: 9, Rows: [][]logic.Value{{logic.One}, {logic.One}, {logic.One}, {logic.Zero}},
			Equations: []identify.Equation{{Pin: 3, Expression: "!(P1 & P2)", Stage: part.OpenCollector}}}}
	d := Of(a, "", nil)
	require.Equal(t, NotKnown, d.Verdict)
	require.Contains(t, briefOf(t, d), "P3          !(P1 & P2), open-collector")
	require.Contains(t, d.Table.Definition, "P3 = !(P1 & P2)")
	// As the data book prints a 2-input NAND gate: with either input low the output is high.
	require.Equal(t, [][]string{{"X", "L", "H"}, {"L", "H", "H"}, {"H", "H", "L"}}, d.Table.Lines())
	var b bytes.Buffer
	require.NoError(t, d.WriteText(&b, false))
	require.Contains(t, b.String(), "   P1  P2  |  P3\n")
	require.Contains(t, b.String(), "    H   H  |   L\n")
	// Not powered, it is not tested.
	require.Equal(t, verdict.NotTested, Of(&identify.Answer{Verdict: verdict.NotTested, Reason: "empty socket"}, "", nil).Verdict)
}

// The printed table says the same of each combination as the measured rows, once.
func TestThePrintedTableIsTheMeasuredOne(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(1, 5).Draw(r, "inputs")
		table := &FunctionTable{Rows: rapid.SliceOfN(rapid.SampledFrom([]string{"0", "1", "z"}), 1<<n, 1<<n).Draw(r, "rows")}
		for i := range n {
			table.Inputs = append(table.Inputs, i+1)
		}
		said := make([]string, 1<<n)
		for _, line := range table.Lines() {
			for row := range said {
				fits := true
				for i := range n {
					level := map[int]string{0: "L", 1: "H"}[row>>i&1]
					fits = fits && (line[i] == "X" || line[i] == level)
				}
				if fits {
					require.Empty(t, said[row], fmt.Sprintf("row %d twice", row))
					said[row] = map[string]string{"L": "0", "H": "1", "Z": "z"}[line[n]]
				}
			}
		}
		require.Equal(t, table.Rows, said)
	})
}
