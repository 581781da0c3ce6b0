package record

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	_ "embed"
	"encoding/hex"
	"errors"
	"fmt"
	"image/jpeg"
	"slices"
	"time"

	"chipassay/host/photo"
)

//go:embed schema4.sql
var schema4 string

// firstWithPhotos is the version of the file that first has photos.
const firstWithPhotos = 4

// MaxPicture is the limit of a picture, bytes. A larger one is refused (ErrPicture);
// host/photo makes pictures that keep to it.
const MaxPicture = photo.MaxBytes

// A Photo ties a picture of a chip's top to the chip. A later one may take it back.
type Photo struct {
	Number     int64     // from 1, without a gap; given by AddPhoto
	Time       time.Time // when it was added, UTC, to the millisecond
	Chip       int64     // serial of the chip's first record
	ChipDigest string    // its digest
	SHA256     string    // of the picture, hexadecimal
	TakesBack  int64     // number of the photo that no longer holds, or 0

	Previous string // digest of the photo before
	Digest   string
}

// A Picture is a JPEG file as it is kept.
type Picture struct {
	SHA256        string // hexadecimal
	Width, Height int    // pixels
	JPEG          []byte
}

// Errors of photos.
var (
	ErrPicture = errors.New("not a picture that can be kept")
	ErrNoPhoto = errors.New("no such photo")
)

// newPicture is a picture, if it can be kept.
func newPicture(file []byte) (Picture, error) {
	if len(file) > MaxPicture {
		return Picture{}, fmt.Errorf("%w: it has %d bytes, over %d", ErrPicture, len(file), MaxPicture)
	}
	size, err := jpeg.DecodeConfig(bytes.NewReader(file))
	if err != nil {
		return Picture{}, fmt.Errorf("%w: it is no JPEG: %w", ErrPicture, err)
	}
	sum := sha256.Sum256(file)
	return Picture{hex.EncodeToString(sum[:]), size.Width, size.Height, file}, nil
}

// AddPhoto keeps a picture, a JPEG, with the chip that a record is about. It returns when
// the picture is on the disk. Where the chip's photo is that picture already, it is given
// back and nothing is added. The picture is kept as it is: have host/photo strip its
// metadata first.
func (s *Store) AddPhoto(ctx context.Context, serial int64, file []byte) (p Photo, err error) {
	picture, err := newPicture(file)
	if err != nil {
		return Photo{}, err
	}
	err = s.write(ctx, func(w *writer) error {
		history, err := history(ctx, w.tx, serial)
		if err != nil {
			return err
		}
		chip := history[0]
		there, err := holding(ctx, w.tx, chip.Serial)
		if err != nil {
			return err
		}
		if i := len(there) - 1; i >= 0 && there[i].SHA256 == picture.SHA256 {
			p = there[i]
			return nil
		}
		if err := w.addPicture(ctx, picture); err != nil {
			return err
		}
		p, err = w.addPhoto(ctx, Photo{Time: time.Now(), Chip: chip.Serial, ChipDigest: chip.Digest, SHA256: picture.SHA256})
		return err
	})
	if err != nil {
		return Photo{}, fmt.Errorf("add a photo: %w", err)
	}
	return p, nil
}

// TakeBackPhoto notes that a photo does not hold. The error is ErrNoPhoto where none of
// that number holds. The picture stays in the file.
func (s *Store) TakeBackPhoto(ctx context.Context, number int64) (p Photo, err error) {
	err = s.write(ctx, func(w *writer) error {
		var chip int64
		err := w.tx.QueryRowContext(ctx, "SELECT chip FROM photo WHERE number = ?", number).Scan(&chip)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return damaged(err)
		}
		list, err := holding(ctx, w.tx, chip)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(list, func(p Photo) bool { return p.Number == number })
		if i < 0 {
			return ErrNoPhoto
		}
		back := list[i]
		back.Time, back.TakesBack = time.Now(), number
		p, err = w.addPhoto(ctx, back)
		return err
	})
	if err != nil {
		return Photo{}, fmt.Errorf("take back photo %d: %w", number, err)
	}
	return p, nil
}

// addPicture keeps a picture that is not there yet.
func (w *writer) addPicture(ctx context.Context, p Picture) error {
	_, err := w.tx.ExecContext(ctx, "INSERT INTO picture (sha256, width, height, jpeg) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
		p.SHA256, p.Width, p.Height, p.JPEG)
	return err
}

// addPhoto appends a photo, and gives it back with number and digests.
func (w *writer) addPhoto(ctx context.Context, p Photo) (Photo, error) {
	p.Number, p.Previous, p.Time = 0, "", p.Time.UTC().Truncate(time.Millisecond)
	err := w.tx.QueryRowContext(ctx, "SELECT number, digest FROM photo ORDER BY number DESC LIMIT 1").Scan(&p.Number, &p.Previous)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return p, damaged(err)
	}
	p.Number++
	p.Digest = p.Sum()
	return p, insert(ctx, w.tx, "photo", p.fields())
}

