package certificate

import (
	"bytes"
	"encoding/base64"
	"image"
	"image/jpeg"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/record"
)

// shot is a small JPEG of a shade.
func shot(t *testing.T, shade uint8) []byte {
	m := image.NewGray(image.Rect(0, 0, 24, 16))
	for i := range m.Pix {
		m.Pix[i] = shade
	}
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, m, nil))
	return b.Bytes()
}

// The latest photo of a chip is in its page. A page is signed only with the photo that the
// records have now; what was signed before stays signed.
func TestThePhotoIsInThePage(t *testing.T) {
	s := newStore(t)
	appended(t, s, tested(t, "pass.json"))
	appended(t, s, tested(t, "fail.json"))
	write := func() []byte {
		list, title, err := ReadAll(t.Context(), s, []record.Number{{Serial: 1}, {Serial: 2}}, "")
		require.NoError(t, err)
		var b bytes.Buffer
		require.NoError(t, Write(&b, title, list))
		return b.Bytes()
	}
	key, err := NewKey()
	require.NoError(t, err)
	without := write()
	require.NotContains(t, string(without), "<img")
	require.NotContains(t, string(without), "Photo SHA-256")
	signed, err := Sign(without, key)
	require.NoError(t, err)

	first, err := s.AddPhoto(t.Context(), 2, shot(t, 10))
	require.NoError(t, err)
	with := write()
	source := func(shade uint8) []byte { // html/template writes a plus as a character reference
		return bytes.ReplaceAll([]byte(`<img src="data:image/jpeg;base64,`+base64.StdEncoding.EncodeToString(shot(t, shade))+`" width="24" height="16" alt="`), []byte("+"), []byte("&#43;"))
	}
	require.Equal(t, 1, bytes.Count(with, source(10)))
	require.Contains(t, string(with), first.SHA256)
	require.NoError(t, AsWritten(t.Context(), s, with))
	require.ErrorIs(t, AsWritten(t.Context(), s, without), ErrNotAsWritten)
	_, err = Verify(signed)
	require.NoError(t, err)

	// A picture that is exchanged in the page is not what the records give.
	other := bytes.Replace(with, source(10), source(11), 1)
	require.NotEqual(t, with, other)
	require.ErrorIs(t, AsWritten(t.Context(), s, other), ErrNotAsWritten)

	later, err := s.AddPhoto(t.Context(), 2, shot(t, 20))
	require.NoError(t, err)
	require.Contains(t, string(write()), later.SHA256)
	require.ErrorIs(t, AsWritten(t.Context(), s, with), ErrNotAsWritten)
	_, err = s.TakeBackPhoto(t.Context(), later.Number)
	require.NoError(t, err)
	require.NoError(t, AsWritten(t.Context(), s, with))
	_, err = s.TakeBackPhoto(t.Context(), first.Number)
	require.NoError(t, err)
	require.Equal(t, string(without), string(write()), "as if there had been none")

	// A photo stays the chip's when it is tested again.
	_, err = s.AddPhoto(t.Context(), 1, shot(t, 30))
	require.NoError(t, err)
	again := tested(t, "pass.json")
	again.RetestOf = 1
	again = appended(t, s, again)
	c, err := Read(t.Context(), s, again.Serial)
	require.NoError(t, err)
	require.Equal(t, shot(t, 30), c.Photo.JPEG)
	none, err := Photo(t.Context(), s, 2)
	require.NoError(t, err)
	require.Nil(t, none)
	_, err = Photo(t.Context(), s, 9)
	require.ErrorIs(t, err, record.ErrNone)
}
