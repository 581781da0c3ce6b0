// Package march holds the march tests of the literature, in its notation. It simulates
// which faults of a memory each test finds, and works out from the failed cells what
// is wrong with a memory.
//
// A march element is a sequence of operations that is applied to one cell
// before going on to the next, over all cells, in ascending (⇑) or descending
// (⇓) address order or in either (⇕); w0 writes 0, r0 reads and expects 0; Del
// waits. A march test is a sequence of elements. After
//
//   - A. J. van de Goor, Testing Semiconductor Memories: Theory and Practice,
//     Wiley 1991: notation, fault models, MATS to March C-, data backgrounds;
//   - A. J. van de Goor, "Using march tests to test SRAMs", IEEE Design & Test of
//     Computers 10(1), 1993, pp. 8-14: the tests, and March G with its delays;
//   - S. Hamdioui, A. J. van de Goor, M. Rodgers, "March SS: a test for all static
//     simple RAM faults", MTDT 2002: fault primitives, March SS;
//   - S. Hamdioui, Z. Al-Ars, A. J. van de Goor, "Testing static and dynamic faults in
//     random access memories", VTS 2002: March RAW;
//   - S. Hamdioui, Z. Al-Ars, A. J. van de Goor, M. Rodgers, "March SL: a test for all
//     static linked memory faults", ATS 2003 (from memory).
//
// Nothing here knows how a memory is wired or how an adapter reaches it.
package march

import (
	"fmt"
	"slices"
	"strings"
	"sync"
)

// The tests, as the literature prints them.
var tests = []struct{ name, notation string }{
	{"MATS", "{⇕(w0);⇕(r0,w1);⇕(r1)}"},                                                                                 // 4n, van de Goor 1991
	{"MATS+", "{⇕(w0);⇑(r0,w1);⇓(r1,w0)}"},                                                                             // 5n, van de Goor 1991
	{"MATS++", "{⇕(w0);⇑(r0,w1);⇓(r1,w0,r0)}"},                                                                         // 6n, van de Goor 1991
	{"March X", "{⇕(w0);⇑(r0,w1);⇓(r1,w0);⇕(r0)}"},                                                                     // 6n, van de Goor 1991
	{"March Y", "{⇕(w0);⇑(r0,w1,r1);⇓(r1,w0,r0);⇕(r0)}"},                                                               // 8n, van de Goor 1991
	{"March C-", "{⇕(w0);⇑(r0,w1);⇑(r1,w0);⇓(r0,w1);⇓(r1,w0);⇕(r0)}"},                                                  // 10n, van de Goor 1991
	{"March A", "{⇕(w0);⇑(r0,w1,w0,w1);⇑(r1,w0,w1);⇓(r1,w0,w1,w0);⇓(r0,w1,w0)}"},                                       // 15n, Suk and Reddy 1981
	{"March B", "{⇕(w0);⇑(r0,w1,r1,w0,r0,w1);⇑(r1,w0,w1);⇓(r1,w0,w1,w0);⇓(r0,w1,w0)}"},                                 // 17n, Suk and Reddy 1981
	{"March SS", "{⇕(w0);⇑(r0,r0,w0,r0,w1);⇑(r1,r1,w1,r1,w0);⇓(r0,r0,w0,r0,w1);⇓(r1,r1,w1,r1,w0);⇕(r0)}"},              // 22n, Hamdioui et al. 2002
	{"March G", "{⇕(w0);⇑(r0,w1,r1,w0,r0,w1);⇑(r1,w0,w1);⇓(r1,w0,w1,w0);⇓(r0,w1,w0);Del;⇕(r0,w1,r1);Del;⇕(r1,w0,r0)}"}, // 23n + 2 Del, van de Goor 1993
	// 26n, Hamdioui et al. 2002, as a library for self-tests of memories has it.
	{"March RAW", "{⇕(w0);⇑(r0,w0,r0,r0,w1,r1);⇑(r1,w1,r1,r1,w0,r0);⇓(r0,w0,r0,r0,w1,r1);⇓(r1,w1,r1,r1,w0,r0);⇕(r0)}"},
	// 41n, Hamdioui et al. 2003, from memory.
	{"March SL", "{⇕(w0);⇑(r0,r0,w1,w1,r1,r1,w0,w0,r0,w1);⇑(r1,r1,w0,w0,r0,r0,w1,w1,r1,w0);" +
		"⇓(r0,r0,w1,w1,r1,r1,w0,w0,r0,w1);⇓(r1,r1,w0,w0,r0,r0,w1,w1,r1,w0)}"},
}

