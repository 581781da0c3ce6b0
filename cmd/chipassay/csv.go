package main

import (
	"bufio"
	"io"

	"chipassay/host/record"
)

// writeCSV writes a table as CSV after RFC 4180. A cell that a spreadsheet would
// run as a formula gets an apostrophe before it.
func writeCSV(w io.Writer, header []string, rows [][]string) error {
	b := bufio.NewWriter(w)
	for _, row := range append([][]string{header}, rows...) {
		var line []byte
		for i, cell := range row {
			if i > 0 {
				line = append(line, ',')
			}
			line = record.AppendCell(line, []byte(cell))
		}
		if _, err := b.Write(append(line, "\r\n"...)); err != nil {
			return err
		}
	}
	return b.Flush()
}
