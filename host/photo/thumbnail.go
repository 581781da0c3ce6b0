package photo

import (
	"bytes"
	"fmt"
	"image/jpeg"
)

// Thumbnail is a picture, which Picture made, with a longer side of so many pixels at most.
func Thumbnail(picture []byte, side int) (small []byte, width, height int, err error) {
	whole, err := jpeg.Decode(bytes.NewReader(picture))
	if err != nil {
		return nil, 0, 0, fmt.Errorf("%w: it is damaged (%w)", ErrImage, err)
	}
	m := scaled(whole, side)
	small, err = encode(m)
	return small, m.Bounds().Dx(), m.Bounds().Dy(), err
}
