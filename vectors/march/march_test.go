package march_test

import (
	"math/bits"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/vectors/march"
)

// The lengths are those in the names the literature gives: 5n, 6n, 8n, 10n, 22n
// (van de Goor 1991, 1993; Hamdioui et al. 2002, whose abstract states 22n);
// 4n, 15n, 17n and 23n+2Del from memory of van de Goor 1993; 26n and 41n from memory of
// Hamdioui et al. 2002, 2003.
func TestLengths(t *testing.T) {
	published := []struct {
		name              string
		operations, waits int
	}{
		{"MATS", 4, 0}, {"MATS+", 5, 0}, {"MATS++", 6, 0}, {"March X", 6, 0}, {"March Y", 8, 0}, {"March C-", 10, 0},
		{"March A", 15, 0}, {"March B", 17, 0}, {"March SS", 22, 0}, {"March G", 23, 2}, {"March RAW", 26, 0}, {"March SL", 41, 0},
	}
	all := march.All()
	require.Len(t, all, len(published))
	for i, p := range published {
		assert.Equal(t, p.name, all[i].Name)
		assert.Equal(t, p.operations, all[i].Operations(), p.name)
		assert.Equal(t, p.waits, all[i].Waits(), p.name)
	}
}

// March C- and March B as a maker's handbook for self-tests of automotive and
// appliance controllers prints them, after van de Goor 1993.
func TestNotationAsPrinted(t *testing.T) {
	for name, printed := range map[string]string{
		"March C-": "{⇕(w0);⇑(r0,w1);⇑(r1,w0);⇓(r0,w1);⇓(r1,w0);⇕(r0)}",
		"March B":  "{⇕(w0);⇑(r0,w1,r1,w0,r0,w1);⇑(r1,w0,w1);⇓(r1,w0,w1,w0);⇓(r0,w1,w0)}",
	} {
		m, err := march.ByName(name)
		require.NoError(t, err)
		assert.Equal(t, printed, m.String())
	}
}

func TestByName(t *testing.T) {
	for given, want := range map[string]string{
		"March C-": "March C-", "march c-": "March C-", "marchc-": "March C-", "c-": "March C-", "MARCH-C-": "March C-",
		"March C−": "March C-", "mats+": "MATS+", "MATS ++": "MATS++", "march_ss": "March SS", "x": "March X", "mats": "MATS",
	} {
		m, err := march.ByName(given)
		if assert.NoError(t, err, given) {
			assert.Equal(t, want, m.Name, given)
		}
	}
	for _, given := range []string{"March C", "c", "", "-", "march", "galpat"} {
		_, err := march.ByName(given)
		assert.EqualError(t, err, `no march test named "`+given+`"; there are MATS, MATS+, MATS++, March X, March Y, March C-, March A, March B, March SS, March G, March RAW, March SL`)
	}
	_, err := march.ByName(march.Default)
	assert.NoError(t, err)
}

func TestRead(t *testing.T) {
	for given, want := range map[string]string{
		"c-": "March C- {⇕(w0);⇑(r0,w1);⇑(r1,w0);⇓(r0,w1);⇓(r1,w0);⇕(r0)}", "any(w0);up(r0,w1);down(r1)": "march test {⇕(w0);⇑(r0,w1);⇓(r1)}",
	} {
		m, err := march.Read(given)
		if assert.NoError(t, err, given) {
			assert.Equal(t, want, m.Name+" "+m.String())
		}
	}
	for _, given := range []string{"March C", "any(w0"} {
		_, err := march.Read(given)
		assert.Error(t, err, given)
	}
}

func TestParseKeyboardNotations(t *testing.T) {
	want, err := march.ByName("MATS+")
	require.NoError(t, err)
	for _, s := range []string{
		"{⇕(w0);⇑(r0,w1);⇓(r1,w0)}", "↕(w0);↑(r0,w1);↓(r1,w0)", "{|(w0);^(r0,w1);v(r1,w0)}",
		"any(w0); up(r0,w1); down(r1,w0)", " { ANY ( W0 ) ; Up(R0 , W 1) ;\tV(r1,w0) } ",
	} {
		m, err := march.Parse(s)
		if assert.NoError(t, err, s) {
			assert.Equal(t, want.Elements, m.Elements, s)
		}
	}
}

