package carrier

import (
	"fmt"
	"io"
	"strings"
)

// quoted writes a string as an s-expression has it.
func quoted(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// WriteKiCad writes the netlist in the s-expressions that board editors read as
// .net files: KiCad's export format, version D, without dates and paths. The
// group is in the field "Group".
func (n *Netlist) WriteKiCad(w io.Writer) error {
	var b strings.Builder
	b.WriteString("(export (version \"D\")\n  (design (source \"firmware/carrier\") (tool \"firmware/carrier/make\"))\n  (components\n")
	for i := range n.Parts {
		p := &n.Parts[i]
		fmt.Fprintf(&b, "    (comp (ref %s) (value %s) (footprint %s)\n      (fields (field (name \"Group\") %s) (field (name \"Rating\") %s))\n"+
			"      (libsource (lib \"carrier\") (part %s) (description %s)))\n",
			quoted(p.Ref), quoted(p.Value), quoted(p.Footprint), quoted(p.Group.String()), quoted(p.Rating), quoted(p.Kind.String()), quoted(p.Description))
	}
	b.WriteString("  )\n  (nets\n")
	for i, net := range n.Nets() {
		fmt.Fprintf(&b, "    (net (code \"%d\") (name %s)\n", i+1, quoted(net))
		for _, end := range n.Terminals(net) {
			fmt.Fprintf(&b, "      (node (ref %s) (pin %s) (pinfunction %s))\n", quoted(end.Part.Ref), quoted(end.Pin.Number), quoted(end.Pin.Name))
		}
		b.WriteString("    )\n")
	}
	b.WriteString("  )\n)\n")
	_, err := io.WriteString(w, b.String())
	return err
}
