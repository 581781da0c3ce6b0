package tied

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"chipassay/vectors/part"
	"chipassay/vectors/twolevel"
)

// A Wanted is a function that a person asks for.
type Wanted struct {
	twolevel.Function
	Names []string // of the inputs, as typed
}

// maxWanted bounds the inputs of a function that is looked for.
const maxWanted = 6

var (
	nameForm  = regexp.MustCompile(`/?[A-Za-z_][A-Za-z0-9_]*|/?[0-9]+[A-Za-z_][A-Za-z0-9_]*|[0-9]+`)
	functions = []string{"parity", "any", "all", "count"}
)

// Want reads a function in the language of the definitions, with names of the
// person's own: "!(a & b)", or as textbooks write it. The part that has it need not exist.
func Want(text string) (w Wanted, err error) {
	plain, why := inDefinitions(text)
	if why != "" {
		return w, fmt.Errorf("%q: %s", text, why)
	}
	var unknown []string
	expression := nameForm.ReplaceAllStringFunc(plain, func(name string) string {
		if slices.Contains(functions, name) || name == "0" || name == "1" {
			return name
		}
		if !strings.ContainsFunc(name, func(r rune) bool { return r < '0' || r > '9' }) {
			unknown = append(unknown, name)
			return name
		}
		i := slices.Index(w.Names, name)
		if i < 0 {
			w.Names, i = append(w.Names, name), len(w.Names)
		}
		return fmt.Sprintf("IN%d", i+1)
	})
	barred := slices.IndexFunc(w.Names, func(n string) bool { return slices.Contains(w.Names, "/"+n) })
	switch {
	case len(unknown) > 0 || len(w.Names) == 0:
		return w, fmt.Errorf("%q is no function of named inputs: write for example \"!(a & b)\"", text)
	case barred >= 0:
		return w, fmt.Errorf("%q has %s and /%[2]s, which would be two inputs: write !%[2]s for NOT %[2]s", text, w.Names[barred])
	case len(w.Names) > maxWanted:
		return w, fmt.Errorf("%q has %d inputs: at most %d", text, len(w.Names), maxWanted)
	}
	parts, err := part.Parse("--find", definitionOf(expression, len(w.Names)))
	if err != nil {
		return w, fmt.Errorf("%q cannot be read: write it with ! & | ^ and parentheses, such as \"!(a & b)\"", text)
	}
	u, err := Of(parts[0].Variants[0], nil)
	if err != nil {
		return w, err
	}
	levels := u.table(u.Circuit.Outputs[0].Node, inputPins(len(w.Names)))
	f, kept := reduced(functionOf(len(w.Names), levels))
	if f.Inputs == 0 {
		return w, fmt.Errorf("%q is always the same level: tie the wire itself", text)
	}
	var names []string
	for _, i := range kept {
		names = append(names, w.Names[i])
	}
	return Wanted{f, names}, nil
}

// inputPins are those of the package that definitionOf draws: 1 to n.
func inputPins(n int) (pins []int) {
	for i := range n {
		pins = append(pins, i+1)
	}
	return pins
}

// definitionOf is a part with one output, which is an expression of IN1 to INn.
func definitionOf(expression string, n int) string {
	var b strings.Builder
	b.WriteString("part 7400 \"wanted\"\nkind gate\nfamilies 74\nsource \"typed\"\npackage DIP16\n")
	left := append(make([]string, 0, 8), "IN1", "IN2", "IN3", "IN4", "IN5", "IN6")
	for i := range left {
		if i >= n {
			left[i] = "NC"
		}
	}
	left = append(left, "OUT", "GND")
	for i, name := range left {
		right := "NC"
		if i == 0 {
			right = "VCC"
		}
		fmt.Fprintf(&b, "%s %d | | %d %s\n", name, i+1, 16-i, right)
	}
	b.WriteString("inputs")
	for i := range n {
		fmt.Fprintf(&b, " IN%d", i+1)
	}
	fmt.Fprintf(&b, "\noutputs OUT\nOUT = %s\n", expression)
	return b.String()
}

// Line says a way in a line of a list: "1Y: a=1B b=1C; 1A=H".
func (w Way) Line(names []string) string {
	v := w.Variant
	var takes, ties []string
	for i, input := range names {
		takes = append(takes, input+"="+v.Pins[w.Of(i)-1].Name)
	}
	for _, t := range w.Ties() {
		ties = append(ties, t.In(v))
	}
	text := v.Pins[w.Pin-1].Name
	if stageRank(w.Stage) > 0 {
		text += " (" + w.Stage.String() + ")"
	}
	text += ": " + strings.Join(takes, " ")
	if len(ties) > 0 {
		text += "; tie " + strings.Join(ties, " ")
	}
	return text
}
