package certificate

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/require"

	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/report"
)

// tested is the record of a report of the package report.
func tested(t *testing.T, name string) record.Record {
	t.Helper()
	object, err := os.ReadFile(filepath.Join("..", "report", "testdata", name))
	require.NoError(t, err)
	r, err := record.FromReport(object)
	require.NoError(t, err)
	r.Drawer, r.Lot, r.Operator, r.Marking = "D3", "signal box 4", "workshop", "7410 N"
	r.Adapter = "ATmega2560, revision A" // the report is of a virtual chip
	return r
}

func newStore(t *testing.T) *record.Store {
	t.Helper()
	s, err := record.Open(filepath.Join(t.TempDir(), "records.sqlite"))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

func appended(t *testing.T, s *record.Store, r record.Record) record.Record {
	t.Helper()
	r, err := s.Append(t.Context(), r)
	require.NoError(t, err)
	return r
}

func certificateOf(t *testing.T, name string, change ...func(*record.Record)) Certificate {
	t.Helper()
	s := newStore(t)
	r := tested(t, name)
	for _, c := range change {
		c(&r)
	}
	c, err := Read(t.Context(), s, appended(t, s, r).Serial)
	require.NoError(t, err)
	return c
}

func pageOf(t *testing.T, certificates ...Certificate) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Write(&b, "", certificates))
	return b.String()
}

// wellFormed checks that every element is closed, and gives the words of the page.
func wellFormed(t *testing.T, page string) string {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(regexp.MustCompile(`<meta [^>]*`).ReplaceAllString(page, "$0/")))
	var words strings.Builder
	inStyle := false
	for {
		token, err := d.Token()
		if token == nil {
			require.ErrorIs(t, err, io.EOF)
			return strings.Join(strings.Fields(words.String()), " ")
		}
		switch token := token.(type) {
		case xml.StartElement:
			require.NotContains(t, []string{"script", "iframe", "img", "link", "object", "form"}, token.Name.Local)
			for _, a := range token.Attr {
				require.False(t, strings.HasPrefix(a.Name.Local, "on"), a.Name.Local)
			}
			inStyle = token.Name.Local == "style"
		case xml.EndElement:
			inStyle = false
		case xml.CharData:
			if !inStyle {
				words.Write(token)
				words.WriteByte(' ')
			}
		}
	}
}

func TestAPassIsCertifiedWithAllThatIsKnown(t *testing.T) {
	c := certificateOf(t, "pass.json")
	page := pageOf(t, c)
	words := wellFormed(t, page)
	for _, want := range []string{
		"Certificate of test", "PASS", "not graded", "7410 N", "triple 3-input NAND gate",
		"7938: week 38 of 1979, 17 to 23 September 1979", "D3", "signal box 4", "workshop",
		"512 of 512 applied", "exhaustive: all 512 combinations", "speed: propagation delay",
		"every vector right, and every output level", c.Record.Digest, c.Record.DefinitionSHA256, c.Record.VectorsSHA256,
		"not a release for safety-critical use", "6.2 mA",
	} {
		require.True(t, strings.Contains(strings.ToLower(words), strings.ToLower(want)), want)
	}
	require.NotContains(t, page, "http", "the page needs nothing but itself")
	require.Equal(t, page, pageOf(t, c), "the page of a record is always the same")
}

// The year of a week is not that of its first day: 1997-W01 begins on 1996-12-30 (M. Kuhn,
// A summary of the international standard date and time notation), 1979-W31 on 1979-07-30
// (seven weeks before the 17 September of 1979-W38).
func TestWeeksOverTheEndOfAYearOrMonth(t *testing.T) {
	for code, want := range map[string]string{
		"9701": "week 1 of 1997, 30 December 1996 to 5 January 1997",
		"7931": "week 31 of 1979, 30 July to 5 August 1979",
	} {
		d, err := marking.ParseDateCode(code, 0, time.Now())
		require.NoError(t, err)
		words := wellFormed(t, pageOf(t, certificateOf(t, "pass.json", func(r *record.Record) { r.SetDate(&d) })))
		require.Contains(t, words, code+": "+want+" ")
		require.Contains(t, words, fmt.Sprintf("%s (19%s)", code, code[:2]))
	}
}

