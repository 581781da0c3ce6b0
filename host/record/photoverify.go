package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
)

// checkPhotos computes the digests of photos and pictures, and looks for the records and
// pictures that photos name.
func checkPhotos(ctx context.Context, q queryer) (*Bad, error) {
	if version, err := userVersion(ctx, q); err != nil || version < firstWithPhotos {
		return nil, err // a backup of before
	}
	list, err := photos(ctx, q, "")
	if errors.Is(err, ErrDamaged) {
		return &Bad{Reason: strings.TrimPrefix(err.Error(), ErrDamaged.Error()+": ")}, nil
	}
	if err != nil {
		return nil, err
	}
	known, bad, err := checkPictures(ctx, q)
	if bad != nil || err != nil {
		return bad, err
	}
	used, previous := map[string]bool{}, ""
	for i, p := range list {
		switch {
		case p.Number != int64(i+1) || p.Previous != previous:
			return &Bad{Reason: fmt.Sprintf("photo %d does not follow the photo before it", p.Number)}, nil
		case p.Sum() != p.Digest:
			return &Bad{Reason: fmt.Sprintf("photo %d was changed after it was written", p.Number)}, nil
		case !known[p.SHA256]:
			return &Bad{Reason: fmt.Sprintf("the picture of photo %d is missing", p.Number)}, nil
		}
		var digest string
		err := q.QueryRowContext(ctx, "SELECT digest FROM record WHERE serial = ? AND chip = serial", p.Chip).Scan(&digest)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return nil, damaged(err)
		}
		if digest != p.ChipDigest {
			return &Bad{Reason: fmt.Sprintf("photo %d is of the chip of record %d, which was changed since", p.Number, p.Chip)}, nil
		}
		used[p.SHA256], previous = true, p.Digest
	}
	for digest := range known {
		if !used[digest] {
			return &Bad{Reason: "there is a picture that no photo names"}, nil
		}
	}
	return nil, nil
}

// checkPictures computes the digests of all pictures, one after the other, and says which
// there are.
func checkPictures(ctx context.Context, q queryer) (known map[string]bool, bad *Bad, err error) {
	rows, err := q.QueryContext(ctx, "SELECT sha256, width, height, jpeg FROM picture ORDER BY sha256")
	if err != nil {
		return nil, nil, damaged(err)
	}
	defer rows.Close()
	known = map[string]bool{}
	for rows.Next() {
		var p Picture
		if err := rows.Scan(&p.SHA256, &p.Width, &p.Height, &p.JPEG); err != nil {
			return nil, nil, err
		}
		if !p.sound() {
			return nil, &Bad{Reason: fmt.Sprintf("picture %.12s was changed after it was written", p.SHA256)}, nil
		}
		known[p.SHA256] = true
	}
	return known, nil, damaged(rows.Err())
}
