package part

import (
	"maps"
	"math/bits"
	"slices"
	"strconv"
	"time"
)

// Limits on a memory.
const (
	maxWords = 1 << 20
	maxBits  = 16 // of a word
	maxTime  = time.Second
	// mostPulse is the longest write pulse of an EEPROM that the adapter's access can hold.
	mostPulse = 10 * time.Microsecond
)

// memoryKey sorts the statements of a memory by what they say: a later one
// replaces an earlier one of the same key, as in a part that is like another.
func memoryKey(l line) string {
	key := l.tokens[0].text
	if len(l.tokens) > 1 {
		switch second := l.tokens[1].text; {
		case key == "data" && (second == "in" || second == "out"), key == "write" && second == "pulse":
			key += " " + second
		}
	}
	return key
}

// keepMemory notes a statement of a memory; it is read when all pins are known.
func (b *builder) keepMemory(l line) {
	if b.memory == nil {
		b.memory = map[string]line{}
	}
	key := memoryKey(l)
	switch key {
	case "data": // replaces separate inputs and outputs, and they replace it
		delete(b.memory, "data in")
		delete(b.memory, "data out")
	case "data in", "data out":
		delete(b.memory, "data")
	}
	b.memory[key] = l
}

// buildMemory makes the variant's Memory of the statements that were kept.
func (b *builder) buildMemory() error {
	if len(b.items)+len(b.later) > 0 {
		l := slices.Concat(b.items, b.later)[0].line
		return b.src.errorAt(l, l.tokens[0].col, "a memory has no equations, tables or registers: its words are declared by the memory statements")
	}
	m := &Memory{}
	for _, read := range []func(*Memory) error{
		b.organisation, b.memoryPins, b.controls, b.array, b.timing, b.refresh, b.rewrite, b.checkMemoryPins,
	} {
		if err := read(m); err != nil {
			return err
		}
	}
	b.v.Memory = m
	return nil
}

// organisation reads memory static 1024 x 4.
func (b *builder) organisation(m *Memory) error {
	const write = "write the kind, the words and the bits of a word: memory static 1024 x 4; the kinds are static dynamic prom eprom rom eeprom"
	l, ok := b.memory["memory"]
	if !ok {
		first := slices.Sorted(maps.Keys(b.memory))[0]
		return b.src.errorAt(b.memory[first], 1, "the memory is not organised: %s", write)
	}
	if len(l.tokens) != 5 || l.tokens[3].text != "x" {
		return b.src.errorAt(l, 1, "%s", write)
	}
	kinds := map[string]MemoryKind{"static": StaticRAM, "dynamic": DynamicRAM, "prom": PROM, "eprom": EPROM, "rom": MaskROM, "eeprom": EEPROM}
	if m.Kind, ok = kinds[l.tokens[1].text]; !ok {
		return b.src.errorAt(l, l.tokens[1].col, "the kinds of memory are static dynamic prom eprom rom eeprom, not %s", l.tokens[1].text)
	}
	var err error
	if m.Words, err = strconv.Atoi(l.tokens[2].text); err != nil || m.Words < 2 || m.Words > maxWords || m.Words&(m.Words-1) != 0 {
		return b.src.errorAt(l, l.tokens[2].col, "the words are a power of two from 2 to %d, not %s", maxWords, l.tokens[2].text)
	}
	if m.Bits, err = strconv.Atoi(l.tokens[4].text); err != nil || m.Bits < 1 || m.Bits > maxBits {
		return b.src.errorAt(l, l.tokens[4].col, "a word has 1 to %d bits, not %s", maxBits, l.tokens[4].text)
	}
	return nil
}

// memoryPins reads the address and data lines.
func (b *builder) memoryPins(m *Memory) (err error) {
	if m.Address, err = b.pinList("address", 1, Input); err != nil {
		return err
	}
	if l, ok := b.memory["data"]; ok && !m.Kind.ROM() {
		if m.DataOut, err = b.pinList("data", 1, Bidirectional); err != nil {
			return err
		}
		m.DataIn = slices.Clone(m.DataOut)
		return b.dataWidth(l, m)
	} else if ok {
		if m.DataOut, err = b.pinList("data", 1, Output); err != nil {
			return err
		}
		return b.dataWidth(l, m)
	}
	if m.Kind.ROM() {
		return b.src.errorAt(b.memory["memory"], 1, "name the outputs, bit 0 first: data D0..D7")
	}
	if m.DataIn, err = b.pinList("data in", 2, Input); err != nil {
		return err
	}
	if m.DataOut, err = b.pinList("data out", 2, Output); err != nil {
		return err
	}
	if len(m.DataIn) != m.Bits {
		return b.src.errorAt(b.memory["data in"], 1, "%d data inputs are named, a word has %d bits", len(m.DataIn), m.Bits)
	}
	return b.dataWidth(b.memory["data out"], m)
}

