package certificate

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/host/record"
)

func layout(t *testing.T, w LayoutWords) Layout {
	t.Helper()
	l, err := w.Layout()
	require.NoError(t, err)
	return l
}

// Sheets that stationers sell; common practice. The positions are worked out by hand.
func TestLabelsLieWhereTheSheetHasThem(t *testing.T) {
	// 21 labels on A4: 3 × 63.5 + 2 × 2.5 = 195.5, and 7 × 38.1 = 266.7 mm.
	l := layout(t, LayoutWords{Size: "63.5x38.1", Paper: "A4", Margin: "4", Gap: "2.5x0"})
	require.Equal(t, []int{3, 7, 21}, []int{l.Columns, l.Rows, l.PerSheet()})
	for n, want := range map[int][3]float64{
		0: {0, 7.25, 15.15}, 1: {0, 73.25, 15.15}, 2: {0, 139.25, 15.15}, 3: {0, 7.25, 53.25},
		20: {0, 139.25, 243.75}, 21: {1, 7.25, 15.15},
	} {
		sheet, x, y := l.Place(n)
		require.Equal(t, int(want[0]), sheet, n)
		require.InDelta(t, want[1], float64(x), 1e-9, n)
		require.InDelta(t, want[2], float64(y), 1e-9, n)
	}
	// 65 labels on A4: 5 × 38.1 + 4 × 2.5 = 200.5, and 13 × 21.2 = 275.6 mm.
	l = layout(t, LayoutWords{Size: "38.1x21.2", Paper: "a4", Margin: "4", Gap: "2.5x0"})
	require.Equal(t, []int{5, 13}, []int{l.Columns, l.Rows})
	require.InDelta(t, 4.75, float64(l.Left), 1e-9)
	require.InDelta(t, 10.7, float64(l.Top), 1e-9)
	// 30 labels of 2 5/8 × 1 in on Letter, 1/8 in apart: 3/16 in at the side, 1/2 in above.
	l = layout(t, LayoutWords{Size: "66.675x25.4", Paper: "Letter", Margin: "4", Gap: "3.175x0"})
	require.Equal(t, []int{3, 10}, []int{l.Columns, l.Rows})
	require.InDelta(t, 25.4*3/16, float64(l.Left), 1e-3)
	require.InDelta(t, 25.4/2, float64(l.Top), 1e-3)
}

func TestLabelsNeverOverlapOrLeaveThePaper(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mm := func(name string, least, most int) string {
			return strconv.FormatFloat(float64(rapid.IntRange(least*10, most*10).Draw(t, name))/10, 'f', -1, 64)
		}
		w := LayoutWords{Size: mm("width", 10, 220) + "x" + mm("height", 10, 300), Paper: rapid.SampledFrom([]string{"A4", "letter"}).Draw(t, "paper"),
			Margin: mm("margin", 0, 20), Gap: mm("across", 0, 10) + "x" + mm("down", 0, 10)}
		l, err := w.Layout()
		if err != nil {
			require.ErrorIs(t, err, ErrLayout)
			return
		}
		for n := range l.PerSheet() {
			sheet, x, y := l.Place(n)
			require.Zero(t, sheet)
			require.True(t, x > -0.01 && y > -0.01 && x+l.Width < l.PaperWidth+0.01 && y+l.Height < l.PaperHeight+0.01)
			for m := range n {
				_, ox, oy := l.Place(m)
				require.True(t, math.Abs(float64(x-ox)) >= float64(l.Width)-1e-9 || math.Abs(float64(y-oy)) >= float64(l.Height)-1e-9)
			}
		}
	})
}

func TestWhatCannotBeLaidOutIsRefused(t *testing.T) {
	for _, w := range []LayoutWords{
		{Size: "", Paper: "A4", Margin: "4", Gap: "0"}, {Size: "63.5", Paper: "A4", Margin: "4", Gap: "0"},
		{Size: "0x10", Paper: "A4", Margin: "4", Gap: "0"}, {Size: "NaNx10", Paper: "A4", Margin: "4", Gap: "0"},
		{Size: "Infx10", Paper: "A4", Margin: "4", Gap: "0"}, {Size: "-5x10", Paper: "A4", Margin: "4", Gap: "0"},
		{Size: "220x40", Paper: "A4", Margin: "0", Gap: "0"}, {Size: "60x300", Paper: "A4", Margin: "0", Gap: "0"},
		{Size: "60x40", Paper: "A5", Margin: "4", Gap: "0"}, {Size: "60x40", Paper: "A4", Margin: "wide", Gap: "0"},
		{Size: "60x40", Paper: "A4", Margin: "120", Gap: "0"}, {Size: "60x40x20", Paper: "A4", Margin: "4", Gap: "0"},
	} {
		_, err := w.Layout()
		require.ErrorIs(t, err, ErrLayout, w)
	}
	c := certificateOf(t, "pass.json")
	for _, size := range []string{"30x10", "35x30", "60x15"} {
		err := WriteLabels(&bytes.Buffer{}, layout(t, LayoutWords{Size: size, Paper: "A4", Margin: "4", Gap: "0"}), 0, []Certificate{c})
		require.ErrorIs(t, err, ErrLayout)
		require.ErrorContains(t, err, "too small to be read: they need at least 36 x 16 mm")
	}
	for _, skip := range []int{-1, 21} {
		err := WriteLabels(&bytes.Buffer{}, layout(t, LayoutWords{Size: "63.5x38.1", Paper: "A4", Margin: "4", Gap: "0"}), skip, nil)
		require.ErrorContains(t, err, "a sheet has 21 labels")
	}
}

