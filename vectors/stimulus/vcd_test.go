package stimulus

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// A dump is a four-state value change dump as read: the values of each
// variable, by scope and name, at each time.
type dump struct {
	timescale string
	codes     map[string]string // identifier code of "7400.drive.1A"
	at        []map[string]byte // by time: value by identifier code
}

// readVCD is a strict reader of the part of IEEE 1364-2005's clause 18 that a
// dump of one-bit wires needs: keyword sections that end in $end, declarations
// before simulation commands, each scope closed, times that rise, and values
// of declared variables only. It knows nothing of the writer.
func readVCD(text string) (*dump, error) {
	d := &dump{codes: map[string]string{}}
	declared := map[string]bool{}
	tokens := strings.Fields(text)
	section := func() (words []string, err error) {
		for i, w := range tokens {
			if w == "$end" {
				words, tokens = tokens[:i], tokens[i+1:]
				return words, nil
			}
		}
		return nil, fmt.Errorf("a section has no $end")
	}
	var scopes []string
	definitions := true
	for definitions {
		if len(tokens) == 0 {
			return nil, fmt.Errorf("no $enddefinitions")
		}
		keyword := tokens[0]
		tokens = tokens[1:]
		words, err := section()
		if err != nil {
			return nil, err
		}
		switch keyword {
		case "$comment", "$date", "$version":
		case "$timescale":
			d.timescale = strings.Join(words, "")
		case "$scope":
			if len(words) != 2 || words[0] != "module" {
				return nil, fmt.Errorf("scope %q", words)
			}
			scopes = append(scopes, words[1])
		case "$upscope":
			if len(words) != 0 || len(scopes) == 0 {
				return nil, fmt.Errorf("$upscope out of place")
			}
			scopes = scopes[:len(scopes)-1]
		case "$var":
			if len(words) != 4 || words[0] != "wire" || words[1] != "1" || len(scopes) == 0 {
				return nil, fmt.Errorf("variable %q", words)
			}
			name := strings.Join(scopes, ".") + "." + words[3]
			if d.codes[name] != "" || declared[words[2]] {
				return nil, fmt.Errorf("%s or its code is declared twice", name)
			}
			d.codes[name], declared[words[2]] = words[2], true
		case "$enddefinitions":
			definitions = false
		default:
			return nil, fmt.Errorf("keyword %q", keyword)
		}
	}
	if len(scopes) != 0 || d.timescale == "" {
		return nil, fmt.Errorf("an open scope, or no timescale")
	}
	return d, d.changes(tokens, declared)
}

// changes reads the simulation commands.
func (d *dump) changes(tokens []string, declared map[string]bool) error {
	now := map[string]byte{}
	time, dumping := -1, false
	for _, w := range tokens {
		switch w[0] {
		case '#':
			t, err := strconv.Atoi(w[1:])
			if err != nil || t <= time || dumping {
				return fmt.Errorf("time %q after %d", w, time)
			}
			for len(d.at) < t {
				d.at = append(d.at, clone(now))
			}
			time = t
		case '0', '1', 'x', 'z':
			if code := w[1:]; time < 0 || !declared[code] {
				return fmt.Errorf("value change %q", w)
			}
			now[w[1:]] = w[0]
		case '$':
			if (w == "$end") != dumping || w != "$end" && w != "$dumpvars" {
				return fmt.Errorf("command %q", w)
			}
			dumping = !dumping
		default:
			return fmt.Errorf("token %q", w)
		}
	}
	d.at = append(d.at, clone(now))
	return nil
}

func clone(m map[string]byte) map[string]byte {
	c := make(map[string]byte, len(m))
	for k, v := range m {
		c[k] = v
	}
	return c
}

// holds checks that the dump shows the steps, by the pins' names.
func (d *dump) holds(t require.TestingT, q *Sequence) {
	require.Equal(t, "1us", d.timescale)
	require.Len(t, d.codes, q.Inputs.Len()+q.Outputs.Len())
	require.Len(t, d.at, len(q.Steps)+2)
	for i, s := range q.Steps {
		for n := range q.Inputs.All() {
			want := "z"
			if s.Driven.Has(n) {
				want = strconv.Itoa(int(s.Drive >> (n - 1) & 1))
			}
			code := d.codes[q.Variant.Part.Number+".drive."+q.Variant.Pins[n-1].Name]
			require.Equal(t, want, string(d.at[i+1][code]), "step %d, drive of pin %d", i+1, n)
		}
		for n := range q.Outputs.All() {
			want := "x"
			if s.Z.Has(n) {
				want = "z"
			} else if s.Compared.Has(n) {
				want = strconv.Itoa(int(s.High >> (n - 1) & 1))
			}
			code := d.codes[q.Variant.Part.Number+".expect."+q.Variant.Pins[n-1].Name]
			require.Equal(t, want, string(d.at[i+1][code]), "step %d, expectation of pin %d", i+1, n)
		}
	}
}

func TestVCDReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := sequences(t)
		d, err := readVCD(string(written(t, vcdOf(q))))
		require.NoError(t, err)
		d.holds(t, q)
	})
}

// The dump goes through a wave viewer's own reader and comes back with the
// same values: gtkwave's vcd2fst turns it into its working format, fst2vcd
// back.
func TestVCDThroughWaveViewer(t *testing.T) {
	for _, tool := range []string{"vcd2fst", "fst2vcd"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Fatalf("%s is missing: apt-get install -y --no-install-recommends gtkwave", tool)
		}
	}
	for name, q := range map[string]*Sequence{"nand": nand(), "bus": bus(), "wide": wide()} {
		dir := t.TempDir()
		vcd, fst := filepath.Join(dir, name+".vcd"), filepath.Join(dir, name+".fst")
		require.NoError(t, os.WriteFile(vcd, written(t, vcdOf(q)), 0o666))
		out, err := exec.Command("vcd2fst", vcd, fst).CombinedOutput()
		require.NoError(t, err, string(out))
		back, err := exec.Command("fst2vcd", fst).Output()
		require.NoError(t, err)
		d, err := readVCD(string(back))
		require.NoError(t, err, string(back))
		d.holds(t, q)
	}
}

// The strict reader refuses what the standard does not allow.
func TestStrictReader(t *testing.T) {
	const head = "$timescale 1 us $end $scope module m $end $var wire 1 ! a $end $upscope $end $enddefinitions $end "
	_, err := readVCD(head + "#0 $dumpvars x! $end #1 0! #2")
	assert.NoError(t, err)
	for _, bad := range []string{
		"", head + "0!", head + "#1 0! #1", head + "#0 0?", head + "#0 2!", head + "#0 $dumpvars 0! #1",
		strings.Replace(head, "$upscope $end", "", 1), strings.Replace(head, "$timescale 1 us $end", "", 1),
	} {
		_, err := readVCD(bad)
		assert.Error(t, err, bad)
	}
}
