package carrier

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"
)

// An Item is a line of the parts list: parts that one buys as the same thing.
type Item struct {
	Quantity    [5]int // by group
	Spares      int
	Price       float64 // EUR each, roughly
	Value       string
	Description string
	Substitutes string
	Refs        []string
}

// All gives how many are fitted in the end.
func (i Item) All() int {
	sum := 0
	for _, q := range i.Quantity {
		sum += q
	}
	return sum
}

// Substitutes by kind, from memory of data sheets; a type number is one among many.
var substitutes = map[Kind]string{
	Resistor:  "any metal film of the same value and a closer tolerance",
	NMOS:      "ZVN4306A as drawn; IRLZ24N, IRLU024N, IRLD024 or another logic-level type of 20 V and more: look up its pin order",
	PNP:       "ZTX790A, ZTX788B as drawn; another low-saturation type: look up its pin order. A gain of 100 carries 180 mA",
	Register:  "74HCT595, 74AHC595; not TPIC6B595, whose outputs only sink",
	Converter: "MCP3208-BI/P or -CI/P; MCP3204 has too few channels",
	Reference: "LM336Z-2.5 (1 or 2 %): adjust pin open. TL431 has another pin order and needs two pins joined",
	Monitor:   "any module with an INA219 and the 0.1 ohm shunt; pins in another order are wired by name",
	Fuse:      "0.75 to 1.1 A hold, 6 V or more",
	LED:       "other colours; 5 mm",
	Button:    "any push button",
	Link:      "a wire, changed when the chain becomes longer",
	Header:    "cut from a long one; turned-pin sockets take a clip less well",
	Socket:    "a narrow one alone takes 0.3 inch wide chips only",
	MCU:       "none",
}

// What one costs in small quantities, EUR, from memory of shops; a kit of resistors
// or a board from another maker moves these by half.
var prices = map[Kind]float64{
	Resistor: 0.05, Capacitor: 0.15, NMOS: 1.20, PNP: 1, Register: 0.50, Converter: 4, Reference: 1.50, Monitor: 4, Fuse: 0.50,
	LED: 0.15, Button: 0.30, Link: 0.20, Header: 0.50, Socket: 8, MCU: 20,
}

func substitute(p *Part) string {
	if p.Kind != Capacitor {
		return substitutes[p.Kind]
	}
	if p.Farads >= 1e-6 {
		return "ceramic X7R of 10 to 22 µF, 16 V, then without polarity"
	}
	return "47 to 220 nF ceramic"
}

// spares are bought beside what is fitted.
func spares(k Kind, quantity int) int {
	switch k {
	case Resistor:
		return (quantity+9)/10*10 - quantity + quantity/20 // whole tens, and more of many
	case Capacitor, NMOS:
		return 2
	case PNP, Register, LED:
		return 1
	}
	return 0
}

// Also needed, and no part of the circuit.
var sundries = []Item{
	{Quantity: [5]int{3, 2, 4, 1, 2}, Price: 0.30, Value: "DIP-16", Description: "socket for the registers and converters, 16 pins, 0.3 inch",
		Substitutes: "none: the meter's readings are taken with the sockets empty"},
	{Quantity: [5]int{1}, Price: 3, Value: "pin headers", Description: "for the printed board: pin headers, 2.54 mm pitch, to plug it on the microcontroller's board: 2 x 18, 1 x 8 (5), 1 x 10",
		Substitutes: "jumper wires, if one builds by hand"},
	{Quantity: [5]int{1, 0, 1}, Price: 6, Value: "prototyping board", Description: "to build by hand: prototyping board, 2.54 mm pitch, a hole a pad, 160 x 100 mm (the far half's: 100 x 100 mm)",
		Substitutes: "the printed board"},
	{Quantity: [5]int{55, 3, 12, 5, 1}, Price: 0.08, Value: "jumper wire", Description: "to build by hand: jumper wire, 20 cm, with a pin at one end; the other is soldered into a landing of the plan",
		Substitutes: "the printed board"},
	{Quantity: [5]int{1}, Price: 5, Value: "wire", Description: "hook-up wire, 0.25 mm or AWG 30, 10 m, three colours", Substitutes: "enamelled copper wire, 0.2 mm"},
	{Quantity: [5]int{1}, Price: 0.05, Value: "2.2 kΩ", Description: "resistor for the calibration, 1 %, measured with a good meter", Substitutes: "1 to 2.4 kΩ"},
}

// BOM gives the parts list, in the order of the kinds and the values.
func (n *Netlist) BOM() []Item {
	var items []Item
	var kinds []Kind
	for i := range n.Parts {
		p := &n.Parts[i]
		at := slices.IndexFunc(items, func(item Item) bool { return item.Description == p.Description })
		if at < 0 {
			at = len(items)
			items = append(items, Item{Value: p.Value, Description: p.Description, Price: prices[p.Kind], Substitutes: substitute(p)})
			kinds = append(kinds, p.Kind)
			if p.Kind == Link {
				items[at].Value = "jumper"
			}
		}
		items[at].Refs = append(items[at].Refs, p.Ref)
		group := p.Group
		if p.Needs > group {
			group = p.Needs
		}
		items[at].Quantity[group]++
	}
	for i := range items {
		items[i].Spares = spares(kinds[i], items[i].All())
	}
	return append(items, sundries...)
}

// WriteBOM writes the parts list as bom.csv.
func (n *Netlist) WriteBOM(w io.Writer) error {
	c := csv.NewWriter(w)
	header := []string{"item", "value", "description"}
	for _, g := range AllGroups() {
		header = append(header, g.String())
	}
	rows := [][]string{append(header, "fitted", "spares", "buy", "EUR each, about", "substitutes", "references")}
	for i, item := range n.BOM() {
		row := []string{fmt.Sprint(i + 1), item.Value, item.Description}
		for _, q := range item.Quantity {
			row = append(row, fmt.Sprint(q))
		}
		rows = append(rows, append(row, fmt.Sprint(item.All()), fmt.Sprint(item.Spares), fmt.Sprint(item.All()+item.Spares), fmt.Sprintf("%.2f", item.Price),
			item.Substitutes, strings.Join(item.Refs, " ")))
	}
	if err := c.WriteAll(rows); err != nil {
		return fmt.Errorf("parts list: %w", err)
	}
	return nil
}
