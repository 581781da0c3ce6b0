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
)

// ErrNotAsWritten is the error for a page that is not what is written of its records now.
var ErrNotAsWritten = errors.New("not, byte for byte, what its records give now")

// article is how the sheet of a record begins. No text of a page can look like it: a
// text's < is escaped.
var article = regexp.MustCompile(`<article id="record-([0-9]{1,18})" class="`)

// AsWritten reports whether a page of certificates is, byte for byte, what Write makes of
// its records as they are now. Only such a page is worth a signature: one that was
// changed, or that was made before a retest, a correction or a photo, is to be made again.
func AsWritten(ctx context.Context, s *record.Store, page []byte) error {
	var serials []int64
	for _, m := range article.FindAllSubmatch(page, -1) {
		n, _ := strconv.ParseInt(string(m[1]), 10, 64) // digits
		serials = append(serials, n)
	}
	if serials == nil {
		return ErrNotOurs
	}
	lots := []string{""}
	first, err := s.Get(ctx, serials[0])
	if err != nil {
		return err
	}
	if lot := first.Lot; lot != "" {
		if all, err := OfLot(ctx, s, lot); err == nil && slices.Equal(all, serials) { // the page of a lot has all of it
			lots = append(lots, lot)
		}
	}
	for _, lot := range lots {
		list, title, err := ReadAll(ctx, s, serials, lot)
		if err != nil {
			return err
		}
		var now bytes.Buffer
		if err := Write(&now, title, list); err != nil {
			return err
		}
		if bytes.Equal(now.Bytes(), page) {
			return nil
		}
	}
	return fmt.Errorf("%w: write it again with chipassay certificate, and sign that", ErrNotAsWritten)
}
