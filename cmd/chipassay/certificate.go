package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/certificate"
	"chipassay/host/chip"
	"chipassay/host/record"
)

// A paperFile is the file of a page to print.
type paperFile struct {
	records recordsFile
	lot     string
	out     string
	force   bool
}

func (f *paperFile) flags(cmd *cobra.Command) {
	f.records.readFlag(cmd)
	flags := cmd.Flags()
	flags.StringVar(&f.lot, "lot", "", "all chips of this lot, instead of numbers")
	flags.StringVar(&f.out, "out", "", "file to write; named after the records if not given")
	flags.BoolVar(&f.force, "force", false, "overwrite an existing file")
}

// chips are the numbers of the chips that were named, or those of the lot.
func (f *paperFile) chips(cmd *cobra.Command, s *record.Store, args []string) (numbers []record.Number, err error) {
	switch {
	case f.lot != "" && len(args) > 0:
		return nil, errors.New("name records by their numbers or by --lot, not both")
	case f.lot != "":
		return certificate.OfLot(cmd.Context(), s, f.lot)
	case len(args) == 0:
		return nil, errors.New("name the records by their numbers, or a lot with --lot: chipassay log lists records")
	}
	for _, a := range args {
		letter, digits := record.SplitNumber(a)
		if digits == "" { // a word
			letter, digits = "", a
		}
		n, wrong := chip.ParseNumber(digits)
		numbers, err = append(numbers, record.Number{Bench: letter, Serial: n}), errors.Join(err, wrong)
	}
	return numbers, err
}

// write writes the page and says where.
func (f *paperFile) write(cmd *cobra.Command, name string, write func(io.Writer) error) error {
	if f.out != "" {
		name = f.out
	}
	if err := writeNew(name, f.force, write); err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "written to %s: open it in a browser to view and print it\n", name)
	return nil
}

// writeNew writes a whole file; it overwrites only if asked.
func writeNew(name string, force bool, write func(io.Writer) error) error {
	if _, err := os.Lstat(name); !force && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s exists and was not changed: name another file, or overwrite it with --force", name)
	}
	return writeFile(name, write)
}

func certificateCommand() *cobra.Command {
	var file paperFile
	cmd := &cobra.Command{
		Use:   "certificate N...",
		Short: "Write the certificates of records as a page to print, with labels and signatures",
		Long: `Write the certificates of records as one self-contained HTML page that prints on
A4 and Letter, one sheet for each chip. For a chip that failed or was not tested, the
sheet's heading says so. A chip whose records were all taken back, or that has no test
report, gets none.

N is the chip's number, which is on its bag; the page is of its current record. The
QR code on the sheet holds the number and the SHA-256 digest of that record.`,
		Example: `  chipassay certificate 17
  chipassay certificate --lot "signal box 4" --out lot.html
  chipassay certificate labels 17 18 19 --size 63.5x38.1
  chipassay certificate sign certificate-17.html --key chipassay.key
  chipassay certificate verify certificate-17.html --key chipassay.key.pub`,
		RunE: func(cmd *cobra.Command, args []string) error {
			file.lot = strings.TrimSpace(file.lot)
			return file.records.useAll(cmd, file.lot, func(s *record.Store) error {
				numbers, err := file.chips(cmd, s, args)
				if err != nil {
					return err
				}
				list, title, err := certificate.ReadAll(cmd.Context(), s, numbers, file.lot)
				if err != nil {
					return err
				}
				return file.write(cmd, certificate.FileName("certificate", list), func(w io.Writer) error {
					return certificate.Write(w, title, list)
				})
			})
		},
	}
	file.flags(cmd)
	cmd.AddCommand(labelsCommand(), signCommand(), verifyCommand())
	return cmd
}

