// Package photo makes of an image that a person gives the picture of a chip's top that is
// kept: a JPEG (ITU-T T.81) of at most Side pixels and MaxBytes bytes, turned as EXIF says,
// without any metadata.
package photo

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"

	scale "golang.org/x/image/draw"
)

// Limits.
const (
	MaxUpload = 24 << 20 // bytes of an image that is given: JPEG, or PNG of a telephone's 12 megapixels
	MaxPixels = 32e6     // of it: what decoding takes is up to 12 bytes a pixel
	Side      = 1600     // pixels of the longer side of a picture
	MaxBytes  = 1 << 20  // of a picture
)

// ErrImage is the error of what is no picture that can be taken. What wraps it is one line
// for a person.
var ErrImage = errors.New("this image cannot be taken")

// qualities are those of the JPEG, the best first; the first that keeps to MaxBytes counts.
// The last does so for noise too.
var qualities = []int{85, 70, 50, 30, 10}

// Picture makes the picture of an image, JPEG or PNG. Nothing of the file but its pixels
// comes into the picture.
func Picture(file []byte) ([]byte, error) {
	if len(file) > MaxUpload {
		return nil, fmt.Errorf("%w: it has %.1f MiB, over %d", ErrImage, float64(len(file))/(1<<20), MaxUpload>>20)
	}
	f, err := formOf(file)
	if err != nil {
		return nil, err
	}
	size, err := f.size(bytes.NewReader(file))
	if err != nil {
		return nil, fmt.Errorf("%w: it is damaged (%w)", ErrImage, err)
	}
	if size.Width < 1 || size.Height < 1 || float64(size.Width)*float64(size.Height) > MaxPixels {
		return nil, fmt.Errorf("%w: it has %d x %d pixels, over %g million: take it with fewer", ErrImage, size.Width, size.Height, MaxPixels/1e6)
	}
	whole, err := f.decode(bytes.NewReader(file))
	if err != nil {
		return nil, fmt.Errorf("%w: it is damaged (%w)", ErrImage, err)
	}
	return encode(turn(scaled(whole, Side), orientation(file)))
}

// A form is a file format of images.
type form struct {
	magic  string
	size   func(*bytes.Reader) (image.Config, error)
	decode func(*bytes.Reader) (image.Image, error)
}

var forms = []form{
	{"\xff\xd8\xff", // SOI and the next marker, T.81 B.1.1.3
		func(r *bytes.Reader) (image.Config, error) { return jpeg.DecodeConfig(r) },
		func(r *bytes.Reader) (image.Image, error) { return jpeg.Decode(r) }},
	{"\x89PNG\r\n\x1a\n", // PNG signature, ISO/IEC 15948 5.2
		func(r *bytes.Reader) (image.Config, error) { return png.DecodeConfig(r) },
		func(r *bytes.Reader) (image.Image, error) { return png.Decode(r) }},
}

func formOf(file []byte) (form, error) {
	for _, f := range forms {
		if bytes.HasPrefix(file, []byte(f.magic)) {
			return f, nil
		}
	}
	return form{}, fmt.Errorf("%w: it is neither JPEG nor PNG", ErrImage)
}

// scaled is an image with a longer side of so many pixels at most, on white.
func scaled(whole image.Image, side int) *image.RGBA {
	b := whole.Bounds()
	w, h := b.Dx(), b.Dy()
	if longer := max(w, h); longer > side {
		w, h = max(1, (w*side+longer/2)/longer), max(1, (h*side+longer/2)/longer)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Bounds(), image.White, image.Point{}, draw.Src)
	if w == b.Dx() && h == b.Dy() {
		draw.Draw(out, out.Bounds(), whole, b.Min, draw.Over)
	} else {
		scale.CatmullRom.Scale(out, out.Bounds(), whole, b, draw.Over, nil)
	}
	return out
}

// encode writes an image as JPEG.
func encode(m image.Image) ([]byte, error) {
	var b bytes.Buffer
	for _, q := range qualities {
		b.Reset()
		if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: q}); err != nil {
			return nil, err
		}
		if b.Len() <= MaxBytes {
			break
		}
	}
	return b.Bytes(), nil
}

// turn turns an image upright by its orientation, 1 to 8 (Exif 2.32, tag 0x0112): where
// row 0 and column 0 of what was stored belong.
func turn(m *image.RGBA, orientation int) *image.RGBA {
	if orientation <= 1 {
		return m
	}
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	wide, high := w, h
	if orientation >= 5 { // rows are columns
		wide, high = h, w
	}
	out := image.NewRGBA(image.Rect(0, 0, wide, high))
	for y := range high {
		for x := range wide {
			sx, sy := x, y
			if orientation >= 5 {
				sx, sy = y, x
			}
			switch orientation {
			case 2, 3, 7, 8:
				sx = w - 1 - sx
			}
			switch orientation {
			case 3, 4, 6, 7:
				sy = h - 1 - sy
			}
			out.SetRGBA(x, y, m.RGBAAt(sx, sy))
		}
	}
	return out
}
