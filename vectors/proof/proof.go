// Package proof gives the vectors of a part and what they prove. For the parts of the
// library both are worked out beforehand (proofs.jsonl, by go run ./vectors/proof/make).
// For any other definition, and for a changed one, they are worked out on the spot.
package proof

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"sync"

	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

//go:embed proofs.jsonl
var kept []byte

// A Proof is the test of a type with its coverage.
type Proof struct {
	Circuit  *logic.Circuit
	Sequence *stimulus.Sequence
	Coverage fault.Coverage
}

// A Record is what is kept of a proof, a line of proofs.jsonl: how the sequence is
// made, by what it is known, and what it covers.
type Record struct {
	Part     string         `json:"part"`
	Digest   string         `json:"digest"` // of the circuit and the technology
	Recipe   fault.Recipe   `json:"recipe"`
	Vectors  string         `json:"vectors"` // SHA-256 of the steps
	Coverage fault.Coverage `json:"coverage"`
}

// lines are those of the kept records by their digest. One is read when it is asked for: most
// runs of the program ask for one of a thousand.
var lines = sync.OnceValues(func() (map[string][]byte, error) {
	all, n := map[string][]byte{}, 0
	for line := range bytes.Lines(kept) {
		n++
		_, digest, _ := bytes.Cut(line, []byte(`"digest":"`))
		digest, _, ok := bytes.Cut(digest, []byte(`"`))
		if !ok {
			return nil, fmt.Errorf("proofs.jsonl, line %d: it has no digest", n)
		}
		all[string(digest)] = line
	}
	return all, nil
})

// recordOf is the kept record of a circuit and its technology; ok is false where there is none.
func recordOf(digest string) (r Record, ok bool, err error) {
	all, err := lines()
	if err != nil {
		return r, false, err
	}
	line, ok := all[digest]
	if !ok {
		return r, false, nil
	}
	if err := json.Unmarshal(line, &r); err != nil {
		return r, false, fmt.Errorf("proofs.jsonl, the line of %s: %w", digest, err)
	}
	return r, true, nil
}

// Others gives the circuits of the parts that may lie in the socket instead.
type Others func() ([]*logic.Circuit, error)

// Of gives the proof of a type of logic: from what is kept, if that is of just this
// circuit, else worked out. The error of a memory is a *logic.MemoryError. Others
// is called only where a proof is worked out; it may be nil.
func Of(t part.Type, others Others) (*Proof, error) {
	if p, _, err := Kept(t); p != nil || err != nil {
		return p, err
	}
	p, _, err := WorkOut(t, others)
	return p, err
}

// Kept gives the proof of a type from what is kept, nil if nothing of just its
// circuit and its vectors is.
func Kept(t part.Type) (*Proof, Record, error) {
	c, s, err := begin(t.Variant)
	if err != nil {
		return nil, Record{}, err
	}
	r, ok, err := recordOf(Digest(c, t.Family))
	if !ok || err != nil {
		return nil, r, err
	}
	if r.Recipe.Follow(c, s); s.SHA256() != r.Vectors {
		return nil, r, nil
	}
	v := r.Coverage
	v.Method, v.Part, v.Steps, v.Intruders = s.Method, t.Part().Number, len(s.Steps), besides(t, v.Intruders)
	return &Proof{c, s, v}, r, nil
}

// IsKept reports whether a proof of just a type's circuit is kept, so that Of is quick.
func IsKept(t part.Type) bool {
	c, err := logic.Compile(t.Variant)
	if err != nil {
		return false
	}
	all, err := lines()
	_, ok := all[Digest(c, t.Family)]
	return ok && err == nil
}

// Intruders gives the numbers of the parts that would pass a type's whole test as well, from
// what is kept; known is false where nothing of just its circuit is.
func Intruders(t part.Type) (numbers []string, known bool) {
	c, err := logic.Compile(t.Variant)
	if err != nil {
		return nil, false
	}
	r, known, err := recordOf(Digest(c, t.Family))
	return besides(t, r.Coverage.Intruders), known && err == nil
}

// IntrudersOf gives the numbers of the parts that would pass the whole test of a variant, in any of its families.
func IntrudersOf(v *part.Variant) (numbers []string) {
	for _, f := range v.Families {
		some, _ := Intruders(part.Type{Variant: v, Family: f})
		numbers = append(numbers, some...)
	}
	return numbers
}

