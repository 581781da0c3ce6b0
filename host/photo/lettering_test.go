package photo

import (
	"image"
	"testing"

	"github.com/stretchr/testify/require"
)

// What is drawn is what is to be read: upright, and on a chip that lies the other way round.
func TestTheMarkingIsRead(t *testing.T) {
	m := chip(t, 1600, 900, "SN74LS00N", "7938")
	for _, way := range []int{1, 3} { // Exif's numbers: upright, half a turn
		picture, err := encode(turn(m, way))
		require.NoError(t, err)
		text, err := Lettering(t.Context(), picture)
		require.NoError(t, err, "apt-get install -y --no-install-recommends tesseract-ocr")
		require.Equal(t, "SN74LS00N 7938", text, way)
	}
}

func TestNothingIsReadWhereNothingIs(t *testing.T) {
	picture, err := encode(image.NewRGBA(image.Rect(0, 0, 64, 48)))
	require.NoError(t, err)
	text, err := Lettering(t.Context(), picture)
	require.NoError(t, err)
	require.Empty(t, text)
}

func TestWithoutTheReader(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	_, err := Lettering(t.Context(), nil)
	require.ErrorIs(t, err, ErrNoReader)
}

// Columns of the table: level page block par line word left top width height conf text
// (tesseract 5, its manual page's tsv, from memory).
func TestWordsOfATable(t *testing.T) {
	const head = "level\tpage_num\tblock_num\tpar_num\tline_num\tword_num\tleft\ttop\twidth\theight\tconf\ttext\n"
	row := func(sure, word string) string { return "5\t1\t1\t1\t1\t1\t0\t0\t9\t9\t" + sure + "\t" + word + "\n" }
	require.Equal(t, lettering{"DM74LS00N", 9, 9 * 91}, words(head+row("91.9", "-DM74LSOON.")+row("39.9", "7938")+row("-1", "")+row("95", "M")))
	require.Equal(t, lettering{"MOSTEK 7938", 10, 6*40 + 4*100}, words(row("40", "MOSTEK")+row("100", "7938")), "an O without digits is one")
	require.Equal(t, lettering{"74LS", 4, 4 * 60}, words(row("60", "74LS\u202e<b>\x1b")), "nothing comes through that no marking has")
	require.Equal(t, lettering{}, words("5\t1\nnonsense\n"+row("1e9", "74LS00")))
}

// Light letters on a dark package come out dark on white, and the other way as they are.
func TestGreyHasDarkLettersOnWhite(t *testing.T) {
	for _, light := range []bool{true, false} {
		m := image.NewGray(image.Rect(0, 0, 20, 20))
		for i := range m.Pix {
			ground, letter := uint8(60), uint8(160)
			if !light {
				ground, letter = letter, ground
			}
			m.Pix[i] = ground
			if i%5 == 0 {
				m.Pix[i] = letter
			}
		}
		got := grey(m)
		require.Equal(t, []uint8{0, 255}, got.Pix[:2], light)
	}
	even := image.NewGray(image.Rect(0, 0, 3, 3))
	require.Len(t, grey(even).Pix, 9, "one tone divides by no zero")
}
