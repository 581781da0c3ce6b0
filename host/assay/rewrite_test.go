package assay_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// A made-up EEPROM, small for speed.
const smallEEPROM = `part 9975 "32 x 8-bit EEPROM"
kind memory
families CMOS
source "made up"
package DIP18
  A0  1 | U | 18 VCC
  A1  2 |   | 17 /WE
  A2  3 |   | 16 /OE
  A3  4 |   | 15 /CE
  A4  5 |   | 14 D7
  D0  6 |   | 13 D6
  D1  7 |   | 12 D5
  D2  8 |   | 11 D4
 GND  9 |   | 10 D3
inputs A0..A4 /CE /OE
tie high /WE
outputs three-state D0..D7
memory eeprom 32 x 8
address A0..A4
data D0..D7
select /CE
enable /OE
access 350 ns
rewrite /WE pulse 200 ns cycle 10 ms
`

func eeprom(t *testing.T) part.Type {
	t.Helper()
	parts, err := part.Parse("small.part", smallEEPROM)
	require.NoError(t, err)
	v := parts[0].Variants[0]
	return part.Type{Variant: v, Family: v.Families[0]}
}

// rewritten tests a small EEPROM that held something.
func rewritten(t *testing.T, ctx context.Context, progress func(float64), defects ...string) (*assay.Result, []byte) {
	t.Helper()
	typ := eeprom(t)
	var all []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		all = append(all, d)
	}
	chip, err := virtual.NewChip(typ, all...)
	require.NoError(t, err)
	chip.Burn([]byte("the point controller's program"))
	a, seat, err := seatedOn(t.Context(), typ, chip)
	require.NoError(t, err)
	defer a.Close()
	r := assay.RunRewrite(ctx, seat, assay.MemoryPlan{Type: typ, Progress: progress})
	words, _ := assay.ReadROM(t.Context(), seat, assay.MemoryPlan{Type: typ})
	return r, words
}

// A good EEPROM passes when every word was written both ways and read back, with its levels
// measured. The virtual one takes the whole 10 ms of its data sheet for each word.
func TestAGoodEEPROMIsWritten(t *testing.T) {
	var shown []float64
	r, words := rewritten(t, t.Context(), func(done float64) { shown = append(shown, done) })
	require.Equal(t, assay.Pass, r.Verdict, r.Reason)
	require.Contains(t, r.Reason, "all 32 words were written with a word and its complement")
	require.Contains(t, r.Reason, "what it held is lost")
	require.Equal(t, r.VectorsPlanned, r.VectorsApplied)
	require.Equal(t, 5*32, r.VectorsApplied, "two writes of each word and three reads that are compared")
	require.NotNil(t, r.Levels)
	require.NotEqual(t, "the point controller's program", string(words[:30]))
	require.IsIncreasing(t, unique(shown))
	require.InDelta(t, 1, shown[len(shown)-1], 0.02)
}

// unique leaves out what repeats the one before it.
func unique(all []float64) (some []float64) {
	for _, x := range all {
		if len(some) == 0 || x != some[len(some)-1] {
			some = append(some, x)
		}
	}
	return some
}

// What is wrong with an EEPROM is named, through the real firmware: cells that do not take
// a value, address and data pins, a write that takes longer than the data sheet's, selects
// and enables without effect, a word that another disturbs.
func TestFaultsOfEEPROMsAreNamed(t *testing.T) {
	for _, c := range []struct{ defect, says string }{
		{"cell 17.3 stuck high", "address 0x11 bit 3 is stuck at 1"},
		{"cell 17.3 stuck low", "address 0x11 bit 3 is stuck at 0"},
		{"1 stuck low", "A0 is stuck or open: both its levels reach the same cells (pin 1)"},
		{"5 stuck high", "A4 is stuck or open: both its levels reach the same cells (pin 5)"},
		{"14 stuck high", "data bit 7 reads 1 at every address"},
		{"row 5 dead", "row 5 fails"},
		{"writes in 15 ms", "writes too slowly"},
		{"cell 17 couples to 18", "another word disturbs it"},
		{"15 stuck low", "although pin 15 (/CE) is not active"},
		{"16 stuck low", "although pin 16 (/OE) is not active"},
		{"14 dead pull-up", "does not drive high"},
	} {
		r, _ := rewritten(t, t.Context(), nil, c.defect)
		require.Equal(t, assay.Fail, r.Verdict, "%q: %s", c.defect, r.Reason)
		require.Contains(t, strings.ToLower(strings.Join(append(r.Findings, r.Reason), "; ")), strings.ToLower(c.says), "%q", c.defect)
		require.NotZero(t, r.FailureCount, c.defect)
	}
}