func labelsCommand() *cobra.Command {
	var (
		file   paperFile
		layout certificate.LayoutWords
		skip   int
	)
	cmd := &cobra.Command{
		Use:   "labels N...",
		Short: "Write labels for chips, on sheets of labels of any size",
		Long: `Write a label for each record: part, grade, date code and year, drawer, the
chip's number, and the QR code of its current record. The labels fill the paper,
centred. Print at 100 %, not fitted to the page.`,
		Example: `  chipassay certificate labels 17 18 --size 63.5x38.1 --gap 2.5x0 --skip 4
  chipassay certificate labels --lot "signal box 4" --size 66.7x25.4 --paper letter`,
		RunE: func(cmd *cobra.Command, args []string) error {
			l, err := layout.Layout()
			if err != nil {
				return err
			}
			file.lot = strings.TrimSpace(file.lot)
			return file.records.useAll(cmd, file.lot, func(s *record.Store) error {
				numbers, err := file.chips(cmd, s, args)
				if err != nil {
					return err
				}
				labels, _, err := certificate.ReadAll(cmd.Context(), s, numbers, "")
				if err != nil {
					return err
				}
				return file.write(cmd, certificate.FileName("labels", labels), func(w io.Writer) error {
					return certificate.WriteLabels(w, l, skip, labels)
				})
			})
		},
	}
	file.flags(cmd)
	flags := cmd.Flags()
	flags.StringVar(&layout.Size, "size", "", "width and height of a label, mm: 63.5x38.1")
	flags.StringVar(&layout.Paper, "paper", "A4", "A4 or letter")
	flags.StringVar(&layout.Margin, "margin", "4", "margin of the paper, mm: 4, or 4x10 for the sides and for top and bottom")
	flags.StringVar(&layout.Gap, "gap", "0", "gap between labels, mm: 2.5, or 2.5x0 for across and down")
	flags.IntVar(&skip, "skip", 0, "labels already used on the first sheet")
	return cmd
}

func signCommand() *cobra.Command {
	var (
		file recordsFile
		key  string
	)
	cmd := &cobra.Command{
		Use:   "sign FILE",
		Short: "Sign a certificate: the signature goes into the page itself",
		Long: `Sign a certificate: the signature goes into the page itself. A page is signed only
if it is, byte for byte, what would be written from its records now. If it was
changed, or made before a retest, a correction or a photo, make it again.`,
		Example: `  chipassay certificate sign certificate-17.html --key chipassay.key`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if key == "" {
				return errors.New("name your private key with --key: chipassay key new makes one")
			}
			k, err := readKey(key)
			if err != nil {
				return err
			}
			return sign(cmd, &file, args[0], k)
		},
	}
	file.readFlag(cmd)
	cmd.Flags().StringVar(&key, "key", "", "file of the private key")
	return cmd
}

// sign signs a page that is as its records have it.
func sign(cmd *cobra.Command, file *recordsFile, name string, k certificate.Key) error {
	page, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	signed, err := certificate.Sign(page, k)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	err = file.useAll(cmd, "", func(s *record.Store) error {
		if err := certificate.AsWritten(cmd.Context(), s, page); err != nil {
			return fmt.Errorf("%s (records: %s): %w", name, s.Path(), err)
		}
		return nil
	})
	if err != nil {
		return err
	}
	err = writeFile(name, func(w io.Writer) error {
		_, err := w.Write(signed)
		return err
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s is signed by key %s\n", name, k.Fingerprint())
	return nil
}

func verifyCommand() *cobra.Command {
	var key string
	cmd := &cobra.Command{
		Use:   "verify FILE",
		Short: "Check that a certificate is unchanged since it was signed, and by which key",
		Long: `Check that a certificate is unchanged, to the byte, since it was signed, and report
by which key. With --key it must be that key.

Exit status: 0 yes; 1 changed, not signed, or signed by another key.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			var trusted certificate.Key
			if key != "" {
				var err error
				if trusted, err = readKey(key); err != nil {
					return err
				}
			}
			page, err := os.ReadFile(args[0])
			if err != nil {
				return err
			}
			k, err := certificate.Verify(page)
			out := cmd.OutOrStdout()
			switch {
			case errors.Is(err, certificate.ErrNotOurs):
				return fmt.Errorf("%s: %w", args[0], err)
			case err != nil:
				fmt.Fprintf(out, "%s: %v\n", args[0], err)
			case key == "":
				fmt.Fprintf(out, "%s: unchanged since it was signed by key %s\nThis does not show whose key it is: anyone can make a key. Name the one that you trust with --key.\n", args[0], k.Fingerprint())
				return nil
			case !k.Public.Equal(trusted.Public):
				fmt.Fprintf(out, "%s: unchanged since it was signed, but by another key than that in %s:\nby key %s, not %s\n", args[0], key, k.Fingerprint(), trusted.Fingerprint())
			default:
				fmt.Fprintf(out, "%s: unchanged since it was signed by key %s, which is that in %s\n", args[0], k.Fingerprint(), key)
				return nil
			}
			return &statusError{status: exitFailed}
		},
	}
	cmd.Flags().StringVar(&key, "key", "", "file of the public key that you trust")
	return cmd
}
