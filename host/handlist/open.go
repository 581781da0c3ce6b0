package handlist

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"chipassay/host/sheet"
)

// Open reads the rows of a file: the first sheet of a spreadsheet that has the header if its name ends in .xlsx, else
// CSV; standard input, as CSV, for "-". Columns are those that a person named, or empty.
func Open(name string, standard io.Reader, columns string) ([]Row, error) {
	if name == "-" {
		return ReadCSV(standard, columns)
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if sheet.Is(name) {
		rows, err := readSheet(f, columns)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		return rows, nil
	}
	switch strings.ToLower(filepath.Ext(name)) {
	case ".ods", ".xls", ".xlsb", ".pdf", ".docx":
		return nil, fmt.Errorf("%s: %w that is read: save it as .xlsx or CSV", name, ErrList)
	}
	rows, err := ReadCSV(f, columns)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return rows, nil
}

func readSheet(r io.Reader, columns string) (rows []Row, err error) {
	header := func(cells []string) bool {
		if columns == "" {
			_, is := partsHeader(trimmed(cells))
			return is
		}
		return hasAll(trimmed(cells), headers(columns))
	}
	for row, err := range sheet.ReadByHand(r, header) {
		if err != nil {
			return nil, err
		}
		if rows = appendRow(rows, row.Number, row.Cells); len(rows) > maxRows {
			return nil, fmt.Errorf("%w: it has over %d rows", ErrList, maxRows)
		}
	}
	return rows, nil
}