func (b *builder) dataWidth(l line, m *Memory) error {
	if len(m.DataOut) != m.Bits {
		return b.src.errorAt(l, 1, "%d data pins are named, a word has %d bits", len(m.DataOut), m.Bits)
	}
	return nil
}

// pinList reads the pins of a statement, which must all have the role.
func (b *builder) pinList(key string, from int, role Role) (pins []int, err error) {
	l, ok := b.memory[key]
	if !ok {
		return nil, b.src.errorAt(b.head, 1, "the memory has no %s statement", key)
	}
	err = b.eachPin(l, from, func(p *Pin) error {
		if p.Role != role {
			return b.src.errorAt(l, columnOf(l, p.Name), "pin %s is %s and should be %s", p.Name, p.Role, role)
		}
		if slices.Contains(pins, p.Number) {
			return b.src.errorAt(l, columnOf(l, p.Name), "pin %s is named twice", p.Name)
		}
		pins = append(pins, p.Number)
		return nil
	})
	return pins, err
}

// controls reads select, write, enable and strobe.
func (b *builder) controls(m *Memory) (err error) {
	if l, ok := b.memory["select"]; ok {
		if m.Select, err = b.controlList(l); err != nil {
			return err
		}
		if m.Select[0].Either && m.Kind != MaskROM {
			return b.src.errorAt(l, l.tokens[1].col, "only a mask ROM is made with either level of a select")
		}
	}
	if m.Write, err = b.control("write", "write /WE"); err != nil {
		return err
	}
	if m.Enable, err = b.control("enable", "enable /OE"); err != nil {
		return err
	}
	if l, ok := b.memory["strobe"]; ok {
		if err := b.strobes(l, m); err != nil {
			return err
		}
	}
	where := b.memory["memory"]
	switch {
	case m.Kind.ROM() && m.Write != nil:
		return b.src.errorAt(b.memory["write"], 1, "a ROM is only read: tie its programming pins to the level for reading")
	case !m.Kind.ROM() && m.Write == nil:
		return b.src.errorAt(where, 1, "a RAM needs its write pin: write /WE")
	case m.Kind != DynamicRAM && m.RAS != nil:
		return b.src.errorAt(b.memory["strobe"], 1, "only a dynamic memory has address strobes")
	case m.Kind == DynamicRAM && m.RAS == nil && b.v.Refusal == "":
		return b.src.errorAt(where, 1, "a dynamic RAM needs its strobes: strobe row /RAS column /CAS")
	}
	return nil
}

// control reads the one pin of a statement, or gives nil where there is no such statement.
func (b *builder) control(key, example string) (*Control, error) {
	l, ok := b.memory[key]
	if !ok {
		return nil, nil
	}
	list, err := b.controlList(l)
	if err != nil {
		return nil, err
	}
	if len(list) != 1 {
		return nil, b.src.errorAt(l, 1, "name one pin: %s", example)
	}
	return &list[0], nil
}

// controlList reads control pins from token 1 on: a pin with a bar acts low and
// one without acts high, unless the level stands before the names.
func (b *builder) controlList(l line) (list []Control, err error) {
	from := 1
	var level string
	if len(l.tokens) > 1 && slices.Contains([]string{"low", "high", "either"}, l.tokens[1].text) {
		level, from = l.tokens[1].text, 2
	}
	barred := func(p *Pin) bool { return p.Name[0] == '/' }
	err = b.eachPin(l, from, func(p *Pin) error {
		if p.Role != Input {
			return b.src.errorAt(l, columnOf(l, p.Name), "pin %s is %s and should be input", p.Name, p.Role)
		}
		list = append(list, Control{Pin: p.Number, Active: level == "high" || level != "low" && !barred(p), Either: level == "either"})
		return nil
	})
	return list, err
}

