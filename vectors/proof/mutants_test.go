package proof_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/stimulus"
)

// A mutant is a definition with one line changed: a chip broken as real ones break,
// described by another way than the fault models.
type mutant struct{ part, from, to string }

// each makes a mutant for every bit of a register: %s stands for a mask of it.
func each(bits int, part, from, to string) (all []mutant) {
	for i := range bits {
		all = append(all, mutant{part, from, fmt.Sprintf(to, fmt.Sprintf("%d'%d", bits, uint64(1)<<i))})
	}
	return all
}

// mutants are chips that must not pass, whatever state they come up in. Cells that
// ignore a reset, a load at the other edge, dead taps, rates at the wrong count, and
// a binary counter in a decade's package: common practice.
func mutants() (all []mutant) {
	all = append(all, each(6, "74174", "when !/CLR  : 0", "when !/CLR  : Q & %s")...)
	all = append(all, each(8, "74273", "when !/CLR  : 0", "when !/CLR  : Q & %s")...)
	all = append(all, each(6, "74174", "when !/CLR  : 0", "when !/CLR  : %s")...)
	all = append(all, each(14, "4020", "when R      : 0", "when R      : count & %s")...)
	all = append(all, each(12, "4040", "when R      : 0", "when R      : Q & %s")...)
	all = append(all, each(8, "74166", "when !/CLR              : 0", "when !/CLR              : %s")...)
	all = append(all, each(4, "4510", "when R                          : 0", "when R                          : Q & %s")...)
	all = append(all, each(8, "40103", "when !/APE             : J", "when !/APE             : J & !%s")...)
	return append(all,
		mutant{"40103", "on rise CLK when !/SPE : J", "on fall CLK when !/SPE : J"},
		mutant{"40103", "on rise CLK when !/CE  : count - 1", "on rise CLK when !/CE  : count == 160 ? 8'153 : count - 1"},
		mutant{"40103", "/CO = /CE | count != 0", "/CO = /CE | count > 1"},
		mutant{"74161", "on rise CLK when !/LOAD  : IN", "on fall CLK when !/LOAD  : IN"},
		mutant{"74161", "on rise CLK when ENP & ENT : Q + 1", "on rise CLK when ENP : Q + 1"},
		mutant{"4510", "Q == 9 ? 0 : Q + 1", "Q == 8 ? 0 : Q + 1"},
		mutant{"74110", "J ? (K ? !q : 1) : K ? 0 : q", "J ? (K ? !q : 1) : K ? 0 : !q"},
		mutant{"4541", "count[15] : count[7]", "0 : count[7]"},
		mutant{"4541", "B ? count[9] : count[12]", "B ? count[9] : 0"},
		mutant{"7497", "D & q[2:0] == 3", "D & q[2:0] == 2"},
		mutant{"7497", "A & q == 31", "A & q == 30"},
		mutant{"7497", "C & q[3:0] == 7", "C & q[3:0] == 15"},
	)
}

func TestNoChangedLinePasses(t *testing.T) {
	for _, m := range mutants() {
		text := definition(t, m.part)
		require.Contains(t, text, m.from, m.part)
		parts, err := part.Parse("mutant.part", strings.Replace(text, m.from, m.to, 1))
		require.NoError(t, err, "%s: %s", m.part, m.to)
		bad, err := logic.Compile(parts[len(parts)-1].Variants[0])
		require.NoError(t, err)
		p := proofOf(t, m.part)
		for _, high := range []bool{false, true} {
			require.NotZero(t, firstWrong(bad, p.Sequence, high), "%s with %q passes, its state coming up %v", m.part, m.to, high)
		}
	}
}

// Whole parts that are easily taken for each other (common practice).
func TestNeighboursAreToldApart(t *testing.T) {
	for _, pair := range [][2]string{{"40103", "40102"}, {"40102", "40103"}, {"74160", "74161"}, {"74161", "74163"}, {"74192", "74193"}, {"4017", "4022"}} {
		require.NotContains(t, proofOf(t, pair[0]).Coverage.Intruders, pair[1])
	}
}

func proofOf(t *testing.T, number string) *proof.Proof {
	t.Helper()
	p, err := library.Builtin().Find(number)
	require.NoError(t, err)
	v := p.Variants[0]
	kept, err := proof.Of(part.Type{Variant: v, Family: v.Families[0]}, nil)
	require.NoError(t, err)
	return kept
}

