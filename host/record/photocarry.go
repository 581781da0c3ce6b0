package record

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"
)

// photoColumn is the column, or the key, of an export that has the digest of a chip's
// photo. It is no field of a record: it follows from the photos.
const photoColumn = "photo"

// benchColumn is that of the bench's letter, where an export is of several.
const benchColumn = "bench"

// A photoLine is a photo as a line of JSON carries it, under the key photo. The picture
// comes with the first photo of it.
type photoLine struct {
	Bench      string `json:"bench,omitempty"` // of Chip and both numbers, of several
	Number     int64  `json:"number"`
	Time       string `json:"time"` // RFC 3339, UTC, ms
	Chip       int64  `json:"chip"`
	ChipDigest string `json:"chip_digest"`
	SHA256     string `json:"sha256"`
	TakesBack  int64  `json:"takes_back,omitempty"`
	Previous   string `json:"previous,omitempty"`
	Digest     string `json:"digest"`
	JPEG       []byte `json:"jpeg,omitempty"` // in base64, RFC 4648
}

// ExportAll is ExportLines of every row, and after them every photo: a line of its own
// whose only key is photo, and which carries the picture in base64. It says how many
// records and photos there were.
func (s *Store) ExportAll(ctx context.Context, w io.Writer) (rows, photographs int, err error) {
	if s.all {
		return s.exportTogether(ctx, w)
	}
	var last int64 // a photo that is added meanwhile may be of a chip that is not in the export
	if err := s.db.QueryRowContext(ctx, "SELECT coalesce(max(number), 0) FROM photo").Scan(&last); err != nil {
		return 0, 0, damaged(err)
	}
	if rows, err = s.ExportLines(ctx, w, Query{All: true}); err != nil {
		return rows, 0, err
	}
	photographs, err = s.exportPhotos(ctx, w, last, "")
	return rows, photographs, err
}

// exportTogether is ExportAll of all benches: the rows by time, and then the photos of each.
func (s *Store) exportTogether(ctx context.Context, w io.Writer) (rows, photographs int, err error) {
	benches, err := s.Benches(ctx)
	if err != nil {
		return 0, 0, err
	}
	last := map[string]int64{}
	for _, letter := range benches {
		now, err := sealsOf(ctx, s.remote.view(letter))
		if err != nil {
			return 0, 0, err
		}
		last[letter] = now.Photos.Count
	}
	if rows, err = s.ExportLines(ctx, w, Query{All: true}); err != nil {
		return rows, 0, err
	}
	for _, letter := range benches {
		of, err := s.remote.Of(ctx, letter)
		if err != nil {
			return rows, photographs, err
		}
		n, err := of.exportPhotos(ctx, w, last[letter], letter)
		if photographs += n; err != nil {
			return rows, photographs, err
		}
	}
	return rows, photographs, nil
}

// exportPhotos writes the photos up to a number, with their pictures.
func (s *Store) exportPhotos(ctx context.Context, w io.Writer, last int64, letter string) (photographs int, err error) {
	list, err := photos(ctx, s.db, "WHERE number <= ?", last)
	if err != nil {
		return 0, err
	}
	out := bufio.NewWriter(w)
	written := map[string]bool{}
	for _, p := range list {
		line := photoLine{letter, p.Number, p.Time.Format(timeForm), p.Chip, p.ChipDigest, p.SHA256, p.TakesBack, p.Previous, p.Digest, nil}
		if !written[p.SHA256] {
			picture, err := s.Picture(ctx, p.SHA256)
			if err != nil {
				return photographs, err
			}
			line.JPEG, written[p.SHA256] = picture.JPEG, true
		}
		if err := json.NewEncoder(out).Encode(map[string]photoLine{photoColumn: line}); err != nil {
			return photographs, err
		}
		photographs++
	}
	return photographs, out.Flush()
}

// picturesByChip are the digests of the photos that hold, the latest of each chip, by the
// chip's number.
func (s *Store) picturesByChip(ctx context.Context) (map[Number]string, error) {
	list := map[Number]string{}
	from := map[string]*sql.DB{s.bench: s.db}
	if s.all {
		benches, err := s.Benches(ctx)
		if err != nil {
			return nil, err
		}
		clear(from)
		for _, letter := range benches {
			from[letter] = s.remote.view(letter)
		}
	}
	for letter, db := range from {
		all, err := photos(ctx, db, "")
		if err != nil {
			return nil, err
		}
		for _, p := range held(all) {
			list[Number{letter, p.Chip}] = p.SHA256
		}
	}
	return list, nil
}

// addPhoto adds a photo as it was written elsewhere, with a new number. One that is there
// already, of the same chip, picture and time, is left out.
func (i *importer) addPhoto(ctx context.Context, line photoLine) error {
	p, err := line.photo()
	if err != nil {
		return err
	}
	there := Number{line.Bench, p.Number}
	if p.Chip = i.here[Number{line.Bench, p.Chip}]; p.Chip == 0 {
		return errors.New("it is of a chip that is not in the file before it: export all records")
	}
	if p.TakesBack != 0 {
		if p.TakesBack = i.photos[Number{line.Bench, p.TakesBack}]; p.TakesBack == 0 {
			return errors.New("it takes back a photo that is not in the file before it")
		}
	}
	if i.photos[there], err = i.twin(ctx, p); err != nil || i.photos[there] != 0 {
		return err
	}
	if len(line.JPEG) > 0 {
		picture, err := newPicture(line.JPEG)
		if err == nil && picture.SHA256 != p.SHA256 {
			err = errors.New("its picture was changed after it was written")
		}
		if err == nil {
			err = i.addPicture(ctx, picture)
		}
		if err != nil {
			return err
		}
	}
	var known bool
	if err := i.tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM picture WHERE sha256 = ?)", p.SHA256).Scan(&known); err != nil {
		return damaged(err)
	}
	if !known {
		return errors.New("its picture is missing")
	}
	if err := i.tx.QueryRowContext(ctx, "SELECT digest FROM record WHERE serial = ?", p.Chip).Scan(&p.ChipDigest); err != nil {
		return damaged(err)
	}
	if p, err = i.writer.addPhoto(ctx, p); err != nil {
		return err
	}
	i.photos[there] = p.Number
	i.done.Photos++
	return nil
}

// twin is the number of a photo here of the same chip, picture and time, or 0.
func (i *importer) twin(ctx context.Context, p Photo) (int64, error) {
	list, err := photos(ctx, i.tx, "WHERE chip = ? AND sha256 = ? AND time = ? AND (takes_back = 0) = ?",
		p.Chip, p.SHA256, p.Time.Format(timeForm), p.TakesBack == 0)
	if err != nil || len(list) == 0 {
		return 0, err
	}
	return list[0].Number, nil
}

// photo is what a line carries, if it is as it was written.
func (l photoLine) photo() (Photo, error) {
	p := Photo{Number: l.Number, Chip: l.Chip, ChipDigest: l.ChipDigest, SHA256: l.SHA256, TakesBack: l.TakesBack, Previous: l.Previous, Digest: l.Digest}
	var err error
	if p.Time, err = time.Parse(timeForm, l.Time); err != nil {
		return p, fmt.Errorf("time: %w", err)
	}
	if p.Sum() != p.Digest {
		return p, errors.New("it was changed after it was written, or is not whole")
	}
	return p, nil
}
