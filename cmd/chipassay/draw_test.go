package main

import (
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"os"

	"github.com/rogpeppe/go-internal/testscript"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// draws FILE MARKING draws the top of a chip with a marking, 2400 by 1200 pixels, as a PNG.
func draws(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: draws FILE MARKING")
	}
	m := image.NewRGBA(image.Rect(0, 0, 2400, 1200))
	draw.Draw(m, m.Bounds(), image.NewUniform(color.RGBA{205, 200, 190, 255}), image.Point{}, draw.Src)
	draw.Draw(m, image.Rect(200, 250, 2200, 950), image.NewUniform(color.RGBA{44, 44, 48, 255}), image.Point{}, draw.Src)
	parsed, err := opentype.Parse(gobold.TTF)
	ts.Check(err)
	face, err := opentype.NewFace(parsed, &opentype.FaceOptions{Size: 200, DPI: 72})
	ts.Check(err)
	pen := font.Drawer{Dst: m, Src: image.NewUniform(color.RGBA{188, 188, 180, 255}), Face: face}
	pen.Dot = fixed.P((2400-pen.MeasureString(args[1]).Round())/2, 670)
	pen.DrawString(args[1])
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	ts.Check(png.Encode(f, m))
	ts.Check(f.Close())
}
