package part

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// A builder makes one variant from its statements.
type builder struct {
	src    *source
	block  *block
	v      *Variant
	part   *Part
	pinAt  map[string]line // where each pin got its role, for messages
	items  []statement     // equations, tables, registers and buses
	later  []statement     // constraints and sequences: they need the names
	joins  []line          // joined statements: what names they hold is looked up in the last package
	timed  []statement     // timing statements: they need the names
	memory map[string]line // the statements of a memory by what they say
	ruled  []ruledFamilies // of the part's own rules
	head   line
}

// build makes the part of a block, with all its variants.
func (s *source) build(b *block) (*Part, error) {
	p := &Part{Number: b.number, Title: b.head.tokens[2].text, File: s.file, Line: b.head.number, SHA256: b.digest()}
	if err := s.checkNumber(b.head); err != nil {
		return nil, err
	}
	variants := b.variants
	if len(variants) == 0 {
		variants = []variantBlock{{head: b.head}}
	}
	var ruled []ruledFamilies
	for _, vb := range variants {
		builder := &builder{src: s, block: b, part: p, pinAt: map[string]line{}, head: vb.head, v: &Variant{Part: p}}
		if err := builder.readHead(vb.head, len(b.variants) > 0); err != nil {
			return nil, err
		}
		if err := builder.run(slices.Concat(b.common, vb.statements), len(b.variants) > 0); err != nil {
			return nil, err
		}
		p.Variants = append(p.Variants, builder.v)
		ruled = append(ruled, builder.ruled...)
	}
	for _, r := range ruled {
		if err := s.checkRuled(p, r); err != nil {
			return nil, err
		}
	}
	if p.Kind == "" {
		return nil, s.errorAt(b.head, 1, "part %s has no kind statement", b.number)
	}
	if p.Source == "" {
		return nil, s.errorAt(b.head, 1, "part %s has no source statement: name the data book, or write source \"from memory\"", b.number)
	}
	for _, v := range p.Variants {
		if (v.Memory != nil) != p.Memory() || p.Memory() && p.Kind != "memory" {
			return nil, s.errorAt(b.head, 1, "part %s is a memory in one of its variants: all must be, with kind memory", b.number)
		}
	}
	seen := map[*Family]bool{}
	for _, f := range p.Families() {
		if seen[f] {
			return nil, s.errorAt(b.head, 1, "family %s is in two variants of part %s", f.Name, b.number)
		}
		seen[f] = true
	}
	return p, nil
}

// The numbers of parts: that of the plain series; and where the same digits are another
// chip, the number with the maker's letters, as in TMS2716. LS51 and HC00 are short for others.
var (
	plainNumber  = regexp.MustCompile(`^[0-9][0-9A-Z]{0,11}$`)
	makersNumber = regexp.MustCompile(`^[A-Z]{1,4}[0-9]{4,5}$`)
)

// checkNumber refuses numbers that could not be found again by what is marked on a chip.
func (s *source) checkNumber(head line) error {
	n := head.tokens[1]
	if !plainNumber.MatchString(n.text) && !makersNumber.MatchString(n.text) {
		return s.errorAt(head, n.col, "%s is not a part number: write the plain series' number, as 7400 or 4011", n.text)
	}
	return nil
}

func (b *builder) readHead(head line, hasVariants bool) error {
	if !hasVariants {
		return nil
	}
	for _, t := range head.tokens[1:] {
		if t.kind == quoted {
			b.v.Note = t.text
			continue
		}
		if err := b.addFamily(head, t); err != nil {
			return err
		}
	}
	if len(b.v.Families) == 0 {
		return b.src.errorAt(head, 1, "name the families of the variant: variant 74 74H \"2-2, 2-2 inputs\"")
	}
	return nil
}

func (b *builder) addFamily(l line, t token) error {
	f := FamilyByName(t.text)
	if f == nil || f.Name != t.text {
		var known []string
		for _, f := range Families {
			known = append(known, f.Name)
		}
		return b.src.errorAt(l, t.col, "there is no family %s: the families are %s", t.text, strings.Join(known, " "))
	}
	if slices.Contains(b.v.Families, f) {
		return b.src.errorAt(l, t.col, "family %s is named twice", t.text)
	}
	b.v.Families = append(b.v.Families, f)
	return nil
}

func (b *builder) run(statements []statement, hasVariants bool) error {
	for _, st := range statements {
		if st.keyword == "families" {
			if hasVariants {
				if st.inherited > 0 {
					continue
				}
				return b.src.errorAt(st.line, 1, "with variants, each variant line names its families and there is no families line")
			}
			b.v.Families = nil
		}
		if err := b.statement(st); err != nil {
			return err
		}
	}
	if len(b.v.Families) == 0 {
		return b.src.errorAt(b.head, 1, "part %s has no families statement", b.part.Number)
	}
	if err := b.checkPins(); err != nil {
		return err
	}
	if err := b.join(); err != nil {
		return err
	}
	if b.memory != nil {
		return b.buildMemory()
	}
	return b.buildLogic()
}