// Passes reports whether a good chip of a variant passes the whole test of another.
func Passes(v, as *part.Variant) bool {
	return v.Part == as.Part || slices.Contains(IntrudersOf(as), v.Part.Number)
}

// SameFunction reports whether each of two variants passes the other's test.
func SameFunction(a, b *part.Variant) bool { return Passes(a, b) && Passes(b, a) }

// Long works out the proof of a long test, which runs dividers through millions of
// clocks: seconds for most, a minute for a divider of 20 stages.
func Long(t part.Type, others Others) (*Proof, error) {
	c, err := logic.Compile(t.Variant)
	if err != nil {
		return nil, err
	}
	s, err := stimulus.Long(c)
	if err != nil {
		return nil, err
	}
	p, _, err := workOut(t, c, s, others)
	return p, err
}

// WorkOut works a proof out anew, whatever is kept, and gives what is to be kept of it.
func WorkOut(t part.Type, others Others) (*Proof, Record, error) {
	c, s, err := begin(t.Variant)
	if err != nil {
		return nil, Record{}, err
	}
	return workOut(t, c, s, others)
}

func workOut(t part.Type, c *logic.Circuit, s *stimulus.Sequence, others Others) (*Proof, Record, error) {
	x := fault.Complete(c, t.Family, s)
	p := &Proof{c, s, x.Cover()}
	r := Record{Part: t.Name(), Digest: Digest(c, t.Family), Recipe: x.Recipe, Vectors: s.SHA256(), Coverage: p.Coverage}
	if others != nil {
		circuits, err := others()
		if err != nil {
			return nil, Record{}, err
		}
		r.Coverage.Intruders = fault.Intruders(c, s, circuits)
		p.Coverage.Intruders = besides(t, r.Coverage.Intruders)
	}
	return p, r, nil
}

// besides leaves a part's own number out of those that pass its test. Records have
// it, because several parts may share a circuit.
func besides(t part.Type, numbers []string) []string {
	return slices.DeleteFunc(slices.Clone(numbers), func(n string) bool { return n == t.Part().Number })
}

func begin(v *part.Variant) (*logic.Circuit, *stimulus.Sequence, error) {
	c, err := logic.Compile(v)
	if err != nil {
		return nil, nil, err
	}
	s, err := stimulus.For(c)
	return c, s, err
}

// Types lists the types of some parts that have a proof of their own: each variant
// that may be powered, once for bipolar and once for MOS families that read levels alike.
func Types(parts []*part.Part) (types []part.Type) {
	for _, p := range parts {
		for _, v := range p.Variants {
			seen := map[[2]bool]bool{}
			for _, f := range v.Families {
				if kind := technology(f); v.Refusal == "" && !seen[kind] {
					seen[kind] = true
					types = append(types, part.Type{Variant: v, Family: f})
				}
			}
		}
	}
	return types
}

// technology is what of a family a proof depends on: whether it is bipolar, and
// whether its inputs take 2.0 V for a high.
func technology(f *part.Family) [2]bool { return [2]bool{f.Technology.Bipolar(), f.VIH <= 2.0} }

// Digest is the hex SHA-256 of all that a proof depends on: the circuit with its
// pins, and what the family's technology makes of open and shorted pins.
func Digest(c *logic.Circuit, f *part.Family) string {
	h := sha256.New()
	fmt.Fprintln(h, technology(f), c.Variant.Part.Kind, c.Variant.Gates)
	for _, p := range c.Variant.Pins {
		fmt.Fprintln(h, p.Number, p.Name, p.Role, p.Stage, p.PullUp, p.Tied, p.Untested)
	}
	for _, n := range c.Nodes {
		fmt.Fprintln(h, n.Op, n.In)
	}
	for _, r := range c.Variant.Logic.Registers {
		for _, rule := range r.Rules {
			fmt.Fprintln(h, r.Name, rule.Text)
		}
	}
	fmt.Fprintln(h, c.InputPins, c.Outputs, c.State, c.Registers, c.Signals, c.Never, c.Stable, c.Together)
	return hex.EncodeToString(h.Sum(nil))
}