func labelsOf(t *testing.T, size string, skip int, list ...Certificate) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, WriteLabels(&b, layout(t, LayoutWords{Size: size, Paper: "A4", Margin: "4", Gap: "2.5x0"}), skip, list))
	return b.String()
}

func TestLabelsSayWhatTheChipIs(t *testing.T) {
	good, bad := certificateOf(t, "pass.json"), certificateOf(t, "fail.json")
	page := labelsOf(t, "63.5x38.1", 20, good, bad)
	words := wellFormed(t, page)
	require.Contains(t, words, "7410 pass, not graded 7938 (1979) no. 1, drawer D3")
	named := good
	named.Record.Drawer = "Drawer 5"
	require.Contains(t, wellFormed(t, labelsOf(t, "63.5x38.1", 0, named)), "no. 1, drawer 5")
	require.Contains(t, words, "FAIL")
	require.Equal(t, 2, strings.Count(page, `<div class="sheet">`), "the 21st label is the last of its sheet")
	require.Contains(t, page, "left: 139.25mm; top: 243.75mm")
	require.Contains(t, page, "left: 7.25mm; top: 15.15mm")
	_, err := Sign([]byte(page), keyOf(t, rfc8032[0].secret))
	require.ErrorIs(t, err, ErrNotOurs)
}

// What a label holds is as wide and as high as the label at most, by the sizes on
// the page; 6 pt are 2.1 mm. The code of the smallest label is read back.
func TestLabelsAreLegible(t *testing.T) {
	long := certificateOf(t, "pass.json", func(r *record.Record) { r.Drawer = strings.Repeat("left of the window ", 10) + "<script>" })
	for _, size := range []string{"36x16", "38.1x21.2", "63.5x38.1", "99.1x139"} {
		var width, height float64
		_, err := fmt.Sscanf(size, "%gx%g", &width, &height)
		require.NoError(t, err)
		page := labelsOf(t, size, 0, long)
		require.NotContains(t, page, "<script")
		text := 0.0
		for _, m := range regexp.MustCompile(`font-size: ([\d.]+)mm`).FindAllStringSubmatch(page, -1) {
			mm, err := strconv.ParseFloat(m[1], 64)
			require.NoError(t, err)
			require.GreaterOrEqual(t, mm, 2.1)
			text += mm * 1.22 // the line height on the page
		}
		require.Less(t, text, height)
		side, err := strconv.ParseFloat(regexp.MustCompile(`<figure style="width: ([\d.]+)mm`).FindStringSubmatch(page)[1], 64)
		require.NoError(t, err)
		require.Less(t, side, height)
		require.Less(t, side+18, width)
		svg := regexp.MustCompile(`(?s)<svg .*?</svg>`).FindString(page)
		bitmap, err := gozxing.NewBinaryBitmapFromImage(drawn(t, svg, 4))
		require.NoError(t, err)
		result, err := qrcode.NewQRCodeReader().Decode(bitmap, nil)
		require.NoError(t, err)
		require.Contains(t, result.GetText(), strings.ToUpper(long.Record.Digest))
	}
}

func TestLabelsAreOfWhatHolds(t *testing.T) {
	s := newStore(t)
	first := appended(t, s, tested(t, "pass.json"))
	again := tested(t, "pass.json")
	again.RetestOf, again.Report = first.Serial, nil
	appended(t, s, again)
	list, _, err := ReadAll(t.Context(), s, []record.Number{first.Row()}, "")
	require.NoError(t, err, "a label needs no report")
	require.EqualValues(t, 2, list[0].Serial())
	require.Contains(t, wellFormed(t, labelsOf(t, "63.5x38.1", 0, list...)), "no. 1, drawer D3")
	lot, err := OfLot(t.Context(), s, "signal box 4")
	require.NoError(t, err)
	require.Equal(t, []record.Number{{Serial: 2}}, lot)
	_, err = OfLot(t.Context(), s, "signal box 5")
	require.ErrorContains(t, err, "has no current record")
	require.ErrorContains(t, Write(io.Discard, "", list), "record 2 has no test report")
}