// A chip that passed with a but has a page that is headed with it, and is no certificate of good standing.
func TestAPassWithAButIsHeadedWithIt(t *testing.T) {
	words := wellFormed(t, pageOf(t, certificateOf(t, "pass-but.json", func(r *record.Record) { r.Adapter = "bench" })))
	require.Contains(t, words, "No certificate of good standing: pin 8: VOL 6.20 ± 0.05 V")
	require.Contains(t, words, "PASS, BUT")
	require.Contains(t, words, "grade doubtful")
	require.NotContains(t, words, "Certificate of test")
	require.Contains(t, certificateOf(t, "pass-but.json").labelLines()[1], "PASS, BUT")
}

// A virtual chip has no certificate, whatever its verdict.
func TestVirtualChipsAreNotCertified(t *testing.T) {
	c := certificateOf(t, "pass.json", func(r *record.Record) { r.Adapter = "virtual, revision A" })
	words := wellFormed(t, pageOf(t, c))
	require.NotContains(t, words, "Certificate of test")
	require.Contains(t, words, "Demonstration, no certificate")
	require.Equal(t, "virtual: pass, not graded", c.labelLines()[1])
}

func TestWhatIsNoPassNeverLooksLikeOne(t *testing.T) {
	for name, word := range map[string]string{"fail.json": "FAIL", "not-tested.json": "NOT TESTED"} {
		page := pageOf(t, certificateOf(t, name))
		words := wellFormed(t, page)
		require.Contains(t, words, "No certificate: ")
		require.Contains(t, words, word)
		require.NotContains(t, words, "Certificate of test")
		require.NotContains(t, words, "PASS")
		require.NotContains(t, page, `class="pass"`)
	}
}

func TestTextsAreEscaped(t *testing.T) {
	hostile := `</style></title><script>alert(1)</script><img src=x onerror=alert(2)>"'&` + elementStart + "\u202Etset\u2066"
	page := pageOf(t, certificateOf(t, "pass.json", func(r *record.Record) {
		r.Note, r.Marking, r.Operator, r.Lot, r.Drawer, r.Adapter, r.Firmware, r.Reason = hostile, hostile, hostile, hostile, hostile, hostile, hostile, hostile
	}))
	words := wellFormed(t, page)
	require.Contains(t, words, "<script>alert(1)</script>")
	require.NotContains(t, page, "<script")
	require.NotContains(t, page, "<img")
	require.NotContains(t, page, elementStart)
	require.NotContains(t, page, "\u202E")
	require.NotContains(t, page, "\u2066")
	_, err := Sign([]byte(page), keyOf(t, rfc8032[0].secret))
	require.NoError(t, err)
}

func TestOnlyWhatHoldsIsCertified(t *testing.T) {
	s := newStore(t)
	current := func(number, want int64) Certificate {
		t.Helper()
		c, err := Read(t.Context(), s, number)
		require.NoError(t, err)
		require.Equal(t, want, c.Serial())
		require.EqualValues(t, 1, c.Record.Chip)
		return c
	}
	first := appended(t, s, tested(t, "pass.json"))
	again := tested(t, "fail.json")
	again.RetestOf = first.Serial
	second := appended(t, s, again)
	current(first.Serial, 2)

	void := second
	void.Kind, void.Corrects, void.RetestOf, void.Report = record.Void, second.Serial, 0, nil
	third := appended(t, s, void)
	for _, r := range []record.Record{first, second, third} {
		current(r.Serial, 1)
	}

	correction := first
	correction.Kind, correction.Corrects, correction.Marking = record.Correction, first.Serial, "7410 J"
	correction.Time = first.Time.Add(time.Hour)
	appended(t, s, correction)
	c := current(first.Serial, 4)
	require.EqualValues(t, 1, c.Tested.Serial)
	words := wellFormed(t, pageOf(t, c))
	require.Contains(t, words, "7410 J")
	require.Contains(t, words, "corrects what was recorded with the test in record 1")
	require.Contains(t, words, "Tested "+first.Time.Format("2 January 2006, 15:04")+" UTC", "of the test, not of the correction")

	void = c.Record
	void.Kind, void.Corrects, void.Report = record.Void, 4, nil
	appended(t, s, void)
	void.Corrects = 1
	appended(t, s, void)
	for number := range int64(6) {
		_, err := Read(t.Context(), s, number+1)
		require.ErrorIs(t, err, ErrNone)
		require.ErrorContains(t, err, "all records of chip 1 were taken back")
	}
	_, err := Read(t.Context(), s, 99)
	require.ErrorIs(t, err, record.ErrNone)
}

