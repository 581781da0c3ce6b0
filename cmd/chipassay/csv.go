package main

import (
	"encoding/csv"
	"io"

	"chipassay/host/record"
)

// writeCSV writes a table as CSV after RFC 4180. What a spreadsheet would run as a
// formula gets an apostrophe before it.
func writeCSV(w io.Writer, header []string, rows [][]string) error {
	table := csv.NewWriter(w)
	table.UseCRLF = true
	for _, row := range append([][]string{header}, rows...) {
		cells := make([]string, len(row))
		for i, cell := range row {
			cells[i] = record.Cell(cell)
		}
		if err := table.Write(cells); err != nil {
			return err
		}
	}
	table.Flush()
	return table.Error()
}
