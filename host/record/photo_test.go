package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// shot is a small JPEG, another for each shade.
func shot(t testing.TB, shade uint8) []byte {
	m := image.NewGray(image.Rect(0, 0, 24, 16))
	for i := range m.Pix {
		m.Pix[i] = shade
	}
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, m, nil))
	return b.Bytes()
}

func photographed(t testing.TB, s *Store, chip int64, shade uint8) Photo {
	p, err := s.AddPhoto(t.Context(), chip, shot(t, shade))
	require.NoError(t, err)
	return p
}

func digestOf(file []byte) string {
	sum := sha256.Sum256(file)
	return hex.EncodeToString(sum[:])
}

// A photo is the chip's, by whichever of its records it is added; the latest that holds is
// shown, and one that is taken back gives way to the one before.
func TestPhotosOfAChip(t *testing.T) { inBoth(t, testPhotosOfAChip) }

func testPhotosOfAChip(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	first := appended(t, s, nand())
	other := appended(t, s, nand())
	again := nand()
	again.RetestOf = first.Serial
	retest := appended(t, s, again)

	a := photographed(t, s, first.Serial, 10)
	b := photographed(t, s, retest.Serial, 20)
	require.Equal(t, Photo{Number: 2, Time: b.Time, Chip: 1, ChipDigest: first.Digest, SHA256: digestOf(shot(t, 20)), Previous: a.Digest, Digest: b.Sum()}, b)
	require.WithinRange(t, b.Time, a.Time, time.Now())
	require.Equal(t, b, photographed(t, s, first.Serial, 20), "the same picture again adds nothing")
	for _, serial := range []int64{1, 3} {
		list, err := s.Photos(t.Context(), serial)
		require.NoError(t, err)
		require.Equal(t, []Photo{a, b}, list)
	}
	now, picture, err := s.Photo(t.Context(), 3)
	require.NoError(t, err)
	require.Equal(t, b, now)
	require.Equal(t, Picture{b.SHA256, 24, 16, shot(t, 20)}, picture)

	back, err := s.TakeBackPhoto(t.Context(), b.Number)
	require.NoError(t, err)
	require.Equal(t, int64(2), back.TakesBack)
	require.Equal(t, b.SHA256, back.SHA256)
	for _, number := range []int64{2, 3, 9} { // taken back already, no photo, none there
		_, err = s.TakeBackPhoto(t.Context(), number)
		require.ErrorIs(t, err, ErrNoPhoto)
	}
	now, _, err = s.Photo(t.Context(), 1)
	require.NoError(t, err)
	require.Equal(t, a, now)
	c := photographed(t, s, 1, 20)
	require.Equal(t, int64(4), c.Number, "what was taken back may be added again")
	same := photographed(t, s, other.Serial, 20) // one picture of two chips is kept once
	require.Equal(t, c.SHA256, same.SHA256)
	verified(t, s, 3)

	fourth := appended(t, s, nand())
	_, _, err = s.Photo(t.Context(), fourth.Serial)
	require.ErrorIs(t, err, ErrNoPhoto)
	_, err = s.Photos(t.Context(), 9)
	require.ErrorIs(t, err, ErrNone)
	_, err = s.AddPhoto(t.Context(), 9, shot(t, 1))
	require.ErrorIs(t, err, ErrNone)
	_, err = s.Picture(t.Context(), digestOf(shot(t, 1)))
	require.ErrorIs(t, err, ErrNoPhoto, "a picture whose chip is not there is not kept")
	verified(t, s, 4)
}

// The encoding is written out by hand after the comment of Sum, as for a record.
func TestSumOfAPhoto(t *testing.T) { inBoth(t, testSumOfAPhoto) }

func testSumOfAPhoto(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	first := appended(t, s, nand())
	p := photographed(t, s, 1, 10)
	text := fmt.Sprintf("6:number,1:1,4:time,24:%s,4:chip,1:1,11:chip_digest,64:%s,6:sha256,64:%s,", p.Time.Format(timeForm), first.Digest, digestOf(shot(t, 10)))
	require.Equal(t, digestOf([]byte(text)), p.Digest)
}

// A picture of 1 MiB is kept, a byte more is not, nor what is no JPEG: it is refused and
// nothing is added.
func TestLimitsOfPictures(t *testing.T) { inBoth(t, testLimitsOfPictures) }

func testLimitsOfPictures(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	appended(t, s, nand())
	most := append(shot(t, 1), make([]byte, 1<<20-len(shot(t, 1)))...)
	require.Len(t, most, 1<<20)
	_, err := s.AddPhoto(t.Context(), 1, most)
	require.NoError(t, err)
	_, err = s.AddPhoto(t.Context(), 1, append(most, 0))
	require.ErrorIs(t, err, ErrPicture)
	require.ErrorContains(t, err, "it has 1048577 bytes, over 1048576")
	for _, file := range [][]byte{nil, []byte("<svg/>"), shot(t, 1)[:30], []byte("\x89PNG\r\n\x1a\n")} {
		_, err = s.AddPhoto(t.Context(), 1, file)
		require.ErrorIs(t, err, ErrPicture)
		require.ErrorContains(t, err, "it is no JPEG")
	}
	list, err := s.Photos(t.Context(), 1)
	require.NoError(t, err)
	require.Len(t, list, 1)
}

