package record

import (
	"bytes"
	"encoding/base64"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// JSON Lines carry pictures to another file and back, once; CSV has their digests.
func TestPhotosAreCarried(t *testing.T) { inBoth(t, testPhotosAreCarried) }

func testPhotosAreCarried(t *testing.T, newStore func(testing.TB) *Store) {
	path, _ := withPhotos(t)
	from, err := Open(path)
	require.NoError(t, err)
	defer from.Close()
	var lines, table bytes.Buffer
	rows, n, err := from.ExportAll(t.Context(), &lines)
	require.NoError(t, err)
	require.Equal(t, []int{3, 4}, []int{rows, n})
	for i, shade := range []uint8{10, 20, 30} {
		require.Equal(t, 1, strings.Count(lines.String(), `"jpeg":"`+base64.StdEncoding.EncodeToString(shot(t, shade))+`"`), i)
	}
	line := strings.Split(lines.String(), "\n")
	require.Contains(t, line[0], `,"photo":"`+digestOf(shot(t, 10))+`"`)
	require.Contains(t, line[1], `,"photo":"`+digestOf(shot(t, 20))+`"`, "that of shade 30 was taken back")
	require.NotContains(t, line[2], "photo")

	to := newStore(t)
	own := nand()
	own.Note = "of the other house"
	mine := appended(t, to, own)
	photographed(t, to, mine.Serial, 40)
	done, err := to.ImportLines(t.Context(), strings.NewReader(lines.String()))
	require.NoError(t, err)
	require.Equal(t, Imported{Added: 3, Photos: 4}, done)
	verified(t, to, 4)
	for chip, shade := range map[int64]uint8{1: 40, 2: 10, 3: 20} {
		_, picture, err := to.Photo(t.Context(), chip)
		require.NoError(t, err)
		require.Equal(t, shot(t, shade), picture.JPEG)
	}
	_, _, err = to.Photo(t.Context(), 4)
	require.ErrorIs(t, err, ErrNoPhoto)
	for _, s := range []*Store{to, from} { // nothing twice
		done, err = s.ImportLines(t.Context(), strings.NewReader(lines.String()))
		require.NoError(t, err)
		require.Equal(t, Imported{Duplicates: 3}, done)
	}
	var back bytes.Buffer
	_, _, err = to.ExportAll(t.Context(), &back)
	require.NoError(t, err)
	done, err = from.ImportLines(t.Context(), &back)
	require.NoError(t, err)
	require.Equal(t, Imported{Added: 1, Duplicates: 3, Photos: 1}, done)
	verified(t, from, 4)

	_, err = from.ExportCSV(t.Context(), &table, Query{All: true})
	require.NoError(t, err)
	cells := strings.Split(table.String(), "\r\n")
	require.True(t, strings.HasSuffix(cells[0], ",report,photo"))
	require.True(t, strings.HasSuffix(cells[1], ","+digestOf(shot(t, 10))))
	require.True(t, strings.HasSuffix(cells[3], `",`))
	other := newStore(t)
	done, err = other.ImportCSV(t.Context(), &table)
	require.NoError(t, err)
	require.Equal(t, Imported{Added: 4}, done)
	_, _, err = other.Photo(t.Context(), 1)
	require.ErrorIs(t, err, ErrNoPhoto)
}

// Nothing comes in of a file whose photos were changed or are not whole.
func TestCarriedPhotosThatAreRefused(t *testing.T) { inBoth(t, testCarriedPhotosThatAreRefused) }

func testCarriedPhotosThatAreRefused(t *testing.T, newStore func(testing.TB) *Store) {
	path, _ := withPhotos(t)
	from, err := Open(path)
	require.NoError(t, err)
	defer from.Close()
	var b bytes.Buffer
	_, _, err = from.ExportAll(t.Context(), &b)
	require.NoError(t, err)
	whole := b.String()
	jpeg20 := base64.StdEncoding.EncodeToString(shot(t, 20))
	photoLines := whole[strings.Index(whole, `{"photo"`):]
	for name, c := range map[string]struct{ file, words string }{
		"another picture":   {strings.Replace(whole, jpeg20, base64.StdEncoding.EncodeToString(shot(t, 21)), 1), "photo 2 of the file: its picture was changed after it was written"},
		"no picture":        {strings.Replace(whole, `,"jpeg":"`+jpeg20+`"`, "", 1), "photo 2 of the file: its picture is missing"},
		"another chip":      {strings.Replace(whole, `"number":2,`, `"number":2,"x":0,`, 1) + strings.Replace(photoLines, `"chip":1,`, `"chip":2,`, 1), "photo 1 of the file: it was changed after it was written"},
		"no JPEG":           {strings.Replace(whole, jpeg20, "AAAA", 1), "it is no JPEG"},
		"no base64":         {strings.Replace(whole, jpeg20, "!", 1), "illegal base64"},
		"of no chip here":   {photoLines, "photo 1 of the file: it is of a chip that is not in the file before it"},
		"cut off":           {whole[:len(whole)-20], "record 7 of the file: "},
		"what is not there": {strings.Replace(whole, strings.Split(photoLines, "\n")[2]+"\n", "", 1), "photo 4 of the file: it takes back a photo that is not in the file before it"},
		"a photo and more":  {`{"photo":{},"serial":1}` + "\n", "it was changed after it was written, or is not whole"},
	} {
		s := newStore(t)
		_, err := s.ImportLines(t.Context(), strings.NewReader(c.file))
		require.ErrorIs(t, err, ErrImport, name)
		require.ErrorContains(t, err, c.words, name)
		verified(t, s, 0)
		var pictures int
		require.NoError(t, s.db.QueryRow("SELECT count(*) FROM picture").Scan(&pictures))
		require.Zero(t, pictures, name)
	}
}
