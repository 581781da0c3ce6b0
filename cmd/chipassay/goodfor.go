package main

import (
	"fmt"
	"io"

	"chipassay/host/stock"
)

// writePartlyGoods lists for a person what chips that are not wholly good are still good for.
func writePartlyGoods(w io.Writer, list []stock.Partly) error {
	if len(list) == 0 {
		return nil
	}
	fmt.Fprintf(w, "\nStill good for something: %d\n", len(list))
	var rows [][]string
	for _, p := range list {
		rows = append(rows, []string{p.Drawer, p.Type, p.DateCode, fmt.Sprintf("%s%d", p.Bench, p.Record), p.GoodFor})
	}
	return writeAligned(w, []string{"drawer", "type", "date_code", "record", "good_for"}, rows)
}
