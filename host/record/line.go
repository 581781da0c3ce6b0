package record

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"time"
)

// A Line is a record in a list, as other programs read it.
type Line struct {
	Bench      string `json:"bench,omitempty"` // the letter before serial and chip, where several benches are listed
	Serial     int64  `json:"serial"`
	Kind       string `json:"kind"`
	Time       string `json:"time"` // RFC 3339
	Drawer     string `json:"drawer"`
	Lot        string `json:"lot"`
	Part       string `json:"part"`
	Type       string `json:"type"`
	Family     string `json:"family"`
	Marking    string `json:"marking"`
	DateCode   string `json:"date_code"`
	Year       int    `json:"date_year"` // 0 where there is no date code
	Verdict    string `json:"verdict"`
	Grade      string `json:"grade"`
	Reason     string `json:"reason"`
	PinsFailed []int  `json:"pins_failed"`
	Operator   string `json:"operator"`
	Note       string `json:"note"`
	Chip       int64  `json:"chip"` // serial of the chip's first test: its number
}

// Line is the record in a list.
func (r Record) Line() Line {
	pins := r.PinsFailed
	if pins == nil {
		pins = []int{}
	}
	return Line{r.Bench, r.Serial, string(r.Kind), r.Time.Format(time.RFC3339), r.Drawer, r.Lot, r.Part, r.Type, r.Family, r.Marking,
		r.DateCode, r.Year, string(r.Verdict), string(r.Grade), r.Reason, pins, r.Operator, r.Note, r.Chip}
}

// ExportJSON writes the records asked for as an array of Line, one a line, as they are read.
func (s *Store) ExportJSON(ctx context.Context, w io.Writer, q Query) error {
	out := bufio.NewWriter(w)
	lead := "["
	for r, err := range s.Find(ctx, q) {
		if err != nil {
			return err
		}
		object, err := json.Marshal(r.Line())
		if err != nil {
			return err
		}
		if _, err := out.WriteString(lead + "\n  " + string(object)); err != nil {
			return err
		}
		lead = ","
	}
	end := "\n]\n"
	if lead == "[" {
		end = "[]\n"
	}
	if _, err := out.WriteString(end); err != nil {
		return err
	}
	return out.Flush()
}
