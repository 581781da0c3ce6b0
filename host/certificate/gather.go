package certificate

import (
	"context"
	"fmt"

	"chipassay/host/record"
	"chipassay/host/verdict"
)

// OfLot are the serial numbers of the records of a lot that are current.
func OfLot(ctx context.Context, s *record.Store, lot string) (serials []int64, err error) {
	for r, err := range s.Find(ctx, record.Query{Lot: lot}) {
		if err != nil {
			return nil, err
		}
		serials = append(serials, r.Serial)
	}
	if serials == nil {
		return nil, fmt.Errorf("the lot %q has no current record: chipassay log lists records with their lots", lot)
	}
	return serials, nil
}

// ReadAll makes the certificates of records, all of them or none, and a title for
// the page. The lot is named in it unless it is empty.
func ReadAll(ctx context.Context, s *record.Store, serials []int64, lot string) (list []Certificate, title string, err error) {
	named := map[int64]bool{}
	n := map[verdict.Verdict]int{}
	for _, serial := range serials {
		if named[serial] {
			return nil, "", fmt.Errorf("record %d is named twice", serial)
		}
		named[serial] = true
		c, err := Read(ctx, s, serial)
		if err != nil {
			return nil, "", err
		}
		n[c.verdict()]++
		list = append(list, c)
	}
	title = fmt.Sprintf("%d chips: %d pass, %d fail, %d not tested", len(list), n[verdict.Pass], n[verdict.Fail], n[verdict.NotTested])
	if lot != "" {
		cleared, err := s.Cleared(ctx, lot)
		if err != nil {
			return nil, "", err
		}
		if title = "Lot " + lot + ", " + title; len(cleared) > 0 {
			title += fmt.Sprintf("; %d formerly bad, no longer counted", len(cleared))
		}
	}
	return list, title, nil
}