func TestParseErrorsPointAtThePlace(t *testing.T) {
	for _, c := range []struct{ notation, message string }{
		{"{⇕(w0);⇑(r0,x1)}", "march test: an operation is r0, r1, w0 or w1\n    {⇕(w0);⇑(r0,x1)}\n                ^"},
		{"⇕(w0);⇑(r1)", "march test: r1 expects 1 where the cells hold 0: a good memory would fail\n    ⇕(w0);⇑(r1)\n            ^"},
		{"⇕(r0)", "march test: r0 reads before anything was written\n    ⇕(r0)\n      ^"},
		{"⇕(w0)", "march test: the test reads nothing, so it finds nothing\n    ⇕(w0)\n         ^"},
		{"⇕(w2)", "march test: a 0 or a 1 is missing here\n    ⇕(w2)\n       ^"},
		{"{⇕(w0,r0)", "march test: a ; or a } is missing here\n    {⇕(w0,r0)\n             ^"},
		{"⇕(w0,r0)}", "march test: the test ends before this\n    ⇕(w0,r0)}\n            ^"},
		{"⇕ w0", "march test: a ( is missing here\n    ⇕ w0\n      ^"},
		{"⇕(w0 r0)", "march test: a , or a ) is missing here\n    ⇕(w0 r0)\n         ^"},
		{"⇕(w0,r0);", "march test: an element begins with ⇑ ⇓ ⇕, ^ v |, up, down or any, or is Del\n    ⇕(w0,r0);\n             ^"},
		{"⇕()", "march test: an operation is r0, r1, w0 or w1\n    ⇕()\n      ^"},
		{"", "march test: an element begins with ⇑ ⇓ ⇕, ^ v |, up, down or any, or is Del\n    \n    ^"},
	} {
		_, err := march.Parse(c.notation)
		assert.EqualError(t, err, c.message)
		var syntax *march.SyntaxError
		assert.ErrorAs(t, err, &syntax)
	}
}

func TestRetention(t *testing.T) {
	m, err := march.ByName("MATS+")
	require.NoError(t, err)
	r := m.Retention()
	assert.Equal(t, "{⇕(w0);⇑(r0,w1);⇓(r1,w0);Del;⇕(r0,w1);Del;⇕(r1)}", r.String())
	assert.Equal(t, "MATS+ with Del", r.Name)
	assert.Len(t, m.Elements, 3, "the test itself is unchanged")
}

// genTest draws a march test that a good memory passes.
func genTest(r *rapid.T) march.Test {
	var m march.Test
	held := uint8(2) // nothing yet
	reads := false
	elements := rapid.IntRange(1, 6).Draw(r, "elements")
	for len(m.Elements) < elements || !reads {
		if rapid.IntRange(0, 5).Draw(r, "kind") == 0 {
			m.Elements = append(m.Elements, march.Element{Wait: true})
			continue
		}
		e := march.Element{Order: rapid.SampledFrom([]march.Order{march.Any, march.Up, march.Down}).Draw(r, "order")}
		for range rapid.IntRange(1, 6).Draw(r, "operations") {
			o := march.Operation{Write: held == 2 || rapid.Bool().Draw(r, "write"), Value: held}
			if o.Write {
				o.Value = uint8(rapid.IntRange(0, 1).Draw(r, "value"))
				held = o.Value
			} else {
				reads = true
			}
			e.Operations = append(e.Operations, o)
		}
		m.Elements = append(m.Elements, e)
	}
	return m
}

func TestParseReadsWhatStringWrites(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := genTest(r)
		back, err := march.Parse(m.String())
		require.NoError(r, err)
		require.Equal(r, m, back)
		retention, err := march.Parse(m.Retention().String())
		require.NoError(r, err)
		require.Equal(r, m.Operations()+3, retention.Operations())
	})
}

