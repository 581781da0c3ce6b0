package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/console"
	"chipassay/host/hexfile"
	"chipassay/host/report"
	"chipassay/vectors/part"
)

// dumpFlags are the flags of the dump command.
type dumpFlags struct {
	testFlags
	out, compare, contents string
	blank                  bool
}

func dumpCommand(d *definitions) *cobra.Command {
	f := dumpFlags{testFlags: testFlags{definitions: d}}
	cmd := &cobra.Command{
		Use:   "dump PART",
		Short: "Read the contents of a ROM, check that it is blank, or compare it with a file",
		Long: `Read the contents of the ROM, PROM, EPROM or EEPROM in the socket, twice, and print
its size, CRC-32 and SHA-256. A mask ROM's chip selects act high or low as it was
ordered: the levels that select it are found and printed. A file that ends in .hex is Intel HEX; any other is raw, one
byte for each word of any width.`,
		Example: `  chipassay dump 2716 --out point-controller.hex
  chipassay dump 27C64 --compare yard-interlock.bin
  chipassay dump 2764 --blank`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd, args[0]) },
	}
	flags := cmd.Flags()
	f.connection.flags(cmd)
	f.supplyFlag(cmd)
	flags.StringVar(&f.family, "family", "", "family, if PART names none: LS, HC, B …")
	flags.StringVar(&f.out, "out", "", "write the contents to this file; it must not exist")
	flags.StringVar(&f.compare, "compare", "", "compare the contents with this file")
	flags.BoolVar(&f.blank, "blank", false, "check that nothing is written")
	flags.StringVar(&f.contents, "contents", "", "virtual adapter: the file that the ROM in the socket holds")
	flags.StringArrayVar(&f.chipDefects, "defect", nil, "virtual adapter: a defect of the chip (may be repeated)")
	flags.Uint64Var(&f.seed, "seed", 1, "virtual adapter: random seed")
	return cmd
}

func (f dumpFlags) run(cmd *cobra.Command, typed string) error {
	c, err := f.chipTyped(typed)
	if err != nil {
		return err
	}
	typ := c.typ
	m := typ.Variant.Memory
	switch {
	case m == nil || !m.Kind.ROM():
		return fmt.Errorf("a %s is not a ROM: chipassay test %s tests it", typ.Name(), typed)
	case f.blank && m.Kind == part.MaskROM:
		return fmt.Errorf("--blank: a %s has the contents that it was made with, and is never blank", typ.Name())
	}
	if err := f.connection.check(cmd); err != nil {
		return err
	}
	if f.out != "" {
		if _, err := os.Stat(f.out); err == nil {
			return fmt.Errorf("%s exists already: name another file with --out", f.out)
		}
	}
	var want []byte
	if f.compare != "" {
		if want, err = readContents(f.compare, m); err != nil {
			return err
		}
	}
	contents, selected, err := f.read(cmd, typ)
	if err != nil {
		return err
	}
	out := cmd.OutOrStdout()
	fmt.Fprintf(out, "%s: %d words of %d bits, two identical reads\nCRC-32   %08X\nSHA-256  %x\n",
		typ.Name(), m.Words, m.Bits, crc32.ChecksumIEEE(contents), sha256.Sum256(contents))
	if selected != "" {
		fmt.Fprintf(out, "selected by %s\n", selected)
	}
	if f.out != "" {
		if err := writeContents(f.out, contents); err != nil {
			return err
		}
		fmt.Fprintf(out, "written to %s\n", f.out)
	}
	if f.blank {
		if err := sayBlank(out, contents, m); err != nil {
			return err
		}
	}
	if want != nil {
		return sayDifference(out, f.compare, contents, want)
	}
	return nil
}

