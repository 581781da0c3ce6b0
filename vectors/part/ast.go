package part

import "slices"

// Logic is the function of a variant: what the definition's equations, tables
// and registers say, with gates expanded, buses split into bits and names
// resolved to signals. Equations stand in an order in which each comes after
// those that it needs.
type Logic struct {
	Signals   []Signal
	Equations []Equation
	Registers []Register
	Tables    []Table // as printed, for people; their logic is in Equations and Registers
	Buses     []Bus
	Never     []Never
	Unstable  [][]int // signals that must not be released in one step
	Stable    []Stable
	Together  []Together
	Sequences []Sequence
}

// A Signal is one bit with a name: a pin, an inner name, or a bit of a register.
type Signal struct {
	Name string
	Pin  int // pin number, or 0
}

// An Equation gives bits their value: the least significant bit of Value goes to the last of Targets.
type Equation struct {
	Targets []int // signals, most significant first
	Value   Expr  // of the same width
	Line    int
	Gate    string
	Tabled  bool // made from a table
}

// A Bus is a name for several bits.
type Bus struct {
	Name string
	Bits []int // signals, most significant first
}

// A Register is a group of bits that remember.
type Register struct {
	Name  string
	Bits  []int // signals, most significant first
	Rules []Rule
	Line  int
	Gate  string

	Tabled bool // made from a table
}

// A Rule is one line of a register: when it applies, and the next value.
type Rule struct {
	Edge  Edge
	Clock int  // signal, where Edge is not Level
	When  Expr // one bit, or nil for always
	Next  Expr // as wide as the register
	Line  int
	Text  string // as written: "when !/CLR : 0"
}

// An Edge is what makes a rule of a register act.
type Edge uint8

// The edges.
const (
	Level Edge = iota // as long as the condition is true
	Rise
	Fall
	Pulse // master-slave: the data are taken while high, the output changes at the fall
)

// A Table is a function table as the definition prints it.
type Table struct {
	Inputs, Outputs []string
	Rows            [][]string // cells, inputs before outputs
	Gate            string
}

// Never is a combination of inputs that the data sheet forbids.
type Never struct {
	When Expr
	Why  string
}

// Stable are inputs that must not change while a condition of the inputs holds.
type Stable struct {
	Signals  []int
	While    Expr
	Families []*Family // whose data sheets say so; nil for all of the variant's
}

// In reports whether the rule holds in a family.
func (s Stable) In(f *Family) bool { return s.Families == nil || slices.Contains(s.Families, f) }

// Together are pins that the data sheet joins by a wire while a condition of the
// inputs holds: they change in one step. An output among them is an input then,
// and is never left floating.
type Together struct {
	Signals []int
	While   Expr
}

// An Expr is an expression of known width in bits.
type Expr interface{ Width() int }

// The expressions. Bits of a value are numbered from 0, the least significant.
type (
	// Const is a literal; Bits holds '0' '1' 'x' or 'z', most significant first.
	Const struct{ Bits string }
	// Ref is the level of one signal.
	Ref struct{ Signal int }
	// Concat joins values, the most significant first.
	Concat struct{ Parts []Expr }
	// Not inverts each bit.
	Not struct{ X Expr }
	// Gated is one gate for each bit: & | ^ of two or more values of one width.
	Gated struct {
		Op string
		In []Expr
		W  int
	}
	// Repeat is one bit, as each of W bits.
	Repeat struct {
		X Expr
		W int
	}
	// Binary is an operation on two values; W is the width of the result.
	Binary struct {
		Op   string // + - * << >> == != < <= > >=
		X, Y Expr
		W    int
	}
	// Cond is If ? Then : Else, with a condition of one bit.
	Cond struct{ If, Then, Else Expr }
	// Slice takes bits Hi down to Lo.
	Slice struct {
		X      Expr
		Hi, Lo int
	}
	// Select takes the bit whose number is Index.
	Select struct{ X, Index Expr }
	// Call is parity, any, all (one bit) or count.
	Call struct {
		Func string
		X    Expr
		W    int
	}
)

// Width is the number of bits.
func (e Const) Width() int { return len(e.Bits) }

// Width is 1.
func (e Ref) Width() int { return 1 }

// Width is the sum of the parts' widths.
func (e Concat) Width() int {
	w := 0
	for _, p := range e.Parts {
		w += p.Width()
	}
	return w
}

// Width is the operand's.
func (e Not) Width() int { return e.X.Width() }

// Width is W.
func (e Gated) Width() int { return e.W }

// Width is W.
func (e Repeat) Width() int { return e.W }

// Width is W.
func (e Binary) Width() int { return e.W }

// Width is the width of either branch.
func (e Cond) Width() int { return e.Then.Width() }

// Width counts the bits taken.
func (e Slice) Width() int { return e.Hi - e.Lo + 1 }

// Width is 1.
func (e Select) Width() int { return 1 }

// Width is W.
func (e Call) Width() int { return e.W }
