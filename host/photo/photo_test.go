package photo

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func asPNG(t testing.TB, m image.Image) []byte {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, m))
	return b.Bytes()
}

func asJPEG(t testing.TB, m image.Image) []byte {
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, m, nil))
	return b.Bytes()
}

// seen is a picture decoded.
func seen(t testing.TB, file []byte) image.Image {
	picture, err := Picture(file)
	require.NoError(t, err)
	m, err := jpeg.Decode(bytes.NewReader(picture))
	require.NoError(t, err)
	return m
}

// exif is an APP1 segment with an orientation, after Exif 2.32, 4.5.4 and 4.6: byte order,
// 42, offset of the directory, number of entries; tag, type SHORT, count, value; no next
// directory. Another tag stands before it.
func exif(order binary.AppendByteOrder, mark string, orientation uint16) []byte {
	tiff := order.AppendUint16([]byte(mark), 42)
	tiff = order.AppendUint16(order.AppendUint32(tiff, 8), 2)
	for _, entry := range [][2]uint16{{0x0100, 640}, {0x0112, orientation}} {
		tiff = order.AppendUint32(order.AppendUint16(order.AppendUint16(tiff, entry[0]), 3), 1)
		tiff = order.AppendUint16(order.AppendUint16(tiff, entry[1]), 0)
	}
	tiff = order.AppendUint32(tiff, 0)
	segment := append([]byte("Exif\x00\x00"), tiff...)
	return append(binary.BigEndian.AppendUint16([]byte{0xff, 0xe1}, uint16(2+len(segment))), segment...)
}

// with puts segments behind the SOI of a JPEG.
func with(file []byte, segments ...[]byte) []byte {
	out := bytes.Clone(file[:2])
	for _, s := range segments {
		out = append(out, s...)
	}
	return append(out, file[2:]...)
}

// Where the stored image's row 0 and column 0 are seen: the table of Exif 2.32, 4.6.4 A,
// Orientation. The corner in which they meet is red, the other end of row 0 is green.
func TestOrientation(t *testing.T) {
	sides := map[uint16][2]string{
		1: {"top", "left"}, 2: {"top", "right"}, 3: {"bottom", "right"}, 4: {"bottom", "left"},
		5: {"left", "top"}, 6: {"right", "top"}, 7: {"right", "bottom"}, 8: {"left", "bottom"},
	}
	opposite := map[string]string{"top": "bottom", "bottom": "top", "left": "right", "right": "left"}
	const wide, high = 96, 64
	stored := image.NewRGBA(image.Rect(0, 0, wide, high))
	for y := range high {
		for x := range wide {
			c := color.RGBA{40, 40, 40, 255}
			if y < 16 && x < 16 {
				c = color.RGBA{255, 0, 0, 255}
			} else if y < 16 && x >= wide-16 {
				c = color.RGBA{0, 255, 0, 255}
			}
			stored.Set(x, y, c)
		}
	}
	file := asJPEG(t, stored)
	at := func(m image.Image, a, b string) color.RGBA {
		p := image.Pt(4, 4)
		if a == "right" || b == "right" {
			p.X = m.Bounds().Dx() - 5
		}
		if a == "bottom" || b == "bottom" {
			p.Y = m.Bounds().Dy() - 5
		}
		return color.RGBAModel.Convert(m.At(p.X, p.Y)).(color.RGBA)
	}
	for value, side := range sides {
		for mark, order := range map[string]binary.AppendByteOrder{"II": binary.LittleEndian, "MM": binary.BigEndian} {
			m := seen(t, with(file, []byte{0xff, 0xe0, 0, 4, 'J', 'F'}, exif(order, mark, value)))
			row, column := side[0], side[1]
			if row == "left" || row == "right" {
				require.Equal(t, image.Pt(high, wide), m.Bounds().Size(), value)
			}
			red, green := at(m, row, column), at(m, row, opposite[column])
			require.True(t, red.R > 200 && red.G < 80, "%s %d: %v", mark, value, red)
			require.True(t, green.G > 200 && green.R < 80, "%s %d: %v", mark, value, green)
		}
	}
	for _, value := range []uint16{0, 9, 600} {
		require.Equal(t, 1, orientation(with(file, exif(binary.BigEndian, "MM", value))))
	}
	require.Equal(t, 6, orientation(with(file, []byte{0xff}, exif(binary.BigEndian, "MM", 6))), "a fill byte before a marker (T.81 B.1.1.2)")
	require.Equal(t, 1, orientation(asPNG(t, stored)))
}

