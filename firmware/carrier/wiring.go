package carrier

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"
)

// A Step is a line of the wire list: a wire to solder, or a reading of the meter.
type Step struct {
	Group Group
	Stage string
	About string // reference of the part that it solders or measures; empty: all

	From, To Terminal // a wire; no To: the pin waits for a part that comes later
	Bus      string   // instead of To: the wire that carries this supply everywhere

	Check      string  // what to measure; empty: a wire
	Red, Black string  // where the meter's leads go
	Reads      string  // what it must show
	Ohms       float64 // likewise, if it is one resistance, between the nets of From and To
}

// stages are the order within a group: what a stage solders, and what one measures
// then. Parts of no stage are an error that the tests see.
var stages = []struct {
	name  string
	parts func(p *Part) bool
	check func(b *builder, p *Part)
}{
	{"sockets, headers, links", kinds(MCU, Socket, Header, Link), nil},
	{"sockets of the packages, capacitors", kinds(Register, Converter), (*builder).checkRails},
	{"capacitors of the packages", func(p *Part) bool { return p.Kind == Capacitor && p.Position == 0 && p.Pins[0].Net == netRail }, (*builder).checkCapacitor},
	{"fuse and monitor", kinds(Fuse, Monitor), (*builder).checkSupply},
	{"drive", series("R1"), (*builder).checkSeries},
	{"sense", series("R2"), (*builder).checkSeries},
	{"bias", series("R3"), (*builder).checkSeries},
	{"load", series("R4"), (*builder).checkSeries},
	{"pull-ups and read-back", series("R81", "R82"), (*builder).checkSeries},
	{"low side", func(p *Part) bool { return p.Kind == NMOS || strings.HasPrefix(p.Ref, "R5") }, (*builder).checkLowSide},
	{"high side", func(p *Part) bool {
		return p.Kind == PNP || strings.HasPrefix(p.Ref, "R6") || strings.HasPrefix(p.Ref, "R7") || p.Kind == Capacitor && p.Position != 0
	}, (*builder).checkHighSide},
	{"reference", func(p *Part) bool { return p.Kind == Reference || p.Ref == "R831" || p.Ref == "C43" }, (*builder).checkReference},
	{"lamps and button", func(p *Part) bool { return p.Kind == LED || p.Kind == Button || strings.HasPrefix(p.Ref, "R80") }, (*builder).checkLamps},
}

func kinds(of ...Kind) func(*Part) bool {
	return func(p *Part) bool { return slices.Contains(of, p.Kind) }
}

// series are the resistors whose references begin so.
func series(prefixes ...string) func(*Part) bool {
	return func(p *Part) bool {
		return p.Kind == Resistor && slices.ContainsFunc(prefixes, func(prefix string) bool { return strings.HasPrefix(p.Ref, prefix) })
	}
}

// A builder puts the carrier together.
type builder struct {
	n     *Netlist
	steps []Step
	group Group
	stage string
	about string
	wired map[string][]Terminal // by net: what is joined already
	in    map[string]bool       // references of parts that are soldered in
}

// Wiring gives the steps in the order in which one builds: group by group, wires
// first, then what the meter must show.
func (n *Netlist) Wiring() []Step {
	b := &builder{n: n, wired: map[string][]Terminal{}, in: map[string]bool{}}
	for _, g := range AllGroups() {
		b.group = g
		for _, stage := range stages {
			b.stage = stage.name
			var now []*Part
			for i := range n.Parts {
				p := &n.Parts[i]
				if p.Group == g && stage.parts(p) {
					now = append(now, p)
					b.in[p.Ref] = true
				}
			}
			for _, p := range now {
				b.about = p.Ref
				b.solder(p)
			}
			for _, p := range now {
				if stage.check != nil {
					b.about = p.Ref
					stage.check(b, p)
				}
			}
		}
		b.control()
		b.powerUp()
	}
	return b.steps
}

// Readings gives what the meter, or a look, shows of one part: for what changes
// nothing that the adapter itself could measure.
func (n *Netlist) Readings(ref string) []Step {
	return slices.DeleteFunc(n.Wiring(), func(s Step) bool { return s.Check == "" || s.About != ref })
}