// The same chip that takes 15 ms is within a data sheet of 20 ms.
func TestAWriteCycleIsTheDefinitions(t *testing.T) {
	text := strings.Replace(smallEEPROM, "cycle 10 ms", "cycle 20 ms", 1)
	parts, err := part.Parse("small.part", text)
	require.NoError(t, err)
	typ := part.Type{Variant: parts[0].Variants[0], Family: parts[0].Variants[0].Families[0]}
	slow, err := virtual.ParseDefect("writes in 15 ms")
	require.NoError(t, err)
	chip, err := virtual.NewChip(typ, slow)
	require.NoError(t, err)
	a, seat, err := seatedOn(t.Context(), typ, chip)
	require.NoError(t, err)
	defer a.Close()
	r := assay.RunRewrite(t.Context(), seat, assay.MemoryPlan{Type: typ})
	require.Equal(t, assay.Pass, r.Verdict, r.Reason)
}

// A chip that takes no write may be sound and protected by software, as later 28C64s and
// 28C256s can be (from memory of their data sheets): it is not called bad, and holds what it held.
func TestAProtectedEEPROMIsNotCalledBad(t *testing.T) {
	for _, defect := range []string{"write-protected", "17 stuck high"} { // /WE
		r, words := rewritten(t, t.Context(), nil, defect)
		require.Equal(t, assay.NotTested, r.Verdict, r.Reason)
		require.Contains(t, r.Reason, "it took no write")
		require.NotContains(t, r.Reason, "lost")
		require.Equal(t, "the point controller's program", string(words[:30]))
	}
}

// Who stops the test is told that the contents are lost; who stops it before is not.
func TestAnInterruptionSaysWhatIsLost(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	r, _ := rewritten(t, ctx, func(done float64) {
		if done > 0.3 {
			stop()
		}
	})
	require.Equal(t, assay.NotTested, r.Verdict)
	require.Equal(t, "interrupted; the supply is off; what it held is lost", r.Reason)
	require.Less(t, r.VectorsApplied, r.VectorsPlanned)

	ctx, stop = context.WithCancel(t.Context())
	stop()
	r, words := rewritten(t, ctx, nil)
	require.Equal(t, assay.NotTested, r.Verdict)
	require.NotContains(t, r.Reason, "lost")
	require.Equal(t, "the point controller's program", string(words[:30]))
}

// Which EEPROMs are written: those of 5 V and a byte at a time. The first 2816 took 21 V (its data
// sheet, from memory), and the 29C256 is written by pages.
func TestWhichEEPROMsAreWritten(t *testing.T) {
	for typ, why := range map[string]string{"28C04": "", "28C16": "", "28C17": "", "28C64": "", "28C256": "",
		"2816": "21 V", "2817": "21 V", "2804": "differs by maker", "2864": "differs by maker", "29C256": "pages",
		"2764": "is for an EEPROM", "6116": "is for an EEPROM", "7400": "is for an EEPROM"} {
		err := assay.NoRewrite(open(t, typ))
		if why == "" {
			require.NoError(t, err, typ)
			require.ErrorContains(t, assay.NoTest(open(t, typ), typ), "--erase-and-test")
			continue
		}
		require.ErrorContains(t, err, why, typ)
	}
}

// 2,048 words take about 49 s and 32,768 about 13 minutes, at two writes a word and 11.85 ms a write,
// as measured of the AVR image.
func TestTheTimeOfWritingAnEEPROMIsEstimated(t *testing.T) {
	for typ, about := range map[string]time.Duration{"28C16": 49 * time.Second, "28C256": 13 * time.Minute} {
		require.InEpsilon(t, about.Seconds(), assay.MemoryPlan{Type: open(t, typ), Test: march.Test{}}.RewriteEstimate().Seconds(), 0.1, typ)
	}
}
