package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/offer"
	"chipassay/host/record"
)

func stockOfferCommand(d *definitions) *cobra.Command {
	var (
		file  recordsFile
		f     filter
		form  listing
		force bool
	)
	cmd := &cobra.Command{
		Use:   "offer [FILE]",
		Short: "Write a list to sell or swap by: what is good and not yet given away",
		Long: `Write a list to sell or swap by: part, family, date code and age, grade with its
meaning, how many, and the numbers and digests of the certificates. Only good chips
are on it that were tested whole; record given N takes a chip off.

FILE is CSV, a spreadsheet (.xlsx) or an HTML page with the chips' photos, by the end
of its name; without FILE the list is printed.`,
		Example: `  chipassay stock offer
  chipassay stock offer swap.html --part 7400
  chipassay stock offer swap.csv --grade strong --to 1979`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			q, err := f.query()
			if err != nil {
				return err
			}
			lib, err := d.open()
			if err != nil {
				return err
			}
			title := func(typ string) string {
				t, err := lib.Open(typ)
				if err != nil {
					return ""
				}
				return t.Part().Title
			}
			return file.useAll(cmd, q.Lot, func(s *record.Store) error {
				l, err := offer.Gather(cmd.Context(), s, q, time.Now(), title)
				if err != nil {
					return err
				}
				if len(args) == 0 {
					return writeOffer(cmd.OutOrStdout(), l, form)
				}
				if form.machine() {
					return errors.New("--json and --csv print the list: leave FILE out")
				}
				return writeOfferFile(cmd, s, l, args[0], force)
			})
		},
	}
	file.readFlag(cmd)
	f.flags(cmd)
	form.flags(cmd)
	cmd.Flags().BoolVar(&force, "force", false, "overwrite an existing file")
	return cmd
}

func writeOfferFile(cmd *cobra.Command, s *record.Store, l offer.List, name string, force bool) error {
	if len(l.Rows) == 0 {
		return errNothingOffered
	}
	var write func(io.Writer) error
	switch strings.ToLower(filepath.Ext(name)) {
	case ".csv":
		write = func(w io.Writer) error { return writeCSV(w, offer.Header, l.Table()) }
	case ".xlsx":
		write = l.WriteWorkbook
	case ".html", ".htm":
		if err := l.AddPhotos(cmd.Context(), s); err != nil {
			return err
		}
		write = l.WriteHTML
	default:
		return fmt.Errorf("%s: end the name in .csv, .xlsx or .html, which selects the format", name)
	}
	if err := writeNew(name, force, write); err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s: %s in %d rows\n", name, someChips(l.Total()), len(l.Rows))
	return nil
}

var errNothingOffered = errors.New("no good chip matches that is not given away; chipassay stock shows what there is")

// An offerLine is chips on offer, as other programs read them.
type offerLine struct {
	Type       string      `json:"type"`
	Title      string      `json:"title"`
	Family     string      `json:"family"`
	DateCode   string      `json:"date_code"`
	Year       int         `json:"date_year"` // 0 where there is no date code
	Grade      string      `json:"grade"`
	GradeMeans string      `json:"grade_means"`
	Chips      []offerChip `json:"chips"`
}

type offerChip struct {
	Bench       string `json:"bench,omitempty"` // the letter before both numbers, of several
	Certificate int64  `json:"certificate"`
	Record      int64  `json:"record"`
	Digest      string `json:"digest"`
}

func writeOffer(w io.Writer, l offer.List, form listing) error {
	if form.machine() {
		objects := []offerLine{}
		for _, r := range l.Rows {
			line := offerLine{r.Type, r.Title, r.Family, r.DateCode, r.Year, string(r.Grade), r.Meaning(), []offerChip{}}
			for _, c := range r.Chips {
				line.Chips = append(line.Chips, offerChip{c.Number.Bench, c.Number.Serial, c.Record.Serial, c.Digest})
			}
			objects = append(objects, line)
		}
		return form.write(w, objects, offer.Header, l.Table())
	}
	if len(l.Rows) == 0 {
		return errNothingOffered
	}
	var rows [][]string
	for _, r := range l.Rows {
		var numbers []string
		for _, c := range r.Chips {
			numbers = append(numbers, c.Number.String())
		}
		rows = append(rows, []string{strconv.Itoa(len(r.Chips)), r.Type, shorten(r.Title, 40), r.Made(), r.Age(l.Day), r.Grade.String(), shorten(strings.Join(numbers, " "), 40)})
	}
	if err := writeAligned(w, []string{"chips", "type", "function", "date_code", "years", "grade", "certificates"}, rows); err != nil {
		return err
	}
	if l.Virtual {
		fmt.Fprintln(w, "\npractice: these chips are virtual")
	}
	return nil
}