// Rows of photos and pictures are only appended, whoever writes to the database.
func TestPhotosAreOnlyAppended(t *testing.T) {
	s := newStore(t)
	appended(t, s, nand())
	photographed(t, s, 1, 10)
	for _, statement := range []string{
		"UPDATE photo SET chip = 2", "DELETE FROM photo", "UPDATE picture SET jpeg = x'00'", "DELETE FROM picture",
		"INSERT INTO photo SELECT 5, time, chip, chip_digest, sha256, takes_back, previous, digest FROM photo",
		"REPLACE INTO photo SELECT 1, time, chip, chip_digest, sha256, takes_back, previous, digest FROM photo",
		"REPLACE INTO picture SELECT sha256, 1, 1, x'00' FROM picture",
	} {
		_, err := s.db.Exec(statement)
		require.ErrorContains(t, err, "are only appended", statement)
	}
}

// withPhotos is the path of a closed file of three chips with four photos, the last of which
// takes the third back.
func withPhotos(t *testing.T) (path string, seals Seals) {
	s := newStore(t)
	for range 3 {
		appended(t, s, nand())
	}
	photographed(t, s, 1, 10)
	photographed(t, s, 2, 20)
	p := photographed(t, s, 2, 30)
	_, err := s.TakeBackPhoto(t.Context(), p.Number)
	require.NoError(t, err)
	verified(t, s, 3)
	seals, err = s.Seals(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Close())
	return s.Path(), seals
}

// Whatever is changed of a picture, or of what ties it to its chip, is found; so is what is
// removed, save at the end, which only what was kept elsewhere shows.
func TestChangedPhotosAreFound(t *testing.T) {
	_, sealed := withPhotos(t)
	require.Equal(t, int64(4), sealed.Photos.Count)
	short := digestOf(shot(t, 20))[:12]
	changed := hex.EncodeToString(shot(t, 99))
	for statement, want := range map[string]string{
		"UPDATE picture SET jpeg = x'" + changed + "' WHERE sha256 LIKE '" + short + "%'":                        "picture " + short + " was changed after it was written",
		"UPDATE picture SET jpeg = CAST(jpeg || x'00' AS BLOB) WHERE sha256 LIKE '" + short + "%'":               "picture " + short + " was changed after it was written",
		"UPDATE picture SET width = 25 WHERE sha256 LIKE '" + short + "%'":                                       "picture " + short + " was changed after it was written",
		"UPDATE picture SET height = 15 WHERE sha256 LIKE '" + short + "%'":                                      "picture " + short + " was changed after it was written",
		"DELETE FROM picture WHERE sha256 LIKE '" + short + "%'":                                                 "the picture of photo 2 is missing",
		"UPDATE photo SET chip = 3, chip_digest = (SELECT digest FROM record WHERE serial = 3) WHERE number = 2": "photo 2 was changed after it was written",
		"UPDATE photo SET sha256 = (SELECT sha256 FROM photo WHERE number = 1) WHERE number = 2":                 "photo 2 was changed after it was written",
		"UPDATE photo SET takes_back = 0 WHERE number = 4":                                                       "photo 4 was changed after it was written",
		"UPDATE photo SET time = '2026-01-01T00:00:00.000Z' WHERE number = 1":                                    "photo 1 was changed after it was written",
		"UPDATE photo SET time = 'noon' WHERE number = 1":                                                        "photo 1: parsing time \"noon\" as \"2006-01-02T15:04:05.000Z\": cannot parse \"noon\" as \"2006\"",
		"UPDATE photo SET previous = '' WHERE number = 2":                                                        "photo 2 does not follow the photo before it",
		"DELETE FROM photo WHERE number = 1":                                                                     "photo 2 does not follow the photo before it",
		"DELETE FROM photo WHERE number = 3; UPDATE photo SET number = 3 WHERE number = 4":                       "photo 3 does not follow the photo before it",
		"INSERT INTO picture SELECT '" + digestOf(shot(t, 99)) + "', 24, 16, x'" + changed + "'":                 "there is a picture that no photo names",
		"DELETE FROM photo":                  "there is a picture that no photo names",
		"DELETE FROM photo WHERE number = 4": "",
	} {
		path, seals := withPhotos(t)
		around(t, path, statement)
		_, bad, err := verifiedFile(t, path, Seals{})
		require.NoError(t, err, statement)
		if want == "" {
			require.Nil(t, bad, statement)
			_, bad, err = verifiedFile(t, path, seals)
			require.NoError(t, err)
			want = "photo 4 is missing: the file ends with photo 3"
		}
		require.Equal(t, &Bad{Reason: want}, bad, statement)
	}
	path, seals := withPhotos(t)
	_, bad, err := verifiedFile(t, path, seals)
	require.NoError(t, err)
	require.Nil(t, bad)
	seals.Photos.Digest = digestOf(nil)
	_, bad, err = verifiedFile(t, path, seals)
	require.NoError(t, err)
	require.Equal(t, &Bad{Reason: "the digest of photo 4 differs from the one that you kept: it, or one before it, was rewritten"}, bad)
}

