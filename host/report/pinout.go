package report

import "chipassay/vectors/part"

// Pinout is a document of a type of which no chip was tested yet, to draw it.
func Pinout(t part.Type) Document {
	v := t.Variant
	d := Document{Type: t.Name(), Part: t.Part().Number, Family: t.Family.Name, Title: t.Part().Title, VCC: v.VCC(), GND: v.GND()}
	for _, p := range v.Pins {
		d.Pins = append(d.Pins, Pin{Number: p.Number, Name: p.Name, Role: p.Role.String()})
	}
	return d
}

// Style is the style sheet of all pages.
func Style() string { return styleText }
