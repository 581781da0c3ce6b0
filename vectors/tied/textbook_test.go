package tied

import (
	"strings"
	"testing"

	"chipassay/vectors/twolevel"
)

// TestAsTextbooksWrite: + is OR, a dot or * is AND, and a bar is a ' or ~ (switching algebra,
// any textbook). As the definitions have them, + and * would be a sum and a product.
func TestAsTextbooksWrite(t *testing.T) {
	and := func(a, b, c bool) bool { return a && b }
	or := func(a, b, c bool) bool { return a || b }
	for _, c := range []struct {
		text string
		is   func(a, b, c bool) bool
	}{
		{"a + b", or}, {"a || b", or}, {"a ∨ b", or}, {"a or b", or},
		{"a * b", and}, {"a.b", and}, {"a · b", and}, {"a && b", and}, {"a ∧ b", and}, {"a And b", and},
		{"a*b + c", func(a, b, c bool) bool { return a && b || c }},
		{"a.b.c", func(a, b, c bool) bool { return a && b && c }},
		{"a'*b + a*b'", func(a, b, c bool) bool { return a != b }},
		{"a ⊕ b", func(a, b, c bool) bool { return a != b }},
		{"~a & b", func(a, b, c bool) bool { return !a && b }},
		{"¬a & b;", func(a, b, c bool) bool { return !a && b }},
		{"(a + b)'", func(a, b, c bool) bool { return !(a || b) }},
		{"((a + b)' c')'", func(a, b, c bool) bool { return a || b || c }},
		{"((a + b)'.c')'", func(a, b, c bool) bool { return a || b || c }},
		{"(a + b)(b + c)", func(a, b, c bool) bool { return (a || b) && (b || c) }},
		{"a'(b + c)", func(a, b, c bool) bool { return !a && (b || c) }},
		{"(a + b)' c", func(a, b, c bool) bool { return !(a || b) && c }},
		{"NOT (a OR b) AND (c)", func(a, b, c bool) bool { return !(a || b) && c }},
		{"parity({a, b, c})", func(a, b, c bool) bool { return a != b != c }},
		{"a'' & b", and},
		{"!a' & b", and},
		{"a + b + c", func(a, b, c bool) bool { return a || b || c }}, // their sum's bit is the parity
		{"a == b", func(a, b, c bool) bool { return a == b }},
		{"a != b", func(a, b, c bool) bool { return a != b }},
	} {
		w, err := Want(c.text)
		if err != nil {
			t.Error(err)
			continue
		}
		for row := range 1 << w.Inputs {
			level := map[string]bool{}
			for i, name := range w.Names {
				level[name] = row>>i&1 != 0
			}
			if got := w.Level(row) == twolevel.High; got != c.is(level["a"], level["b"], level["c"]) {
				t.Errorf("%q is %v for %v", c.text, got, level)
			}
		}
	}
}

func TestWhatCannotBeRead(t *testing.T) {
	for text, why := range map[string]string{
		"a nand b":        "write !(a & b) for NAND",
		"a XNOR b":        "write !(a ^ b) for XNOR",
		"y = a & b":       "behind the =",
		"/a & b | a & /b": "write !b for NOT b",
		"a + b + c > 1":   "+ is OR",
		"a b":             "cannot be read",
		"'a":              "write !a for NOT a",
		"(a & b":          "cannot be read",
		"a & !a":          "always the same level",
	} {
		if _, err := Want(text); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%q: %v, want %q", text, err, why)
		}
	}
}