// A buyer learns of the tests that the one on the page replaced, and of a fail
// among what was found.
func TestThePageTellsOfTheTestsBeforeIt(t *testing.T) {
	s := newStore(t)
	failed := appended(t, s, tested(t, "fail.json"))
	again := tested(t, "pass.json")
	again.RetestOf = failed.Serial
	page := func(serial int64) string {
		c, err := Read(t.Context(), s, serial)
		require.NoError(t, err)
		return wellFormed(t, pageOf(t, c))
	}
	require.NotContains(t, page(failed.Serial), "Other tests of this chip")
	second := appended(t, s, again)
	words := page(second.Serial)
	require.Contains(t, words, "Other tests of this chip replaces record 1, fail Operator")
	require.Contains(t, words, "This record replaces record 1, fail, of "+failed.Time.Format("2 January 2006, 15:04")+" UTC: "+failed.Reason)

	third := tested(t, "fail.json")
	third.RetestOf = failed.Serial
	third = appended(t, s, third)
	words = page(third.Serial)
	require.Contains(t, words, "replaces record 1, fail; record 2, pass")
	void := third
	void.Kind, void.Corrects, void.RetestOf, void.Report, void.Reason = record.Void, third.Serial, 0, nil, "a bent leg"
	appended(t, s, void)
	words = page(second.Serial)
	require.Contains(t, words, "replaces record 1, fail; record 3, fail, was voided by record 4: a bent leg")
	require.Contains(t, words, "Record 3, fail, of "+third.Time.Format("2 January 2006, 15:04")+" UTC was voided by record 4: a bent leg.")

	corrected := second
	corrected.Kind, corrected.Corrects, corrected.RetestOf, corrected.Marking = record.Correction, second.Serial, 0, "7410 J"
	require.Contains(t, page(appended(t, s, corrected).Serial), "replaces record 1, fail; record 3, fail, was voided")

	unknown := tested(t, "not-tested.json")
	unknown = appended(t, s, unknown)
	once := tested(t, "pass.json")
	once.RetestOf = unknown.Serial
	words = page(appended(t, s, once).Serial)
	require.Contains(t, words, "replaces record 6, not tested")
	require.NotContains(t, words, "This record replaces", "it never failed")

	rejected := tested(t, "pass.json")
	rejected.Grade, rejected.Lot = "reject", "signal box 5"
	rejected = appended(t, s, rejected)
	sound := tested(t, "pass.json")
	sound.RetestOf, sound.Lot = rejected.Serial, "signal box 5"
	sound = appended(t, s, sound)
	require.Contains(t, page(sound.Serial), "This record replaces record 8, pass, but of grade reject, of ")

	_, title, err := ReadAll(t.Context(), s, []record.Number{sound.Row()}, "signal box 5")
	require.NoError(t, err)
	require.Equal(t, "Lot signal box 5, 1 chip: 1 pass, 0 fail, 0 not tested; 1 formerly bad, no longer counted", title)
	_, title, err = ReadAll(t.Context(), s, []record.Number{sound.Row()}, "")
	require.NoError(t, err)
	require.Equal(t, "1 chip: 1 pass, 0 fail, 0 not tested", title)
}

// 938 is week 38 of a year that ends in 9: the code does not give the decade,
// whoever corrected it. The week of Monday 15 September 1969 by ISO 8601.
func TestACorrectedDateCodeKeepsItsDoubt(t *testing.T) {
	s := newStore(t)
	r := appended(t, s, tested(t, "pass.json"))
	r.Kind, r.Corrects, r.DateCode, r.Year = record.Correction, r.Serial, "938", 1969
	r.From, r.To = time.Date(1969, 9, 15, 0, 0, 0, 0, time.UTC), time.Date(1969, 9, 21, 0, 0, 0, 0, time.UTC)
	chip, err := report.ReadDocument(r.Report)
	require.NoError(t, err)
	date, err := marking.ParseDateCode(r.DateCode, 0, time.Now())
	require.NoError(t, err)
	chip.DateCode = &date
	r.Report, err = json.Marshal(chip)
	require.NoError(t, err)
	c, err := Read(t.Context(), s, appended(t, s, r).Serial)
	require.NoError(t, err)
	require.Equal(t, "938", c.DateCode.Raw)
	words := wellFormed(t, pageOf(t, c))
	require.Contains(t, words, "week 38 of 1969, 15 to 21 September 1969; or the same week of 1979")
	require.Contains(t, words, "938 (1969?)")
}