// solder wires the pins of a part. A package's pins but its supplies wait: its
// outputs for their resistors, the rest for the control lines.
func (b *builder) solder(p *Part) {
	for i := range p.Pins {
		pin := &p.Pins[i]
		packaged := p.Kind == Register || p.Kind == Converter || p.Kind == MCU || p.Kind == Link
		if pin.Net == "" || packaged && !stiff(pin.Net) {
			continue
		}
		b.wire(Terminal{p, pin})
	}
}

// wire joins a terminal with its net, if anything of it is there.
func (b *builder) wire(from Terminal) {
	net := from.Pin.Net
	if slices.Contains(b.wired[net], from) {
		return
	}
	if stiff(net) {
		b.wired[net] = append(b.wired[net], from)
		b.add(Step{From: from, Bus: net})
		return
	}
	to := b.partner(from)
	if to.Part == nil {
		return
	}
	for _, t := range []Terminal{to, from} {
		if !slices.Contains(b.wired[net], t) {
			b.wired[net] = append(b.wired[net], t)
		}
	}
	b.add(Step{From: from, To: to})
}

// partner gives the nearest thing to wire to: the socket at a position, else what
// was wired last, else what is soldered in and not wired yet.
func (b *builder) partner(from Terminal) Terminal {
	wired := b.wired[from.Pin.Net]
	for _, t := range b.n.Terminals(from.Pin.Net) {
		if t != from && t.Part.Kind == Socket && b.in[t.Part.Ref] {
			return t
		}
	}
	if len(wired) > 0 {
		return wired[len(wired)-1]
	}
	for _, t := range b.n.Terminals(from.Pin.Net) {
		if t != from && b.in[t.Part.Ref] {
			return t
		}
	}
	return Terminal{}
}

// control wires what the parts' own stages left over: clock, serial lines, strobes, enables, links, read-back.
func (b *builder) control() {
	b.stage = "control lines"
	for i := range b.n.Parts {
		p := &b.n.Parts[i]
		if !b.in[p.Ref] || p.Kind == MCU || p.Kind == Socket {
			continue
		}
		for j := range p.Pins {
			t := Terminal{p, &p.Pins[j]}
			if t.Pin.Net != "" && !slices.Contains(b.wired[t.Pin.Net], t) {
				b.about = p.Ref
				b.wire(t)
			}
		}
	}
	for i := range b.n.Parts {
		if p := &b.n.Parts[i]; p.Group == b.group && (p.Kind == Register || p.Kind == Converter) {
			b.about = p.Ref
			b.checkControl(p)
		}
	}
}

func (b *builder) add(s Step) {
	s.Group, s.Stage, s.About = b.group, b.stage, b.about
	b.steps = append(b.steps, s)
}

// place names a terminal as one finds it.
func place(t Terminal) string {
	if t.Part.Kind == MCU || t.Part.Kind == Socket || t.Part.Kind == Header {
		return fmt.Sprintf("%s.%s (%s)", t.Part.Ref, t.Pin.Number, t.Pin.Name)
	}
	return fmt.Sprintf("%s.%s (%s)", t.Part.Ref, t.Pin.Number, strings.TrimPrefix(t.Pin.Name, "/"))
}

// WriteWiring writes the steps as wiring.csv.
func (n *Netlist) WriteWiring(w io.Writer) error {
	c := csv.NewWriter(w)
	rows := [][]string{{"step", "group", "stage", "do", "part", "value", "from", "to", "net", "red lead", "black lead", "reads"}}
	for i, s := range n.Wiring() {
		row := []string{fmt.Sprint(i + 1), s.Group.String(), s.Stage}
		if s.Check != "" {
			rows = append(rows, append(row, s.Check, s.About, "", "", "", "", s.Red, s.Black, s.Reads))
			continue
		}
		to := s.Bus
		if s.Bus == "" {
			to = place(s.To)
		}
		value := s.From.Part.Value
		if s.From.Part.Kind == Link {
			value = ""
		}
		rows = append(rows, append(row, "wire", s.About, value, place(s.From), to, s.From.Pin.Net, "", "", ""))
	}
	if err := c.WriteAll(rows); err != nil {
		return fmt.Errorf("wire list: %w", err)
	}
	return nil
}
