package certificate

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"

	"chipassay/host/record"
	"chipassay/host/report"
)

// OfLot are the numbers of the records of a lot that are current.
func OfLot(ctx context.Context, s *record.Store, lot string) (rows []record.Number, err error) {
	for r, err := range s.Find(ctx, record.Query{Lot: lot}) {
		if err != nil {
			return nil, err
		}
		rows = append(rows, r.Row())
	}
	if rows == nil {
		return nil, fmt.Errorf("the lot %q has no current record: chipassay log lists records with their lots", lot)
	}
	return rows, nil
}

// ReadAll makes the certificates of chips, for a page or for labels, and a title of
// the page. The lot is named in it unless it is empty.
func ReadAll(ctx context.Context, s *record.Store, rows []record.Number, lot string) (list []Certificate, title string, err error) {
	var chips report.Tray
	for _, row := range rows {
		at, err := s.At(ctx, row.Bench)
		if err != nil {
			return nil, "", err
		}
		c, err := Read(ctx, at, row.Serial)
		if err != nil {
			return nil, "", err
		}
		list, chips.Chips = append(list, c), append(chips.Chips, c.Document)
	}
	title = chips.Summary()
	if lot == "" {
		return list, title, nil
	}
	cleared, err := s.Cleared(ctx, lot)
	if title = "Lot " + lot + ", " + title; len(cleared) > 0 {
		title += fmt.Sprintf("; %d formerly bad, no longer counted", len(cleared))
	}
	return list, title, err
}

// ErrNotAsWritten is the error for a page that is not what is written of its records now.
var ErrNotAsWritten = errors.New("not, byte for byte, what its records give now")

// article is how the sheet of a record begins. No text of a page can look like it: a
// text's < is escaped.
var article = regexp.MustCompile(`<article id="record-([A-Z]{0,3})([0-9]{1,18})" class="`)

// AsWritten reports whether a page of certificates is, byte for byte, what Write makes of
// its records as they are now. Only such a page is worth a signature: one that was
// changed, or that was made before a retest, a correction or a photo, is to be made again.
func AsWritten(ctx context.Context, s *record.Store, page []byte) error {
	var rows []record.Number
	for _, m := range article.FindAllSubmatch(page, -1) {
		n, _ := strconv.ParseInt(string(m[2]), 10, 64) // digits
		rows = append(rows, record.Number{Bench: string(m[1]), Serial: n})
	}
	if rows == nil {
		return ErrNotOurs
	}
	changed := fmt.Errorf("%w: write it again with chipassay certificate, and sign that", ErrNotAsWritten)
	lot := ""
	if bytes.Contains(page, []byte("<title>Lot ")) { // it has all of the lot
		at, err := s.At(ctx, rows[0].Bench)
		if err != nil {
			return err
		}
		first, err := at.Get(ctx, rows[0].Serial)
		if err != nil {
			return err
		}
		lot = first.Lot
		if all, err := OfLot(ctx, s, lot); err != nil || !slices.Equal(all, rows) {
			return errors.Join(err, changed)
		}
	}
	list, title, err := ReadAll(ctx, s, rows, lot)
	if err != nil {
		return err
	}
	var now bytes.Buffer
	if err := Write(&now, title, list); err != nil {
		return err
	}
	if !bytes.Equal(now.Bytes(), page) {
		return changed
	}
	return nil
}
