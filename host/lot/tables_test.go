package lot

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A second copy of the master tables, typed by columns where the package has them
// by rows: for each AQL the letters that have a plan, with Ac. Read for Table 2-A:
// the sequence of numbers in each row of MIL-STD-105E Table II-A (published text
// copies of the table); for 2-A and 2-B, AQL 0.65 to 15, the copies in
// TestReadTables. The rest is from memory, held against the published examples in
// TestPublishedPlans.
var columns = map[Severity]string{
	Normal: `
0.010 Q0
0.015 P0
0.025 N0 R1
0.040 M0 Q1 R2
0.065 L0 P1 Q2 R3
0.10  K0 N1 P2 Q3 R5
0.15  J0 M1 N2 P3 Q5 R7
0.25  H0 L1 M2 N3 P5 Q7 R10
0.40  G0 K1 L2 M3 N5 P7 Q10 R14
0.65  F0 J1 K2 L3 M5 N7 P10 Q14 R21
1.0   E0 H1 J2 K3 L5 M7 N10 P14 Q21
1.5   D0 G1 H2 J3 K5 L7 M10 N14 P21
2.5   C0 F1 G2 H3 J5 K7 L10 M14 N21
4.0   B0 E1 F2 G3 H5 J7 K10 L14 M21
6.5   A0 D1 E2 F3 G5 H7 J10 K14 L21
10    C1 D2 E3 F5 G7 H10 J14 K21
15    B1 C2 D3 E5 F7 G10 H14 J21
25    A1 B2 C3 D5 E7 F10 G14 H21
40    A2 B3 C5 D7 E10 F14 G21
65    A3 B5 C7 D10 E14 F21
100   A5 B7 C10 D14 E21
150   A7 B10 C14 D21 E30
250   A10 B14 C21 D30 E44
400   A14 B21 C30 D44
650   A21 B30 C44
1000  A30 B44`,
	Tightened: `
0.010 R0
0.015 Q0
0.025 P0 S1
0.040 N0 R1
0.065 M0 Q1 R2
0.10  L0 P1 Q2 R3
0.15  K0 N1 P2 Q3 R5
0.25  J0 M1 N2 P3 Q5 R8
0.40  H0 L1 M2 N3 P5 Q8 R12
0.65  G0 K1 L2 M3 N5 P8 Q12 R18
1.0   F0 J1 K2 L3 M5 N8 P12 Q18
1.5   E0 H1 J2 K3 L5 M8 N12 P18
2.5   D0 G1 H2 J3 K5 L8 M12 N18
4.0   C0 F1 G2 H3 J5 K8 L12 M18
6.5   B0 E1 F2 G3 H5 J8 K12 L18
10    D1 E2 F3 G5 H8 J12 K18
15    C1 D2 E3 F5 G8 H12 J18
25    B1 C2 D3 E5 F8 G12 H18
40    A1 B2 C3 D5 E8 F12 G18
65    A2 B3 C5 D8 E12 F18
100   A3 B5 C8 D12 E18
150   A5 B8 C12 D18 E27
250   A8 B12 C18 D27 E41
400   A12 B18 C27 D41
650   A18 B27 C41
1000  A27 B41`,
	Reduced: `
0.010 Q0
0.015 P0
0.025 N0
0.040 M0 R1
0.065 L0 Q1 R2
0.10  K0 P1 Q2 R3
0.15  J0 N1 P2 Q3 R5
0.25  H0 M1 N2 P3 Q5 R6
0.40  G0 L1 M2 N3 P5 Q6 R8
0.65  F0 K1 L2 M3 N5 P6 Q8 R10
1.0   E0 J1 K2 L3 M5 N6 P8 Q10
1.5   D0 H1 J2 K3 L5 M6 N8 P10
2.5   C0 G1 H2 J3 K5 L6 M8 N10
4.0   B0 F1 G2 H3 J5 K6 L8 M10
6.5   A0 E1 F2 G3 H5 J6 K8 L10
10    D1 E2 F3 G5 H6 J8 K10
15    C1 D2 E3 F5 G6 H8 J10
25    A1 B1 C2 D3 E5 F6 G8 H10
40    A2 B2 C3 D5 E6 F8 G10
65    A3 B3 C5 D6 E8 F10
100   A5 B5 C6 D8 E10
150   A7 B7 C8 D10 E14
250   A10 B10 C10 D14 E21
400   A14 B14 C14 D21
650   A21 B21 C21
1000  A30 B30`,
	Reduced105E: `
0.010 Q0/1
0.015 P0/1
0.025 N0/1 R0/2
0.040 M0/1 Q0/2 R1/3
0.065 L0/1 P0/2 Q1/3 R1/4
0.10  K0/1 N0/2 P1/3 Q1/4 R2/5
0.15  J0/1 M0/2 N1/3 P1/4 Q2/5 R3/6
0.25  H0/1 L0/2 M1/3 N1/4 P2/5 Q3/6 R5/8
0.40  G0/1 K0/2 L1/3 M1/4 N2/5 P3/6 Q5/8 R7/10
0.65  F0/1 J0/2 K1/3 L1/4 M2/5 N3/6 P5/8 Q7/10 R10/13
1.0   E0/1 H0/2 J1/3 K1/4 L2/5 M3/6 N5/8 P7/10 Q10/13
1.5   D0/1 G0/2 H1/3 J1/4 K2/5 L3/6 M5/8 N7/10 P10/13
2.5   C0/1 F0/2 G1/3 H1/4 J2/5 K3/6 L5/8 M7/10 N10/13
4.0   B0/1 E0/2 F1/3 G1/4 H2/5 J3/6 K5/8 L7/10 M10/13
6.5   A0/1 D0/2 E1/3 F1/4 G2/5 H3/6 J5/8 K7/10 L10/13
10    C0/2 D1/3 E1/4 F2/5 G3/6 H5/8 J7/10 K10/13
15    B0/2 C1/3 D1/4 E2/5 F3/6 G5/8 H7/10 J10/13
25    A1/2 B1/3 C1/4 D2/5 E3/6 F5/8 G7/10 H10/13
40    A2/3 B2/4 C2/5 D3/6 E5/8 F7/10 G10/13
65    A3/4 B3/5 C3/6 D5/8 E7/10 F10/13
100   A5/6 B5/6 C5/8 D7/10 E10/13
150   A7/8 B7/8 C7/10 D10/13 E14/17
250   A10/11 B10/11 C10/13 D14/17 E21/24
400   A14/15 B14/15 C14/17 D21/24
650   A21/22 B21/22 C21/24
1000  A30/31 B30/31`,
}