// strobes reads strobe row /RAS column /CAS.
func (b *builder) strobes(l line, m *Memory) error {
	t := l.tokens
	if len(t) != 5 || t[1].text != "row" || t[3].text != "column" {
		return b.src.errorAt(l, 1, "write both strobes: strobe row /RAS column /CAS")
	}
	list, err := b.controlList(line{number: l.number, text: l.text, tokens: []token{t[0], t[2], t[4]}})
	if err != nil {
		return err
	}
	if len(list) != 2 || list[0].Pin == list[1].Pin {
		return b.src.errorAt(l, t[2].col, "name two pins: strobe row /RAS column /CAS")
	}
	m.RAS, m.CAS = &list[0], &list[1]
	return nil
}

// array reads rows 6 or rows A3..A8 and sees that the address fits the words.
func (b *builder) array(m *Memory) error {
	width := bits.TrailingZeros(uint(m.Words))
	l, declared := b.memory["rows"]
	if m.RAS == nil && len(m.Address) != width {
		return b.src.errorAt(b.memory["address"], 1, "%d words need %d address pins, %d are named", m.Words, width, len(m.Address))
	}
	m.RowBits = (width + 1) / 2
	if declared && len(l.tokens) == 2 && l.tokens[1].kind == nameToken && isDigit(l.tokens[1].text[0]) {
		n, err := strconv.Atoi(l.tokens[1].text)
		if err != nil || n < 1 || n > width {
			return b.src.errorAt(l, l.tokens[1].col, "the rows are 1 to %d bits of the address", width)
		}
		m.RowBits = n
	} else if declared {
		if m.RAS != nil {
			return b.src.errorAt(l, 1, "a multiplexed address has its rows by number: rows 8")
		}
		pins, err := b.pinList("rows", 1, Input)
		if err != nil {
			return err
		}
		for _, pin := range pins {
			bit := slices.Index(m.Address, pin)
			if bit < 0 {
				return b.src.errorAt(l, 1, "pin %s is not of the address", b.v.Pins[pin-1].Name)
			}
			m.Row = append(m.Row, bit)
		}
		m.RowBits = len(m.Row)
	}
	m.ColumnBits = width - m.RowBits
	if m.RAS != nil && len(m.Address) != max(m.RowBits, m.ColumnBits) {
		return b.src.errorAt(b.memory["address"], 1, "%d words in %d row and %d column bits need %d address pins, %d are named",
			m.Words, m.RowBits, m.ColumnBits, max(m.RowBits, m.ColumnBits), len(m.Address))
	}
	for bit := range width {
		if m.Row == nil && bit >= m.RowBits || m.Row != nil && !slices.Contains(m.Row, bit) {
			m.Column = append(m.Column, bit)
		}
	}
	for bit := 0; len(m.Row) < m.RowBits; bit++ {
		m.Row = append(m.Row, bit)
	}
	return nil
}

// timing reads access 450 ns and write pulse 200 ns.
func (b *builder) timing(m *Memory) (err error) {
	_, m.Inverted = b.memory["inverted"]
	l, ok := b.memory["access"]
	if !ok {
		return b.src.errorAt(b.memory["memory"], 1, "the access time of the slowest grade must follow: access 450 ns")
	}
	if m.Access, err = b.duration(l, 1); err != nil {
		return err
	}
	l, ok = b.memory["write pulse"]
	switch {
	case ok && m.Kind.ROM():
		return b.src.errorAt(l, 1, "a ROM is only read and has no write pulse")
	case ok:
		m.WritePulse, err = b.duration(l, 2)
	case !m.Kind.ROM():
		return b.src.errorAt(b.memory["memory"], 1, "the shortest write pulse of the slowest grade must follow: write pulse 200 ns")
	}
	return err
}

// duration reads a number and its unit, ns, us or ms, which end the line.
func (b *builder) duration(l line, at int) (time.Duration, error) {
	if len(l.tokens) == at+2 {
		number, unit := l.tokens[at].text, l.tokens[at+1].text
		d, err := time.ParseDuration(number + unit)
		if err == nil && d > 0 && d <= maxTime && slices.Contains([]string{"ns", "us", "ms"}, unit) {
			return d, nil
		}
	}
	return 0, b.src.errorAt(l, l.tokens[min(at, len(l.tokens)-1)].col, "a time is a number and its unit, ns us or ms, of at most %v: 450 ns", maxTime)
}