// A changed picture or photo is not shown.
func TestChangedPhotosAreNotShown(t *testing.T) {
	for statement, words := range map[string]string{
		"UPDATE picture SET jpeg = x'" + hex.EncodeToString(shot(t, 99)) + "'": "was changed after it was written",
		"UPDATE photo SET takes_back = 2 WHERE number = 1":                     "photo 1 was changed after it was written",
	} {
		path, _ := withPhotos(t)
		around(t, path, statement)
		s, err := Open(path)
		require.NoError(t, err)
		_, _, err = s.Photo(t.Context(), 1)
		require.ErrorIs(t, err, ErrDamaged)
		require.ErrorContains(t, err, words)
		require.NoError(t, s.Close())
	}
}

// A photo of a chip whose first record is another one now is found, though the records'
// own chain was recomputed.
func TestAPhotoNamesItsChip(t *testing.T) {
	s := newStore(t)
	appended(t, s, nand())
	w, err := s.db.Begin()
	require.NoError(t, err)
	_, err = (&writer{tx: w}).addPhoto(t.Context(), Photo{Chip: 1, ChipDigest: digestOf(nil), SHA256: digestOf(shot(t, 1))})
	require.NoError(t, err)
	picture, err := newPicture(shot(t, 1))
	require.NoError(t, err)
	require.NoError(t, (&writer{tx: w}).addPicture(t.Context(), picture))
	require.NoError(t, w.Commit())
	_, bad, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.Equal(t, &Bad{Reason: "photo 1 is of the chip of record 1, which was changed since"}, bad)
}

// A file of the version before photos comes to this one with all that was in it, and its
// backup restores; a copy has the pictures.
func TestPhotosInAFileOfBefore(t *testing.T) {
	path := filepath.Join(t.TempDir(), "records.sqlite")
	old, err := open(path, migrations[:firstWithPhotos-1])
	require.NoError(t, err)
	for range 60 {
		appended(t, old, nand())
	}
	opened(t, old, box("signal box 4"))
	seals := Seals{}
	seals.Records.Count, seals.Records.Digest = 60, mustGet(t, old, 60).Digest
	backup := filepath.Join(t.TempDir(), "old.sqlite")
	_, err = old.db.Exec("VACUUM INTO ?", backup)
	require.NoError(t, err)
	require.NoError(t, old.Close())
	rows, bad, err := verifiedFile(t, path, seals)
	require.NoError(t, err)
	require.Nil(t, bad)
	require.Equal(t, 60, rows)
	_, bad, err = verifiedFile(t, path, Seals{Photos: Seal{1, digestOf(nil)}})
	require.NoError(t, err)
	require.Equal(t, &Bad{Reason: "photo 1 is missing: the file ends with photo 0"}, bad)

	restored := filepath.Join(t.TempDir(), "restored.sqlite")
	require.NoError(t, Restore(t.Context(), backup, restored))
	for _, p := range []string{path, restored} {
		s, err := Open(p)
		require.NoError(t, err)
		photo := photographed(t, s, 60, 10)
		verified(t, s, 60)
		again := filepath.Join(t.TempDir(), "again.sqlite")
		require.NoError(t, s.Backup(t.Context(), again))
		require.NoError(t, s.Close())
		copied := filepath.Join(t.TempDir(), "copied.sqlite")
		require.NoError(t, Restore(t.Context(), again, copied))
		s, err = Open(copied)
		require.NoError(t, err)
		verified(t, s, 60)
		now, picture, err := s.Photo(t.Context(), 60)
		require.NoError(t, err)
		require.Equal(t, photo, now)
		require.Equal(t, shot(t, 10), picture.JPEG)
		require.NoError(t, s.Close())
	}
	_, err = open(path, migrations[:firstWithPhotos-1]) // the older program
	require.ErrorIs(t, err, ErrNewer)
}

// A killed program leaves a photo whole or none: both rows are of one transaction. A file
// that was cut in its pictures is refused as any is.
func TestAFileCutInItsPictures(t *testing.T) {
	s := newStore(t)
	appended(t, s, nand())
	_, err := s.AddPhoto(t.Context(), 1, append(shot(t, 1), make([]byte, 500_000)...))
	require.NoError(t, err)
	require.NoError(t, s.Close())
	file, err := os.ReadFile(s.Path())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(s.Path(), file[:len(file)-300_000], 0o600))
	_, err = Open(s.Path())
	require.ErrorIs(t, err, ErrDamaged)
}