const allLetters = "ABCDEFGHJKLMNPQRS" // without I and O

// sampleSizes, chips; those for reduced inspection are two letters smaller.
var sampleSizes = map[bool][]int{
	false: {2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150},
	true:  {2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800},
}

// A typedPlan is a letter with its numbers in the second copy.
type typedPlan struct{ row, ac, re int }

func typedColumn(t *testing.T, severity Severity, aql float64) []typedPlan {
	t.Helper()
	for line := range strings.Lines(strings.TrimSpace(columns[severity])) {
		fields := strings.Fields(line)
		if at, err := strconv.ParseFloat(fields[0], 64); err != nil || at != aql {
			continue
		}
		var plans []typedPlan
		for _, text := range fields[1:] {
			ac, re, both := strings.Cut(text[1:], "/")
			p := typedPlan{row: strings.Index(allLetters, text[:1])}
			p.ac, _ = strconv.Atoi(ac)
			p.re = p.ac + 1
			if both {
				p.re, _ = strconv.Atoi(re)
			}
			plans = append(plans, p)
		}
		return plans
	}
	t.Fatalf("no column %g of %s", aql, severity)
	return nil
}

// arrowTo goes from a letter to its plan as the arrows are drawn: above the first
// plan they point down, below the last up; of the gap after Ac 0 the upper cell
// points up, but not in the table for tightened inspection.
func arrowTo(severity Severity, plans []typedPlan, row int) typedPlan {
	for i, p := range plans {
		switch {
		case row == p.row:
			return p
		case row < p.row && i > 0 && plans[i-1].row+1 == row && severity != Tightened:
			return plans[i-1]
		case row < p.row:
			return p
		}
	}
	return plans[len(plans)-1]
}

// TestAllPlans goes through every lot size range, level, AQL and severity.
func TestAllPlans(t *testing.T) {
	checked := 0
	for _, r := range codeLetters() {
		for _, size := range []int{r.from, min(r.to, 2_000_000)} {
			for column, level := range Levels() {
				for _, severity := range Severities() {
					for _, aql := range AQLs() {
						plan, err := PlanFor(size, aql, level, severity)
						require.NoError(t, err)
						row := strings.Index(allLetters, r.letters[column])
						want := arrowTo(severity, typedColumn(t, severity, aql), row)
						n := sampleSizes[strings.HasPrefix(string(severity), "reduced")][want.row]
						name := fmt.Sprintf("%d chips, level %s, AQL %g, %s", size, level, aql, severity)
						assert.Equal(t, Plan{
							LotSize: size, AQL: aql, Level: level, Severity: severity,
							Letter: r.letters[column], UsedLetter: allLetters[want.row : want.row+1],
							SampleSize: min(n, size), WholeLot: n >= size, Accept: want.ac, Reject: want.re,
						}, plan, name)
						checked++
					}
				}
			}
		}
	}
	assert.Equal(t, 2*15*7*4*26, checked)
}

