// Command make writes what is made from the carrier's netlist: schematic, solder
// plan, parts list, wire list, netlist for board editors, SPICE subcircuit and an
// example of its use; with --board also the printed board, in a folder of its own.
// The same netlist gives the same bytes. It writes nothing if the netlist breaks an
// electrical rule, or the board a design rule.
//
//	go run ./firmware/carrier/make --out DIR [--board]
package main

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/board"
	"chipassay/firmware/carrier/plan"
	"chipassay/firmware/carrier/sheet"
)

// files are what is written, and by what.
var files = []struct {
	name  string
	write func(*carrier.Netlist, io.Writer) error
}{
	{"bom.csv", (*carrier.Netlist).WriteBOM},
	{"wiring.csv", (*carrier.Netlist).WriteWiring},
	{"carrier.net", (*carrier.Netlist).WriteKiCad},
	{"carrier.cir", (*carrier.Netlist).WriteSpice},
	{"example.cir", func(_ *carrier.Netlist, w io.Writer) error { return carrier.WriteExample(w) }},
}

// drawings give files by name.
var drawings = []func(*carrier.Netlist) (map[string][]byte, error){sheet.Files, plan.Files}

func main() {
	out := flag.String("out", "", "folder to write to")
	printed := flag.Bool("board", false, "also write the printed board's Gerber and drill files and pictures, to DIR/board")
	flag.Parse()
	if *out == "" || flag.NArg() > 0 {
		flag.Usage()
		os.Exit(2)
	}
	if err := run(*out, *printed, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "make:", err)
		os.Exit(1)
	}
}

// run writes all files to the folder, with the printed board's if asked, and their
// names to say.
func run(out string, printed bool, say io.Writer) error {
	n := carrier.New()
	var broken []error
	for _, v := range n.Check(carrier.AllGroups()...) {
		broken = append(broken, v)
	}
	if err := errors.Join(broken...); err != nil {
		return fmt.Errorf("the netlist breaks rules:\n%w", err)
	}
	contents := map[string][]byte{}
	for _, f := range files {
		var b bytes.Buffer
		if err := f.write(n, &b); err != nil {
			return fmt.Errorf("%s: %w", f.name, err)
		}
		contents[f.name] = b.Bytes()
	}
	for _, draw := range drawings {
		drawn, err := draw(n)
		if err != nil {
			return err
		}
		maps.Copy(contents, drawn)
	}
	if printed {
		files, err := board.Files(n)
		if err != nil {
			return err
		}
		for name, text := range files {
			contents[filepath.Join("board", name)] = text
		}
	}
	for _, name := range slices.Sorted(maps.Keys(contents)) {
		path := filepath.Join(out, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(path, contents[name], 0o644); err != nil {
			return err
		}
		fmt.Fprintln(say, path)
	}
	return nil
}