// statement applies one statement; logic is kept for later, when all pins are known.
func (b *builder) statement(st statement) error {
	l := st.line
	switch st.keyword {
	case "kind":
		if len(l.tokens) < 2 || !slices.Contains(Kinds, hyphenated(l)) {
			return b.src.errorAt(l, 1, "the kind must be one of: %s", strings.Join(Kinds, " "))
		}
		b.part.Kind = hyphenated(l)
	case "families":
		for _, t := range l.tokens[1:] {
			if err := b.addFamily(l, t); err != nil {
				return err
			}
		}
	case "source", "caution", "refuse":
		if len(l.tokens) != 2 || l.tokens[1].kind != quoted {
			return b.src.errorAt(l, 1, "write the text in quotes: %s \"…\"", st.keyword)
		}
		b.text(st.keyword, l.tokens[1].text)
	case "untested":
		return b.untested(l)
	case "package":
		return b.pack(st)
	case "=", "table", "register", "bus":
		b.items = append(b.items, st)
	case "memory", "address", "data", "select", "write", "enable", "rows", "access", "refresh", "rewrite", "strobe", "inverted":
		b.keepMemory(l)
	case "joined":
		b.joins = append(b.joins, l)
	case "pumped":
		if len(l.tokens) != 1 {
			return b.src.errorAt(l, l.tokens[1].col, "pumped stands alone: it holds for the whole part")
		}
		b.v.Pumped = true
	case "unsupplied":
		return b.unsupplied(l)
	case "never", "unstable", "stable", "together", "sequence":
		b.later = append(b.later, st)
	case "timing":
		b.timed = append(b.timed, st)
	case "step", "repeat":
		return b.src.errorAt(l, l.tokens[0].col, "%s stands under a sequence: %s", st.keyword, sequenceUsage)
	case "end":
		return b.src.errorAt(l, 1, "end closes a gate, and none is open")
	default:
		return b.pinStatement(st)
	}
	return nil
}

// hyphenated puts a word such as flip-flop together, whose hyphen is a symbol to the tokenizer.
func hyphenated(l line) string {
	var word strings.Builder
	for _, t := range l.tokens[1:] {
		word.WriteString(t.text)
	}
	return word.String()
}

func (b *builder) text(keyword, text string) {
	switch keyword {
	case "source":
		b.part.Source = text
	case "caution":
		if !slices.Contains(b.v.Cautions, text) {
			b.v.Cautions = append(b.v.Cautions, text)
		}
	case "refuse":
		b.v.Refusal = text
	}
}

func (b *builder) untested(l line) error {
	if len(l.tokens) < 2 || l.tokens[1].kind != quoted {
		return b.src.errorAt(l, 1, "write the reason in quotes, then the pins it concerns: untested \"pulse width\" Q /Q")
	}
	u := Untested{Why: l.tokens[1].text}
	if len(l.tokens) > 2 {
		err := b.eachPin(l, 2, func(p *Pin) error {
			u.Pins = append(u.Pins, p.Number)
			p.Untested = u.Why
			return nil
		})
		if err != nil {
			return err
		}
	}
	b.v.Untested = append(b.v.Untested, u)
	return nil
}

// packagePins reads n from a package DIPn line, or 0.
func packagePins(l line) int {
	if len(l.tokens) != 2 {
		return 0
	}
	digits, ok := strings.CutPrefix(l.tokens[1].text, "DIP")
	n, err := strconv.Atoi(digits)
	if !ok || err != nil || n < 4 || n > MaxPins || n%2 != 0 {
		return 0
	}
	return n
}

// pack reads the package as it is drawn.
func (b *builder) pack(st statement) error {
	n := packagePins(st.line)
	if len(st.rows) < n/2 {
		return b.src.errorAt(st.line, st.line.tokens[0].col, "%d lines with the pins must follow, as the top view is drawn: 1A  1 |   | 14 VCC", n/2)
	}
	b.v.Pins = make([]Pin, n)
	b.pinAt = map[string]line{}
	for i, row := range st.rows {
		t := row.tokens
		last := len(t) - 1
		if last < 5 || t[2].text != "|" || t[last-2].text != "|" {
			return b.src.errorAt(row, 1, "a line of a package is NAME number | | number NAME")
		}
		for _, side := range []struct {
			name, number token
			want         int
		}{{t[0], t[1], i + 1}, {t[last], t[last-1], n - i}} {
			if side.number.text != strconv.Itoa(side.want) {
				return b.src.errorAt(row, side.number.col, "pin %d belongs here, not %s", side.want, side.number.text)
			}
			if err := b.place(row, side.name, side.want); err != nil {
				return err
			}
		}
	}
	return nil
}

func (b *builder) place(row line, name token, number int) error {
	p := Pin{Number: number, Name: name.text, Load: 1}
	if name.kind != nameToken || strings.Trim(name.text, "0123456789") == "" {
		return b.src.errorAt(row, name.col, "%s is not a pin's name", name.text)
	}
	switch name.text {
	case "VCC", "VDD":
		p.Role = Supply
	case "GND", "VSS":
		p.Role = Ground
	case "NC":
	default:
		if b.v.Pin(name.text) != nil {
			return b.src.errorAt(row, name.col, "two pins are named %s", name.text)
		}
	}
	b.v.Pins[number-1] = p
	return nil
}