// definition gives the text of a part of the library, with those before it in its
// file that it may be like.
func definition(t *testing.T, number string) string {
	t.Helper()
	files, err := filepath.Glob("../library/*.part")
	require.NoError(t, err)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		if at := strings.Index("\n"+string(text), "\npart "+number+" "); at >= 0 {
			rest := string(text)[at:]
			if end := strings.Index(rest, "\npart "); end >= 0 {
				rest = rest[:end+1]
			}
			if !strings.Contains(rest, "\nlike ") {
				return rest
			}
			return string(text)[:at] + rest
		}
	}
	t.Fatalf("no part %s", number)
	return ""
}

// firstWrong gives the first step, from 1, at which a chip shows a wrong level; 0 for
// none. It drives the chip by itself, pin by pin as the steps say.
func firstWrong(c *logic.Circuit, s *stimulus.Sequence, high bool) int {
	m := c.NewMachine()
	m.Wake(func(int) uint64 {
		if high {
			return ^uint64(0)
		}
		return 0
	})
	for i, st := range s.Steps {
		for pin := range st.Driven.All() {
			m.Set(pin, logic.Splat(logic.FromBool(st.Drive.Has(pin))))
		}
		m.Settle()
		for pin := range st.Compared.All() {
			want, _ := st.Expect(pin)
			if got := m.Out(pin).Lane(0); got != want && got != logic.X {
				return i + 1
			}
		}
	}
	return 0
}

// Changes that turn a definition's rule into another: what a part of the data book's
// next column might do (common practice).
var ruleChanges = []struct {
	from *regexp.Regexp
	to   string
}{
	{regexp.MustCompile(`on rise`), "on fall"},
	{regexp.MustCompile(`on fall`), "on rise"},
	{regexp.MustCompile(` & !?/?[A-Z][A-Za-z0-9_/]*`), ""},
	{regexp.MustCompile(`== 9`), "== 8"},
	{regexp.MustCompile(`\+ 1`), "+ 2"},
	{regexp.MustCompile(`- 1`), "- 2"},
	{regexp.MustCompile(`when !(/?[A-Z])`), "when $1"},
	{regexp.MustCompile(`: 0\b`), ": 1"},
}

// notTold marks lines that say what is not told, or not allowed, or what a capacitor times: a
// change of them changes nothing that the vectors are to show.
var notTold = regexp.MustCompile(`\bx\b|^\s*(never|stable|unstable|together|sequence|step|repeat|trigger|maybe|clear|runs|width|period)\b`)

// equal are changes that no legal steps show, with the reason.
var equal = map[string]string{
	"4490": "its registers of what is in doubt are none of the chip's",
	"4553": "at which edge its scan moves is not told, and its definition says so",
	"4541": "with MODE low the first change stays: the half clock by which it comes earlier is not compared",
}

// Every rule of every part that remembers is changed in each of these ways, a line at
// a time. None of what comes out passes, from either state at power-up.
func TestNoChangedRulePasses(t *testing.T) {
	parts, err := library.All()
	require.NoError(t, err)
	tried := 0
	for _, p := range parts {
		v := p.Variants[0]
		turns := slices.ContainsFunc(v.Pins, func(pin part.Pin) bool { return pin.Role == part.Bidirectional })
		if v.Refusal != "" || len(p.Variants) > 1 || len(v.Logic.Registers) == 0 || turns || equal[p.Number] != "" || below[p.Number] != "" {
			continue
		}
		text := definition(t, p.Number)
		at := strings.Index(text, "register")
		if at < 0 || strings.Contains(text, "\nlike ") {
			continue
		}
		s := proofOf(t, p.Number).Sequence
		for _, change := range ruleChanges {
			for _, loc := range change.from.FindAllStringIndex(text[at:], -1) {
				from, to := at+loc[0], at+loc[1]
				line := lineAt(text, from)
				if notTold.MatchString(line) {
					continue
				}
				changed := text[:from] + change.from.ReplaceAllString(text[from:to], change.to) + text[to:]
				all, err := part.Parse("changed.part", changed)
				if err != nil {
					continue // no definition any more
				}
				c, err := logic.Compile(all[len(all)-1].Variants[0])
				require.NoError(t, err)
				tried++
				for _, high := range []bool{false, true} {
					if firstWrong(c, s, high) == 0 {
						t.Errorf("%s: %q changed to %q passes, its state coming up %v", p.Number, strings.TrimSpace(line), change.to, high)
					}
				}
			}
		}
	}
	require.Greater(t, tried, 400)
	t.Logf("%d changed rules", tried)
}

// lineAt is the line of a text around a place.
func lineAt(text string, at int) string {
	from := strings.LastIndex(text[:at], "\n") + 1
	if end := strings.Index(text[from:], "\n"); end >= 0 {
		return text[from : from+end]
	}
	return text[from:]
}