func TestWhatTheReportDoesNotBearOutIsRefused(t *testing.T) {
	s := newStore(t)
	for why, change := range map[string]func(*record.Record){
		"no test report":      func(r *record.Record) { r.Report = nil },
		"names the chip 7420": func(r *record.Record) { r.Part, r.Type = "7420", "7420" },
		"only 511 of 512": func(r *record.Record) {
			r.Report = bytes.Replace(r.Report, []byte(`"vectors_applied":512`), []byte(`"vectors_applied":511`), 1)
		},
		"the report of the test says fail": func(r *record.Record) {
			r.Report = bytes.Replace(r.Report, []byte(`"verdict":"pass"`), []byte(`"verdict":"fail"`), 1)
		},
		"lists wrong readings": func(r *record.Record) {
			r.Report = bytes.Replace(r.Report, []byte(`"failure_count":0`), []byte(`"failure_count":1`), 1)
		},
		"gives the grade strong, but the test gave none": func(r *record.Record) { r.Grade = "strong" },
	} {
		r := tested(t, "pass.json")
		change(&r)
		c, err := Read(t.Context(), s, appended(t, s, r).Serial)
		if err == nil {
			err = Write(io.Discard, "", []Certificate{c})
		}
		require.ErrorIs(t, err, ErrNone, why)
		require.ErrorContains(t, err, why)
	}
}

// drawn is the picture of an SVG path of rectangles one unit high, on white, so
// many pixels a unit, read here without the code that wrote it.
func drawn(t *testing.T, svg string, scale int) image.Image {
	t.Helper()
	side, err := strconv.Atoi(regexp.MustCompile(`viewBox="0 0 (\d+) \d+"`).FindStringSubmatch(svg)[1])
	require.NoError(t, err)
	picture := image.NewGray(image.Rect(0, 0, side*scale, side*scale))
	for i := range picture.Pix {
		picture.Pix[i] = 0xff
	}
	for _, m := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`).FindAllStringSubmatch(svg, -1) {
		x, _ := strconv.Atoi(m[1])
		y, _ := strconv.Atoi(m[2])
		n, _ := strconv.Atoi(m[3])
		require.Equal(t, m[3], m[4])
		require.True(t, 4 <= x && x+n <= side-4 && 4 <= y && y < side-4, "ISO/IEC 18004: a quiet zone of 4 modules")
		for py := y * scale; py < (y+1)*scale; py++ {
			for px := x * scale; px < (x+n)*scale; px++ {
				picture.SetGray(px, py, color.Gray{})
			}
		}
	}
	return picture
}

// The code on the page is read back by another program's decoder.
func TestTheCodeIsReadBack(t *testing.T) {
	c := certificateOf(t, "pass.json")
	for _, serial := range []int64{1, 17, 12_345_678, 123_456_789_012} {
		c.Record.Serial = serial
		svg := regexp.MustCompile(`(?s)<svg class="qr".*?</svg>`).FindString(pageOf(t, c))
		bitmap, err := gozxing.NewBinaryBitmapFromImage(drawn(t, svg, 6))
		require.NoError(t, err)
		result, err := qrcode.NewQRCodeReader().Decode(bitmap, nil)
		require.NoError(t, err)
		require.Equal(t, "CHIPASSAY RECORD "+strconv.FormatInt(serial, 10)+" "+strings.ToUpper(c.Record.Digest), result.GetText())
		level := result.GetResultMetadata()[gozxing.ResultMetadataType_ERROR_CORRECTION_LEVEL]
		require.Equal(t, "M", level)
	}
}

// A pass in part is certified as one: its heading says so, the pins that were not
// tested are listed, and so is the coverage by model, a line each.
func TestACertificateOfAPartSaysSo(t *testing.T) {
	c := certificateOf(t, "in-part.json")
	words := wellFormed(t, pageOf(t, c))
	require.Contains(t, words, "Certificate of a test in part")
	require.Contains(t, words, "PASS, in part")
	for label, value := range map[string]string{
		"Not tested":         "pins 8 (3A), 9 (3B), 10 (3Y)",
		"Faults detected":    "stuck-at 12 of 15, pins 47 of 48, shorts 20 of 20 (2 of them before power)",
		"Stays undetected":   "3A stuck at 1; 3B stuck at 1; 3Y stuck at 0; and 1 more",
		"Would pass as well": "4093, 40107",
	} {
		require.Contains(t, c.TestFacts(), report.Fact{Label: label, Value: value})
		require.Contains(t, words, value)
	}
	require.Contains(t, c.labelLines()[1], "in part")
	whole := certificateOf(t, "pass.json")
	require.NotContains(t, wellFormed(t, pageOf(t, whole)), "in part")
	require.NotContains(t, whole.labelLines()[1], "in part")
}
