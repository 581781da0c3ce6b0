package handlist

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// Open reads the rows of a file: CSV whatever its name ends in, or standard input for "-".
func Open(name string, standard io.Reader) ([]Row, error) {
	if name == "-" {
		return ReadCSV(standard)
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	switch strings.ToLower(filepath.Ext(name)) {
	case ".ods", ".xls", ".xlsb", ".pdf", ".docx":
		return nil, fmt.Errorf("%s: %w that is read: save it as CSV", name, ErrList)
	}
	rows, err := ReadCSV(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return rows, nil
}
