package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"chipassay/host/record"
	"chipassay/host/stock"
)

func stockCommand(d *definitions) *cobra.Command {
	var (
		file recordsFile
		f    filter
		form listing
	)
	cmd := &cobra.Command{
		Use:   "stock",
		Short: "Show how many good chips each drawer holds, of what part and year, and what to discard",
		Long: `Show how many good chips of what each drawer holds, by grade and year of the date
code; what is doubtful, what could not be tested, what to discard, and what a
chip that failed in some gates, or passed in part, is still good for. Each chip
counts once, as its last test and corrections left it.`,
		Example: `  chipassay stock
  chipassay stock --part 7400 --grade strong
  chipassay stock --drawer D3 --csv`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			q, err := f.query()
			if err != nil {
				return err
			}
			return file.useAll(cmd, q.Lot, func(s *record.Store) error {
				holdings, err := s.Stock(cmd.Context(), q)
				if err != nil {
					return err
				}
				partly, err := stock.PartlyGood(cmd.Context(), s, q, 0)
				if err != nil {
					return err
				}
				return writeStock(cmd.OutOrStdout(), holdings, partly, form)
			})
		},
	}
	file.readFlag(cmd)
	f.flags(cmd)
	form.flags(cmd)
	cmd.AddCommand(stockWantCommand(d), stockOfferCommand(d))
	return cmd
}

// A stockLine is what one drawer holds of one type and year, as other programs read it.
type stockLine struct {
	Bench        string `json:"bench,omitempty"` // its letter, of several
	Drawer       string `json:"drawer"`
	Part         string `json:"part"`
	Type         string `json:"type"`
	Family       string `json:"family"`
	Year         int    `json:"date_year"` // 0 where there is no date code
	Strong       int    `json:"strong"`
	Sound        int    `json:"sound"`
	FunctionOnly int    `json:"function_only"`
	Doubtful     int    `json:"doubtful"`
	Reject       int    `json:"reject"`
	NotTested    int    `json:"not_tested"`

	Partly []stock.Partly `json:"partly,omitempty"` // chips that are still good for something
}

func writeStock(w io.Writer, holdings []record.Holding, partly []stock.Partly, form listing) error {
	objects, rows := []stockLine{}, [][]string{}
	shared := slices.ContainsFunc(holdings, func(h record.Holding) bool { return h.Bench != "" })
	for _, h := range holdings {
		objects = append(objects, stockLine{h.Bench, h.Drawer, h.Part, h.Type, h.Family, h.Year, h.Strong, h.Sound, h.FunctionOnly, h.Doubtful, h.Reject, h.NotTested, partlyIn(h, partly)})
		rows = append(rows, benchBefore(shared, h.Bench, []string{h.Drawer, h.Part, h.Type, h.Family, number(h.Year), strconv.Itoa(h.Strong), strconv.Itoa(h.Sound),
			strconv.Itoa(h.FunctionOnly), strconv.Itoa(h.Doubtful), strconv.Itoa(h.Reject), strconv.Itoa(h.NotTested)}))
	}
	if form.machine() {
		return form.write(w, objects, benchBefore(shared, "bench", []string{"drawer", "part", "type", "family", "date_year", "strong", "sound", "function_only", "doubtful", "reject", "not_tested"}), rows)
	}
	if len(holdings) == 0 {
		return errors.New("no chip matches; chipassay stock without filters shows what there is")
	}
	if err := writeStockText(w, holdings, shared); err != nil {
		return err
	}
	return writePartlyGoods(w, partly)
}

// benchBefore puts the cell of the bench before a row's others, where there are several.
func benchBefore(shared bool, bench string, row []string) []string {
	if shared {
		return slices.Insert(row, 0, bench)
	}
	return row
}

// partlyIn are the partly good chips of a holding.
func partlyIn(h record.Holding, partly []stock.Partly) (list []stock.Partly) {
	for _, p := range partly {
		if p.In(h) {
			list = append(list, p)
		}
	}
	return list
}

// number is a count or year, empty for 0.
func number(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func writeStockText(w io.Writer, holdings []record.Holding, shared bool) error {
	gap := ""
	for _, s := range stock.Shelves {
		var rows [][]string
		sum := 0
		for _, h := range holdings {
			row, any := []string{h.Drawer, h.Type, number(h.Year)}, 0
			for _, n := range s.Counts(h.Tally) {
				row = append(row, number(n))
				any += n
			}
			if sum += any; any > 0 {
				rows = append(rows, benchBefore(shared, h.Bench, row))
			}
		}
		if sum == 0 {
			continue
		}
		fmt.Fprintf(w, "%s%s: %d\n", gap, s.Title, sum)
		if err := writeAligned(w, append(benchBefore(shared, "bench", []string{"drawer", "type", "year"}), s.Columns...), rows); err != nil {
			return err
		}
		gap = "\n"
	}
	return nil
}
