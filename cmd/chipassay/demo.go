package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/drawer"
	"chipassay/host/report"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

//go:embed demo.tray
var demoTray string

func demoCommand(d *definitions) *cobra.Command {
	var seed uint64
	cmd := &cobra.Command{
		Use:   "demo [FOLDER]",
		Short: "Test a tray of virtual chips, good ones and bad ones, and write the report",
		Long: `Test a tray of virtual chips, some of them with defects, on the virtual adapter,
which runs the adapter's real firmware. The report goes to FOLDER, assay-report
if none is named, as report.html and report.json. The chips are kept in
the records of practice: chipassay log --practice.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			folder := "assay-report"
			if len(args) == 1 {
				folder = args[0]
			}
			return runDemo(cmd, d, folder, seed)
		},
	}
	cmd.Flags().Uint64Var(&seed, "seed", 1, "random seed")
	return cmd
}

func runDemo(cmd *cobra.Command, d *definitions, folder string, seed uint64) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("the report's folder: %w; name one that you may write to: chipassay demo FOLDER", err)
	}
	places, err := virtual.ParseTray(strings.NewReader(demoTray), d.typed)
	if err != nil {
		return err
	}
	var seated []report.Document
	tray := report.Tray{Title: "Drawer 3 of the tram museum's signal department"}
	for i, p := range places {
		f := testFlags{definitions: d, dateCode: p.DateCode, note: p.Note, seed: seed}
		c, err := f.chipTyped(p.Marking)
		if err != nil {
			return err
		}
		r, err := assayVirtual(cmd, d, c.typ, p.Chip, seed)
		if err != nil {
			return err
		}
		tested := c.document(r, strconv.Itoa(i+1))
		tray.Chips = append(tray.Chips, tested)
		if s := r.Seating; s == nil || s.Found != contact.EmptySocket && s.Kind != contact.Misplaced {
			seated = append(seated, tested)
		}
		fmt.Fprintln(cmd.OutOrStdout(), tested.Line())
		if err := cmd.Context().Err(); err != nil {
			return couldNotTest(fmt.Errorf("interrupted after %d of %d chips", i+1, len(places)))
		}
	}
	if err := writeTray(cmd, folder, tray); err != nil {
		return err
	}
	if err := writePractice(cmd, "3", seated); err != nil { // the report is what was asked for
		fmt.Fprintln(cmd.ErrOrStderr(), "not recorded:", err)
		return nil
	}
	fmt.Fprintln(cmd.OutOrStdout(), "\nThe chips are in the records of practice: chipassay log --practice")
	return nil
}

// writePractice writes the virtual chips of a drawer down in the file of practice.
func writePractice(cmd *cobra.Command, name string, chips []report.Document) (err error) {
	ctx := context.WithoutCancel(cmd.Context())
	store, err := new(recordsFile).forChips(ctx, true)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	for _, c := range chips {
		r, err := drawer.Entry(c)
		if err != nil {
			return err
		}
		r.Drawer = name
		if _, err := store.Append(ctx, r); err != nil {
			return err
		}
	}
	return nil
}

// assayVirtual tests one chip in a virtual adapter of its own.
func assayVirtual(cmd *cobra.Command, d *definitions, typ part.Type, chip *virtual.Chip, seed uint64) (*assay.Result, error) {
	p, err := d.plan(typ)
	if err != nil {
		return nil, err
	}
	a, err := new(connection).virtual(cmd.Context(), chip, seed)
	if err != nil {
		return nil, err
	}
	defer a.Close()
	return assayOn(cmd, a, p, assay.Repetition{})
}

// writeTray writes the report of a tray into a folder, which is there, and says where it is.
func writeTray(cmd *cobra.Command, folder string, tray report.Tray) error {
	page, object := filepath.Join(folder, "report.html"), filepath.Join(folder, "report.json")
	if err := writeRun(page, tray); err != nil {
		return err
	}
	if err := writeFile(object, tray.WriteJSON); err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "\n%s\n\nThe report is in %s:\n  %s\n  %s\n", tray.Summary(), folder, page, object)
	return nil
}
