package photo

import (
	"image"
	"image/color"
	"image/draw"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// chip is a picture of a chip's top on a light bench, drawn: a dark package with a notch and
// lines of marking in a light grey.
func chip(t testing.TB, wide, high int, lines ...string) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, wide, high))
	draw.Draw(m, m.Bounds(), image.NewUniform(color.RGBA{205, 200, 190, 255}), image.Point{}, draw.Src)
	body := image.Rect(wide/10, high/5, wide*9/10, high*4/5)
	draw.Draw(m, body, image.NewUniform(color.RGBA{44, 44, 48, 255}), image.Point{}, draw.Src)
	draw.Draw(m, image.Rect(body.Min.X, high/2-high/24, body.Min.X+wide/40, high/2+high/24), image.NewUniform(color.RGBA{20, 20, 22, 255}), image.Point{}, draw.Src)
	parsed, err := opentype.Parse(gobold.TTF)
	require.NoError(t, err)
	size := float64(body.Dy()) / float64(len(lines)+1) * 0.75
	face, err := opentype.NewFace(parsed, &opentype.FaceOptions{Size: size, DPI: 72})
	require.NoError(t, err)
	pen := font.Drawer{Dst: m, Src: image.NewUniform(color.RGBA{188, 188, 180, 255}), Face: face}
	for i, line := range lines {
		pen.Dot = fixed.Point26_6{
			X: fixed.I((wide - pen.MeasureString(line).Round()) / 2),
			Y: fixed.I(body.Min.Y + body.Dy()*(i+1)/(len(lines)+1) + int(size/3)),
		}
		pen.DrawString(line)
	}
	return m
}