// refresh reads refresh 128 rows within 2 ms.
func (b *builder) refresh(m *Memory) (err error) {
	l, ok := b.memory["refresh"]
	switch {
	case !ok && m.Kind == DynamicRAM:
		return b.src.errorAt(b.memory["memory"], 1, "a dynamic RAM forgets: write refresh 128 rows within 2 ms")
	case !ok:
		return nil
	case m.Kind != DynamicRAM:
		return b.src.errorAt(l, 1, "only a dynamic memory is refreshed")
	case len(l.tokens) != 6 || l.tokens[2].text != "rows" || l.tokens[3].text != "within":
		return b.src.errorAt(l, 1, "write the rows and the time: refresh 128 rows within 2 ms")
	}
	m.RefreshRows, err = strconv.Atoi(l.tokens[1].text)
	if err != nil || m.RefreshRows < 1 || m.RefreshRows > 1<<m.RowBits || m.RefreshRows&(m.RefreshRows-1) != 0 {
		return b.src.errorAt(l, l.tokens[1].col, "the rows are a power of two up to %d, for %d row bits", 1<<m.RowBits, m.RowBits)
	}
	m.RefreshWithin, err = b.duration(l, 4)
	return err
}

// rewrite reads rewrite /WE pulse 200 ns cycle 10 ms, or rewrite none and why.
func (b *builder) rewrite(m *Memory) (err error) {
	l, ok := b.memory["rewrite"]
	t := l.tokens
	switch {
	case !ok:
		return nil
	case m.Kind != EEPROM:
		return b.src.errorAt(l, 1, "only an EEPROM is rewritten")
	case len(t) == 3 && t[1].text == "none" && t[2].kind == quoted:
		m.NoRewrite = t[2].text
		return nil
	case len(t) != 8 || t[2].text != "pulse" || t[5].text != "cycle":
		return b.src.errorAt(l, 1, "write the pin, its shortest pulse and the longest time of a write, rewrite /WE pulse 200 ns cycle 10 ms, or why not: rewrite none \"…\"")
	}
	list, err := b.controlList(line{number: l.number, text: l.text, tokens: t[:2]})
	if err != nil {
		return err
	}
	r := &Rewrite{Write: list[0]}
	inactive := TiedHigh
	if r.Write.Active {
		inactive = TiedLow
	}
	if b.v.Pins[r.Write.Pin-1].Tied != inactive {
		return b.src.errorAt(l, t[1].col, "pin %s is tied to its inactive level for reading: tie high /WE", t[1].text)
	}
	if len(m.Select) == 0 || m.Enable == nil {
		return b.src.errorAt(l, 1, "an EEPROM is written selected and with its outputs disabled: it needs select and enable")
	}
	if r.Pulse, err = b.duration(line{number: l.number, text: l.text, tokens: t[:5]}, 3); err != nil {
		return err
	}
	if r.Cycle, err = b.duration(l, 6); err != nil {
		return err
	}
	if r.Pulse > mostPulse {
		return b.src.errorAt(l, t[3].col, "a write pulse is %v at most", mostPulse)
	}
	m.Rewrite = r
	return nil
}

// checkMemoryPins sees that no pin has two uses, and every input one.
func (b *builder) checkMemoryPins(m *Memory) error {
	use := map[int]string{}
	claim := func(what string, pins ...int) error {
		for _, pin := range pins {
			if other, ok := use[pin]; ok {
				l := b.memory["memory"]
				return b.src.errorAt(l, 1, "pin %d (%s) is %s and %s at once", pin, b.v.Pins[pin-1].Name, other, what)
			}
			use[pin] = what
		}
		return nil
	}
	controls := slices.Clone(m.Select)
	for _, c := range []*Control{m.Write, m.Enable, m.RAS, m.CAS} {
		if c != nil {
			controls = append(controls, *c)
		}
	}
	err := claim("address", m.Address...)
	if err == nil && !m.CommonData() {
		err = claim("data in", m.DataIn...)
	}
	if err == nil {
		err = claim("data out", m.DataOut...)
	}
	for _, c := range controls {
		if err == nil {
			err = claim("control", c.Pin)
		}
	}
	if err != nil {
		return err
	}
	for _, p := range b.v.Pins {
		used := use[p.Number] != ""
		switch {
		case used && p.Tied != NotTied:
			return b.src.errorAt(b.pinAt[p.Name], 1, "pin %s is tied, and the memory uses it", p.Name)
		case !used && p.Tied == NotTied && (p.Observable() || p.Role == Input):
			return b.src.errorAt(b.head, 1, "pin %d (%s) has no use in the memory: name it in address, data, select, write, enable or strobe, or tie it", p.Number, p.Name)
		}
	}
	return nil
}