// fields are the columns in the order of the schema.
func (p Photo) fields() []field {
	return []field{
		{"number", p.Number}, {"time", p.Time.Format(timeForm)}, {"chip", p.Chip}, {"chip_digest", p.ChipDigest}, {"sha256", p.SHA256},
		{"takes_back", p.TakesBack}, {"previous", p.Previous}, {"digest", p.Digest},
	}
}

// Sum is the SHA-256 digest of the photo, in hexadecimal, made of its columns but the
// digest as Record.Sum makes that of a record.
func (p Photo) Sum() string { return sumOf(p.fields()) }

// Photos are the photos of the chip that a record is about that hold, the oldest first.
// The error is ErrNone where there is no such record, and ErrDamaged where a row is not as
// it was written.
func (s *Store) Photos(ctx context.Context, serial int64) ([]Photo, error) {
	if s.all {
		own, err := s.At(ctx, "")
		if err != nil {
			return nil, err
		}
		return own.Photos(ctx, serial)
	}
	var chip int64
	err := s.db.QueryRowContext(ctx, "SELECT chip FROM record WHERE serial = ?", serial).Scan(&chip)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil, fmt.Errorf("record %d: %w", serial, ErrNone)
	case err != nil:
		return nil, damaged(err)
	}
	return holding(ctx, s.db, chip)
}

// Photo is the latest of the photos of a chip that hold, with its picture. The error is
// ErrNoPhoto where there is none.
func (s *Store) Photo(ctx context.Context, serial int64) (Photo, Picture, error) {
	list, err := s.Photos(ctx, serial)
	if err != nil {
		return Photo{}, Picture{}, err
	}
	if len(list) == 0 {
		return Photo{}, Picture{}, fmt.Errorf("record %d: %w", serial, ErrNoPhoto)
	}
	last := list[len(list)-1]
	picture, err := s.Picture(ctx, last.SHA256)
	return last, picture, err
}

// Picture is the picture of a digest, compared with it. The error is ErrNoPhoto where there
// is none, and ErrDamaged where it was changed.
func (s *Store) Picture(ctx context.Context, digest string) (Picture, error) {
	return pictureOf(ctx, s.db, digest)
}

func pictureOf(ctx context.Context, q queryer, digest string) (Picture, error) {
	p := Picture{SHA256: digest}
	err := q.QueryRowContext(ctx, "SELECT width, height, jpeg FROM picture WHERE sha256 = ?", digest).Scan(&p.Width, &p.Height, &p.JPEG)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return p, fmt.Errorf("picture %.12s: %w", digest, ErrNoPhoto)
	case err != nil:
		return p, damaged(err)
	case !p.sound():
		return p, fmt.Errorf("%w: picture %.12s was changed after it was written", ErrDamaged, digest)
	}
	return p, nil
}

// sound reports whether a picture is that of its digest, and of its size.
func (p Picture) sound() bool {
	again, err := newPicture(p.JPEG)
	return err == nil && again.SHA256 == p.SHA256 && again.Width == p.Width && again.Height == p.Height
}

// holding are the photos of a chip that hold.
func holding(ctx context.Context, q queryer, chip int64) ([]Photo, error) {
	all, err := photos(ctx, q, "WHERE chip = ?", chip)
	if err != nil {
		return nil, err
	}
	for _, p := range all {
		if p.Sum() != p.Digest {
			return nil, fmt.Errorf("%w: photo %d was changed after it was written", ErrDamaged, p.Number)
		}
	}
	return held(all), nil
}

// held are the photos that no other takes back.
func held(all []Photo) (list []Photo) {
	back := map[int64]bool{}
	for _, p := range all {
		back[p.TakesBack] = true
	}
	for _, p := range all {
		if p.TakesBack == 0 && !back[p.Number] {
			list = append(list, p)
		}
	}
	return list
}

// photos reads photos in the order in which they were added.
func photos(ctx context.Context, q queryer, where string, args ...any) (list []Photo, err error) {
	rows, err := q.QueryContext(ctx, "SELECT "+fieldNames(Photo{}.fields())+" FROM photo "+where+" ORDER BY number", args...)
	if err != nil {
		return nil, damaged(err)
	}
	defer rows.Close()
	for rows.Next() {
		var p Photo
		var moment string
		if err := rows.Scan(&p.Number, &moment, &p.Chip, &p.ChipDigest, &p.SHA256, &p.TakesBack, &p.Previous, &p.Digest); err != nil {
			return nil, err
		}
		if p.Time, err = time.Parse(timeForm, moment); err != nil {
			return nil, fmt.Errorf("%w: photo %d: %w", ErrDamaged, p.Number, err)
		}
		list = append(list, p)
	}
	return list, damaged(rows.Err())
}