// Whatever a camera wrote beside the pixels, where and when and by whom, is gone: the picture
// has the segments that an image needs, and nothing follows it (T.81, table B.1).
func TestMetadataIsStripped(t *testing.T) {
	comment := []byte("\xff\xfe\x00\x1aoperator: signal box 4..")
	place := append(exif(binary.LittleEndian, "II", 1), []byte("\xff\xe1\x00\x16http://ns.example/xap\x00")[:4+18]...)
	file := append(with(asJPEG(t, chip(t, 320, 200, "7400")), place, comment), "depot yard"...)
	picture, err := Picture(file)
	require.NoError(t, err)
	for _, secret := range []string{"Exif", "ns.example", "signal box", "depot yard"} {
		require.Contains(t, string(file), secret)
		require.NotContains(t, string(picture), secret)
	}
	need := map[byte]bool{0xdb: true, 0xc0: true, 0xc4: true, 0xda: true} // DQT SOF0 DHT SOS
	at := 2
	for {
		require.Equal(t, byte(0xff), picture[at])
		require.True(t, need[picture[at+1]], "%x", picture[at+1])
		if picture[at+1] == 0xda {
			break
		}
		at += 2 + int(binary.BigEndian.Uint16(picture[at+2:]))
	}
	require.Equal(t, []byte{0xff, 0xd9}, picture[len(picture)-2:])
}

func TestSizes(t *testing.T) {
	for given, want := range map[image.Point]image.Point{
		{1600, 1200}: {1600, 1200}, {1601, 1200}: {1600, 1199}, {3200, 2000}: {1600, 1000}, {1000, 4000}: {400, 1600}, {8000, 2}: {1600, 1}, {1, 1}: {1, 1},
	} {
		m := seen(t, asPNG(t, image.NewGray(image.Rect(0, 0, given.X, given.Y))))
		require.Equal(t, want, m.Bounds().Size(), given)
	}
	clear := seen(t, asPNG(t, image.NewNRGBA(image.Rect(0, 0, 3000, 8)))) // transparent
	r, _, _, _ := clear.At(1, 1).RGBA()
	require.Greater(t, r, uint32(0xf000), "what is transparent is white")
}

// The worst there is: noise does not compress.
func TestNoiseKeepsToTheLimit(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 0))
	m := image.NewRGBA(image.Rect(0, 0, Side, Side))
	for i := range m.Pix {
		m.Pix[i] = uint8(random.Uint32())
	}
	picture, err := encode(m)
	require.NoError(t, err)
	require.LessOrEqual(t, len(picture), MaxBytes)
}

// pngOf is the beginning of a PNG of a size: signature and IHDR with its CRC (ISO/IEC 15948,
// 5.3 and 11.2.2).
func pngOf(wide, high uint32) []byte {
	chunk := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32([]byte("IHDR"), wide), high)
	chunk = append(chunk, 8, 2, 0, 0, 0)
	out := append([]byte("\x89PNG\r\n\x1a\n"), 0, 0, 0, 13)
	return binary.BigEndian.AppendUint32(append(out, chunk...), crc32.ChecksumIEEE(chunk))
}

func TestWhatIsRefused(t *testing.T) {
	whole := asJPEG(t, chip(t, 320, 200, "7400"))
	var animated bytes.Buffer
	require.NoError(t, gif.Encode(&animated, image.NewPaletted(image.Rect(0, 0, 2, 2), color.Palette{color.Black}), nil))
	for name, c := range map[string]struct {
		file  []byte
		words string
	}{
		"nothing":             {nil, "neither JPEG nor PNG"},
		"a GIF":               {animated.Bytes(), "neither JPEG nor PNG"},
		"a page":              {[]byte("<svg onload=alert(1)>"), "neither JPEG nor PNG"},
		"too many bytes":      {append(bytes.Clone(whole), make([]byte, MaxUpload)...), "it has 24.0 MiB, over 24"},
		"too many pixels":     {pngOf(8000, 4001), "it has 8000 x 4001 pixels, over 32 million: take it with fewer"},
		"a bomb":              {pngOf(1<<31-1, 1<<31-1), ""},
		"cut off":             {whole[:len(whole)/2], "it is damaged"},
		"cut off in the head": {whole[:20], "it is damaged"},
		"a head alone":        {pngOf(40, 40), "it is damaged"},
	} {
		_, err := Picture(c.file)
		require.ErrorIs(t, err, ErrImage, name)
		require.ErrorContains(t, err, c.words, name)
		require.NotContains(t, err.Error(), "\n", name)
		require.Less(t, len(err.Error()), 200, name)
	}
	_, err := Picture(pngOf(8000, 4000))
	require.ErrorContains(t, err, "damaged", "as many as there may be")
	require.False(t, strings.Contains(err.Error(), "pixels"))
}

// FuzzPicture looks for a file on which Picture panics, or of which it makes more than it says.
func FuzzPicture(f *testing.F) {
	small := chip(f, 40, 24, "74")
	f.Add(asPNG(f, small))
	f.Add(with(asJPEG(f, small), exif(binary.BigEndian, "MM", 6)))
	f.Add(pngOf(9, 9))
	f.Fuzz(func(t *testing.T, file []byte) {
		if n := orientation(file); n < 1 || n > 8 {
			t.Fatal(n)
		}
		picture, err := Picture(file)
		if err != nil {
			return
		}
		size, err := jpeg.DecodeConfig(bytes.NewReader(picture))
		if err != nil || size.Width > Side || size.Height > Side || len(picture) > MaxBytes {
			t.Fatal(err, size, len(picture))
		}
	})
}