// Default is the name of the test that is run where none is asked for: the
// shortest that finds all unlinked stuck-at, transition, coupling and decoder
// faults.
const Default = "March C-"

// An Order is the address order of a march element.
type Order uint8

// The address orders. What is ascending is for the caller to choose, once a
// run; descending is its exact reverse (van de Goor 1991).
const (
	Any  Order = iota // ⇕
	Up                // ⇑
	Down              // ⇓
)

func (o Order) String() string { return [...]string{"⇕", "⇑", "⇓"}[o] }

// An Operation is one access to one cell: r0, r1, w0 or w1. In a word-oriented
// memory 0 stands for the data background and 1 for its complement.
type Operation struct {
	Write bool
	Value uint8 // 0 or 1; of a read, what is expected
}

func (o Operation) String() string {
	if o.Write {
		return fmt.Sprintf("w%d", o.Value)
	}
	return fmt.Sprintf("r%d", o.Value)
}

// An Element is one pass over the memory, or a wait.
type Element struct {
	Order      Order
	Wait       bool // Del: nothing is accessed; how long is for the caller to say
	Operations []Operation
}

func (e Element) String() string {
	if e.Wait {
		return "Del"
	}
	operations := make([]string, len(e.Operations))
	for i, o := range e.Operations {
		operations[i] = o.String()
	}
	return e.Order.String() + "(" + strings.Join(operations, ",") + ")"
}

// A Test is a march test. One that came from Parse, All or ByName never fails a
// good memory: every read expects what was written last.
type Test struct {
	Name     string
	Elements []Element
}

// String gives the test in the literature's notation. Parse reads it back.
func (t Test) String() string {
	elements := make([]string, len(t.Elements))
	for i, e := range t.Elements {
		elements[i] = e.String()
	}
	return "{" + strings.Join(elements, ";") + "}"
}

// Operations counts the accesses to each cell: 10 for a test of length 10n.
func (t Test) Operations() int {
	n := 0
	for _, e := range t.Elements {
		n += len(e.Operations)
	}
	return n
}

// Waits counts the delays.
func (t Test) Waits() int {
	n := 0
	for _, e := range t.Elements {
		if e.Wait {
			n++
		}
	}
	return n
}

// Retention gives the test with a data-retention part behind it: both values
// are left alone for a delay and read again, as March G does it (van de Goor
// 1993). It costs 3n and two delays.
func (t Test) Retention() Test {
	held := uint8(0)
	for _, e := range t.Elements {
		for _, o := range e.Operations {
			held = o.Value
		}
	}
	read, other := Operation{Value: held}, Operation{Value: 1 - held}
	return Test{
		Name: t.Name + " with Del",
		Elements: append(slices.Clone(t.Elements),
			Element{Wait: true},
			Element{Operations: []Operation{read, {Write: true, Value: 1 - held}}},
			Element{Wait: true},
			Element{Operations: []Operation{other}}),
	}
}

var parsed = sync.OnceValue(func() []Test {
	var all []Test
	for _, t := range tests {
		p, err := Parse(t.notation)
		if err != nil {
			panic(err) // a slip in the table above
		}
		p.Name = t.name
		all = append(all, p)
	}
	return all
})

// All gives the tests of the literature, the short ones first.
func All() []Test { return slices.Clone(parsed()) }

// ByName finds a test of the literature. Case, blanks and the word March do not
// matter: "March C-", "march c-", "marchc-" and "c-" are one. March C, which is
// another test, is not found. The error lists the names.
func ByName(name string) (Test, error) {
	var names []string
	for _, t := range parsed() {
		if key(t.Name) == key(name) {
			return t, nil
		}
		names = append(names, t.Name)
	}
	return Test{}, fmt.Errorf("no march test named %q; there are %s", name, strings.Join(names, ", "))
}

// Read finds a test of the literature by its name, or reads one that is written down as
// Parse has it.
func Read(text string) (Test, error) {
	if !strings.Contains(text, "(") {
		return ByName(text)
	}
	t, err := Parse(text)
	t.Name = "march test"
	return t, err
}

// key is a test's name without what people write in different ways. The minus
// at the end of March C- counts; hyphens between words do not.
func key(name string) string {
	name = strings.NewReplacer(" ", "", "_", "", "−", "-", "–", "-").Replace(strings.ToLower(name))
	minus := strings.HasSuffix(name, "-")
	name = strings.TrimPrefix(strings.ReplaceAll(name, "-", ""), "march")
	if minus {
		name += "-"
	}
	return name
}