// What a good memory does is a plain slice here, apart from the simulator.
func TestGoodMemoryNeverFails(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := genTest(r)
		width := rapid.IntRange(1, 9).Draw(r, "width")
		memory := rapid.SliceOfN(rapid.Uint32Range(0, 1<<width-1), 1, 16).Draw(r, "content")
		for _, background := range march.Backgrounds(width) {
			for _, e := range m.Elements {
				for i := range memory {
					if e.Order == march.Down {
						i = len(memory) - 1 - i
					}
					for _, o := range e.Operations {
						word := march.Word(background, o.Value, width)
						if o.Write {
							memory[i] = word
						}
						require.Equal(r, word, memory[i])
					}
				}
			}
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, m := range march.All() {
		f.Add(m.String())
	}
	f.Add("up(w0);v(r0,\x00w1)|Del")
	f.Fuzz(func(t *testing.T, s string) {
		m, err := march.Parse(s)
		if err != nil {
			var syntax *march.SyntaxError
			require.ErrorAs(t, err, &syntax)
			require.LessOrEqual(t, syntax.Column, len([]rune(syntax.Notation)))
			require.GreaterOrEqual(t, syntax.Column, 0)
			return
		}
		back, err := march.Parse(m.String())
		require.NoError(t, err)
		require.Equal(t, m, back)
	})
}

// The backgrounds of 4 and 8 bits as van de Goor 1991 gives them.
func TestBackgrounds(t *testing.T) {
	assert.Equal(t, []uint32{0}, march.Backgrounds(1))
	assert.Equal(t, []uint32{0b00, 0b01}, march.Backgrounds(2))
	assert.Equal(t, []uint32{0b0000, 0b0101, 0b0011}, march.Backgrounds(4))
	assert.Equal(t, []uint32{0, 0b01010101, 0b00110011, 0b00001111}, march.Backgrounds(8))
	assert.Len(t, march.Backgrounds(9), 5)
	assert.Len(t, march.Backgrounds(32), 6)
	assert.Equal(t, uint32(0b1010), march.Word(0b0101, 1, 4))
	assert.Equal(t, uint32(0xFFFFFFFF), march.Word(0, 1, 32))
}

// Van de Goor's reason for the backgrounds: every two bits of a word are seen
// alike in one and different in another.
func TestBackgroundsTellBitsApart(t *testing.T) {
	for width := 1; width <= 32; width++ {
		backgrounds := march.Backgrounds(width)
		require.Len(t, backgrounds, bits.Len(uint(width-1))+1)
		for i := range width {
			for j := range i {
				alike, apart := false, false
				for _, b := range backgrounds {
					if b>>i&1 == b>>j&1 {
						alike = true
					} else {
						apart = true
					}
				}
				require.True(t, alike && apart, "%d bits: %d and %d", width, i, j)
			}
		}
	}
}

func TestOrders(t *testing.T) {
	orders := march.Orders(3, 2)
	require.Len(t, orders, 2)
	assert.Equal(t, march.AddressOrder{Name: "fast-row", Lines: []int{0, 1, 2, 3, 4}}, orders[0])
	assert.Equal(t, march.AddressOrder{Name: "fast-column", Lines: []int{3, 4, 0, 1, 2}}, orders[1])
	assert.Equal(t, 8, orders[1].Address(1), "the first step of fast-column changes the lowest column line")
	assert.Equal(t, 1, orders[1].Address(4))
	for _, bits := range [][2]int{{4, 0}, {0, 4}} {
		assert.Equal(t, []march.AddressOrder{{Name: "linear", Lines: []int{0, 1, 2, 3}}}, march.Orders(bits[0], bits[1]))
	}
}

// An order visits every address once, and in some order each line of a decoder
// changes more often than every line of the other.
func TestOrdersVisitEveryAddress(t *testing.T) {
	for _, o := range march.Orders(4, 3) {
		seen := map[int]bool{}
		changes := make([]int, 7)
		for i := range 1 << 7 {
			seen[o.Address(i)] = true
			if i > 0 {
				for line := range changes {
					changes[line] += (o.Address(i) ^ o.Address(i-1)) >> line & 1
				}
			}
		}
		assert.Len(t, seen, 1<<7)
		if strings.HasSuffix(o.Name, "row") {
			assert.Equal(t, []int{127, 63, 31, 15, 7, 3, 1}, changes)
		} else {
			assert.Equal(t, []int{15, 7, 3, 1, 127, 63, 31}, changes)
		}
	}
}