// TestCodeLetters compares with MIL-STD-105E Table I as published text copies of
// the standard give it.
func TestCodeLetters(t *testing.T) {
	const published = `
2 8 A A A A A A B
9 15 A A A A A B C
16 25 A A B B B C D
26 50 A B B C C D E
51 90 B B C C C E F
91 150 B B C D D F G
151 280 B C D E E G H
281 500 B C D E F H J
501 1200 C C E F G J K
1201 3200 C D E G H K L
3201 10000 C D F G J L M
10001 35000 C D F H K M N
35001 150000 D E G J L N P
150001 500000 D E G J M P Q
500001 9999999 D E H K N Q R`
	for line := range strings.Lines(strings.TrimSpace(published)) {
		fields := strings.Fields(line)
		for _, end := range fields[:2] {
			size, err := strconv.Atoi(end)
			require.NoError(t, err)
			for i, level := range Levels() {
				plan, err := PlanFor(size, 1.0, level, Normal)
				require.NoError(t, err)
				assert.Equal(t, fields[2+i], plan.Letter, "%d chips, level %s", size, level)
			}
		}
	}
}

// TestReadTables compares with MIL-STD-105E Tables II-A and II-B, AQL 0.65 to 15,
// as a public guide to service contracts prints them (National Institute of
// Building Sciences, AC-TABLE, tables 1-A and 1-B): Re, or an arrow, whose shaft
// runs over several rows. The guide shows an arrow up for letter A at AQL 10, where
// nothing is above; TestPublishedPlans has that cell. Of the tightened table the
// rows A to K could be read.
func TestReadTables(t *testing.T) {
	tables := map[Severity]string{
		Normal: `
A || || || || \/ 1  -- \/
B || || || \/ 1  /\ \/ 2
C || || \/ 1  /\ \/ 2  3
D || \/ 1  /\ \/ 2  3  4
E \/ 1  /\ \/ 2  3  4  6
F 1  /\ \/ 2  3  4  6  8
G /\ \/ 2  3  4  6  8  11
H \/ 2  3  4  6  8  11 15
J 2  3  4  6  8  11 15 22
K 3  4  6  8  11 15 22 /\
L 4  6  8  11 15 22 /\ ||
M 6  8  11 15 22 /\ || ||
N 8  11 15 22 /\ || || ||
P 11 15 22 /\ || || || ||
Q 15 22 /\ || || || || ||`,
		Tightened: `
A || || || || || \/ || ||
B || || || || \/ 1  || \/
C || || || \/ 1  || \/ 2
D || || \/ 1  || \/ 2  3
E || \/ 1  || \/ 2  3  4
F \/ 1  || \/ 2  3  4  6
G 1  || \/ 2  3  4  6  9
H || \/ 2  3  4  6  9  13
J \/ 2  3  4  6  9  13 19
K 2  3  4  6  9  13 19 /\`,
	}
	aqls := []float64{0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10, 15}
	for severity, text := range tables {
		var grid [][]string
		for line := range strings.Lines(strings.TrimSpace(text)) {
			grid = append(grid, strings.Fields(line))
		}
		for i, row := range grid {
			for j, aql := range aqls {
				at := i
				for _, head := range []string{`\/`, `/\`} { // along the shaft to the head
					step := map[string]int{`\/`: 1, `/\`: -1}[head]
					k := i
					for k >= 0 && k < len(grid) && grid[k][j+1] == "||" {
						k += step
					}
					if k >= 0 && k < len(grid) && grid[k][j+1] == head {
						at = k + step
						break
					}
				}
				if at >= len(grid) || grid[at][j+1] == "--" {
					continue // the rows that could not be read
				}
				got := masterTables()[severity].follow(row[0], aql)
				assert.Equal(t, grid[at][0], got.letter, "%s, letter %s, AQL %g", severity, row[0], aql)
				assert.Equal(t, grid[at][j+1], strconv.Itoa(got.cell.reject), "%s, letter %s, AQL %g", severity, row[0], aql)
			}
		}
	}
}

// TestRowsOfTableIIA compares the rows of the table for normal inspection with
// what published text copies of MIL-STD-105E Table II-A hold in each of them, from
// the left: from Ac 0, in R from 1, to 30 in A, 44 in B to E and 21 in the others.
func TestRowsOfTableIIA(t *testing.T) {
	sequence := []int{0, 1, 2, 3, 5, 7, 10, 14, 21, 30, 44}
	table := masterTables()[Normal]
	for i, letter := range table.letters {
		var got []int
		for _, c := range table.cells[i] {
			if c.step == 0 {
				got = append(got, c.accept)
			}
		}
		want := sequence[:9]
		switch {
		case letter == "A":
			want = sequence[:10]
		case letter <= "E":
			want = sequence
		case letter == "R":
			want = sequence[1:9]
		}
		assert.Equal(t, want, got, letter)
	}
}

// TestPublishedPlans has single plans that were published as examples.
func TestPublishedPlans(t *testing.T) {
	// The worked examples and the notes of a public manual for a slide rule of the
	// two standards (AQL inspection manual, examples 1 to 3, notes, and "AQLs below
	// 0.065"); its example 3 shows where ISO 2859-1:1999 and MIL-STD-105E differ.
	// plos: D. Jenkins and others, figure on ISO 2859-1:1999, PLOS ONE, 10 April
	// 2023, lots of 35 001 to 500 000.
	for _, c := range []struct {
		size     int
		aql      float64
		level    Level
		severity Severity
		n        int
		ac, re   int
		source   string
	}{
		{1000, 1.5, II, Normal, 80, 3, 4, "example 1"},
		{20, 1.5, I, Normal, 8, 0, 1, "example 2, two arrows down"},
		{125, 1.0, III, Reduced105E, 20, 0, 2, "example 3, ANSI"},
		{125, 1.0, III, Reduced, 32, 1, 2, "example 3, ISO"},
		{8, 10, II, Normal, 5, 1, 2, "note 1: letter A at AQL 10 goes to C"},
		{8, 10, II, Reduced105E, 2, 0, 2, "note 1: to C"},
		{9, 10, S1, Tightened, 8, 1, 2, "note 1: to D"},
		{600_000, 0.015, III, Normal, 800, 0, 1, "below 0.065: R to P"},
		{600_000, 0.015, III, Reduced, 315, 0, 1, "below 0.065: R to P"},
		{600_000, 0.015, III, Reduced105E, 315, 0, 1, "below 0.065: R to P"},
		{600_000, 0.025, III, Tightened, 3150, 1, 2, "below 0.065: R to S"},
		{600_000, 0.025, II, Tightened, 3150, 1, 2, "below 0.065: Q to S"},
		{600_000, 0.010, II, Normal, 1250, 0, 1, "below 0.065: 0/1 under Q"},
		{400_000, 0.65, S4, Normal, 80, 1, 2, "plos 1"},
		{400_000, 0.65, S3, Normal, 20, 0, 1, "plos 2, an arrow up"},
		{400_000, 0.40, S4, Normal, 125, 1, 2, "plos 3, an arrow down"},
		{40_000, 0.40, S3, Normal, 32, 0, 1, "plos 4"},
		{40_000, 0.25, S4, Normal, 50, 0, 1, "plos 5, an arrow up"},
		{40_000, 0.15, S4, Normal, 80, 0, 1, "plos 6"},
		{500, 1.0, II, Normal, 50, 1, 2, "Table II-A, letter H"},
	} {
		plan, err := PlanFor(c.size, c.aql, c.level, c.severity)
		require.NoError(t, err)
		assert.Equal(t, []int{min(c.n, c.size), c.ac, c.re}, []int{plan.SampleSize, plan.Accept, plan.Reject}, c.source)
	}
}

// TestDiagonals holds the tables to how they are made: sample sizes and AQLs both
// grow by about 10^0.2 a step, so that a larger sample at the next smaller AQL has
// the same numbers. Letters A to C, which share a sample size in the reduced
// tables, are apart.
func TestDiagonals(t *testing.T) {
	for severity, table := range masterTables() {
		first := 0
		if severity == Reduced || severity == Reduced105E {
			first = slices.Index(table.letters, "C")
		}
		for i := first; i+1 < len(table.letters); i++ {
			for j := 1; j < len(table.aqls); j++ {
				here, there := table.cells[i][j], table.cells[i+1][j-1]
				if here.step == 0 && there.step == 0 {
					assert.Equal(t, here, there, "%s, %s at AQL %g", severity, table.letters[i], table.aqls[j])
				}
			}
		}
	}
}

// TestFormatAQL writes each AQL as the heading of the tables does.
func TestFormatAQL(t *testing.T) {
	var written []string
	for _, aql := range AQLs() {
		written = append(written, FormatAQL(aql))
	}
	assert.Equal(t, rows("tables/2-A.txt")[0][2:], written)
}

func TestRefusedPlans(t *testing.T) {
	for _, c := range []struct {
		size     int
		aql      float64
		level    Level
		severity Severity
		names    string
	}{
		{1, 1.0, II, Normal, "begin at 2"},
		{500, 1.1, II, Normal, "0.65, 1.0, 1.5"},
		{500, 1.0, "IV", Normal, "S-1, S-2, S-3, S-4, I, II, III"},
		{500, 1.0, II, "strict", "normal, tightened, reduced, reduced-105E"},
	} {
		_, err := PlanFor(c.size, c.aql, c.level, c.severity)
		assert.ErrorContains(t, err, c.names)
	}
}
