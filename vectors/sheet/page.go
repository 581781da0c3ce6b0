package sheet

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Page writes the sheet of a part: each variant with its pinout and function,
// or the one variant that the type names.
func Page(w io.Writer, p *part.Part, only *part.Variant) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s  %s\n", p.Number, p.Title)
	for _, v := range p.Variants {
		if only != nil && v != only {
			continue
		}
		if err := variant(&b, v); err != nil {
			return err
		}
	}
	fmt.Fprintf(&b, "\nkind       %s\nsource     %s\ndefinition %s, SHA-256 %s\n", p.Kind, p.Source, p.File, p.SHA256)
	_, err := io.WriteString(w, b.String())
	return err
}

func variant(b *strings.Builder, v *part.Variant) error {
	var types []string
	for _, f := range v.Families {
		types = append(types, f.TypeName(v.Part.Number))
	}
	note := ""
	if v.Note != "" {
		note = v.Note + ": "
	}
	fmt.Fprintf(b, "\n%s%s\n\n%s\n%s\n", note, strings.Join(types, " "), Pinout(v), Outline(v))
	if v.Refusal != "" {
		fmt.Fprintf(b, "REFUSED    %s\n\n", v.Refusal)
	}
	for _, caution := range v.Cautions {
		fmt.Fprintf(b, "CAUTION    %s\n\n", caution)
	}
	if err := function(b, v); err != nil {
		return err
	}
	for _, u := range v.Untested {
		fmt.Fprintf(b, "\nnot tested %s%s\n", u.Why, pinList(v, u.Pins))
	}
	b.WriteString("\n" + Limits(v))
	return nil
}

// function prints what the part does: equations and tables, or how a memory is
// organised and driven.
func function(b *strings.Builder, v *part.Variant) error {
	if v.Memory != nil {
		b.WriteString(Memory(v))
		return nil
	}
	c, err := logic.Compile(v)
	if err != nil {
		return err
	}
	if lines := Equations(v); len(lines) > 0 {
		fmt.Fprintf(b, "function\n    %s\n", strings.Join(lines, "\n    "))
	}
	if t := tables(v, c); t != "" {
		b.WriteString("\n" + t)
	}
	return nil
}

// tables are the part's function tables: as the definition prints them, as the
// modes of its registers, or computed.
func tables(v *part.Variant, c *logic.Circuit) string {
	var b strings.Builder
	first := ""
	if len(v.Gates) > 0 {
		first = v.Gates[0].Name
	}
	for _, t := range v.Logic.Tables {
		if t.Gate == "" || t.Gate == first {
			b.WriteString(Printed(t) + "\n")
		}
	}
	if b.Len() > 0 {
		return b.String()
	}
	for _, r := range v.Logic.Registers {
		if r.Gate == "" || r.Gate == first {
			b.WriteString(Modes(v, r) + "\n")
		}
	}
	if b.Len() > 0 {
		return b.String()
	}
	return table(v, c)
}

// table is the function table of the first gate, or of the whole part where it has none.
func table(v *part.Variant, c *logic.Circuit) string {
	all := part.Pins(1<<len(v.Pins) - 1)
	title := ""
	if len(v.Gates) > 0 {
		all = part.PinSet(v.Gates[0].Pins...)
		if len(v.Gates) > 1 {
			title = fmt.Sprintf("function table of gate %s (the others alike, by their equations)\n", v.Gates[0].Name)
		}
	}
	t := FunctionTable(c, all)
	if t == nil {
		return ""
	}
	return title + t.String()
}

func pinList(v *part.Variant, pins []int) string {
	var names []string
	for _, n := range pins {
		names = append(names, fmt.Sprintf("%d %s", n, v.Pins[n-1].Name))
	}
	if names == nil {
		return ""
	}
	return " (pin " + strings.Join(names, ", ") + ")"
}

// Limits prints the DC limits of a variant's families, with its pins' loads and drive.
func Limits(v *part.Variant) string {
	var b strings.Builder
	b.WriteString("family   VIH min  VIL max  IIH max  IIL max  VOL max at IOL      VOH min at IOH\n")
	drive := part.StandardDrive
	for _, p := range v.Pins {
		if p.Observable() {
			drive = max(drive, p.Drive)
		}
	}
	for _, f := range v.Families {
		o := f.Output[drive]
		fmt.Fprintf(&b, "%-7s  %5.2f V  %5.2f V  %s  %s  %4.2f V at %5.2f mA  %4.2f V at %4.2f mA\n",
			f.Name, f.VIH, f.VIL, current(f.IIH), current(f.IIL), o.VOL, o.IOL, o.VOH, o.IOH)
	}
	for _, p := range v.Pins {
		if p.Role == part.Input {
			b.WriteString(unitLoads(&p, v.Families))
		}
	}
	if drive != part.StandardDrive {
		fmt.Fprintf(&b, "outputs of class %s\n", drive)
	}
	return b.String()
}

// unitLoads prints a pin's loads other than one, with the families where they differ.
func unitLoads(p *part.Pin, families []*part.Family) string {
	var b strings.Builder
	var seen []float64
	for _, f := range families {
		load := p.LoadIn(f)
		if load == 1 || slices.Contains(seen, load) {
			continue
		}
		seen = append(seen, load)
		var names []string
		for _, other := range families {
			if p.LoadIn(other) == load {
				names = append(names, other.Name)
			}
		}
		fmt.Fprintf(&b, "pin %d (%s) is %g unit loads", p.Number, p.Name, load)
		if len(names) < len(families) {
			fmt.Fprintf(&b, " in %s", strings.Join(names, " "))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// current prints mA, small ones in µA, in seven columns.
func current(mA float64) string {
	if mA < 0.1 {
		return fmt.Sprintf("%4g µA", mA*1000)
	}
	return fmt.Sprintf("%4.2f mA", mA)
}