// openROM opens the adapter; the ROM in a virtual one holds what --contents says.
func (f dumpFlags) openROM(cmd *cobra.Command, typ part.Type) (*adapter.Adapter, error) {
	if f.adapter != virtualAdapter {
		return f.port(cmd.Context(), printing(cmd))
	}
	chip, err := f.virtualChip(typ)
	if err != nil {
		return nil, err
	}
	var contents []byte
	if f.contents != "" {
		if contents, err = readContents(f.contents, typ.Variant.Memory); err != nil {
			return nil, err
		}
	}
	chip.Burn(contents)
	return f.virtual(cmd.Context(), chip, f.seed)
}

// read reads the ROM in the socket; what was wrong with it has then been reported. Selected are
// the levels that selected a mask ROM.
func (f dumpFlags) read(cmd *cobra.Command, typ part.Type) (contents []byte, selected string, err error) {
	a, err := f.openROM(cmd, typ)
	if err != nil {
		return nil, "", err
	}
	defer a.Close()
	seat, err := seatOf(a, typ)
	if err != nil {
		return nil, "", err
	}
	p := assay.MemoryPlan{Type: typ}
	p.Progress = progressOf(cmd, p.Estimate())
	words, r := assay.ReadROM(cmd.Context(), seat, p)
	nameAdapter(r, a)
	if words != nil && r.Verdict != assay.Fail {
		return words, r.Selected, nil
	}
	if err := report.Of(r, "", "", nil, "").WriteText(cmd.OutOrStdout(), console.Colour(os.Stdout)); err != nil {
		return nil, "", err
	}
	return nil, "", verdictStatus(r.Verdict)
}

// sayBlank says whether nothing is written: every word of a blank EPROM is all
// ones, of a blank PROM all ones or all zeros, by its maker.
func sayBlank(w io.Writer, contents []byte, m *part.Memory) error {
	erased := byte(1<<m.Bits - 1)
	if m.Kind == part.PROM && contents[0] == 0 {
		erased = 0
	}
	for at, b := range contents {
		if b != erased {
			fmt.Fprintf(w, "not blank: address %d (%04X) holds %02X\n", at, at, b)
			return &statusError{status: exitFailed}
		}
	}
	fmt.Fprintf(w, "blank: every word is %02X\n", erased)
	return nil
}

func sayDifference(w io.Writer, name string, contents, want []byte) error {
	if bytes.Equal(contents, want) {
		fmt.Fprintf(w, "the same as %s\n", name)
		return nil
	}
	differ, first := 0, -1
	for i := range contents {
		if contents[i] != want[i] {
			differ++
			if first < 0 {
				first = i
			}
		}
	}
	fmt.Fprintf(w, "%d words differ from %s, the first at address %d (%04X): %02X, not %02X\n",
		differ, name, first, first, contents[first], want[first])
	return &statusError{status: exitFailed}
}

func intelHEX(name string) bool { return strings.EqualFold(filepath.Ext(name), ".hex") }

func writeContents(name string, contents []byte) error {
	return writeFile(name, func(w io.Writer) error {
		if intelHEX(name) {
			return hexfile.Write(w, contents)
		}
		_, err := w.Write(contents)
		return err
	})
}

// readContents reads a file that a ROM is to hold, a byte a word; what it does not
// give is erased.
func readContents(name string, m *part.Memory) ([]byte, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	var contents []byte
	if intelHEX(name) {
		contents, err = hexfile.Read(file, 1<<m.Bits-1)
	} else {
		contents, err = io.ReadAll(io.LimitReader(file, hexfile.MostBytes))
	}
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: %w", name, err)
	case len(contents) == 0:
		return nil, fmt.Errorf("%s holds no bytes: name the file that has the ROM's contents", name)
	case len(contents) > m.Words:
		return nil, fmt.Errorf("%s holds %d bytes: the ROM has %d words", name, len(contents), m.Words)
	}
	for i, b := range contents {
		if int(b) >= 1<<m.Bits {
			return nil, fmt.Errorf("%s: the byte at %d is %02X, wider than the ROM's %d bits", name, i, b, m.Bits)
		}
	}
	return append(contents, bytes.Repeat([]byte{1<<m.Bits - 1}, m.Words-len(contents))...), nil
}
