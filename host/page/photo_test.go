package page

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"chipassay/host/page/sight"
	"chipassay/host/photo"
	"chipassay/host/record"
)

// top is a picture of a chip's top with a marking, drawn, as a PNG.
func top(t *testing.T, marking string) []byte {
	m := image.NewRGBA(image.Rect(0, 0, 1800, 900))
	draw.Draw(m, m.Bounds(), image.NewUniform(color.RGBA{205, 200, 190, 255}), image.Point{}, draw.Src)
	draw.Draw(m, image.Rect(150, 180, 1650, 720), image.NewUniform(color.RGBA{44, 44, 48, 255}), image.Point{}, draw.Src)
	parsed, err := opentype.Parse(gobold.TTF)
	require.NoError(t, err)
	face, err := opentype.NewFace(parsed, &opentype.FaceOptions{Size: 150, DPI: 72})
	require.NoError(t, err)
	pen := font.Drawer{Dst: m, Src: image.NewUniform(color.RGBA{188, 188, 180, 255}), Face: face}
	pen.Dot = fixed.P((1800-pen.MeasureString(marking).Round())/2, 500)
	pen.DrawString(marking)
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, m))
	return b.Bytes()
}

// recorded is a server with chips in its records.
func recorded(t *testing.T, chips int) served {
	s := serve(t, twoChips)
	for range chips {
		_, err := s.Bench.Records().Append(t.Context(), record.Record{Part: "7400", Type: "7400", Verdict: "pass"})
		require.NoError(t, err)
	}
	return s
}

// answer is what a handler without a Guard answers to a request.
func answer(t *testing.T, s served, method, address, kind string, body io.Reader) *http.Response {
	r := httptest.NewRequest(method, address, body)
	r.Header.Set("Content-Type", kind)
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, r)
	return w.Result()
}

func body(t *testing.T, r *http.Response) string {
	text, err := io.ReadAll(r.Body)
	require.NoError(t, err)
	return string(text)
}

// A photo is kept, scaled and as JPEG, given by its digest, and taken back.
func TestAPhotoIsKeptAndGiven(t *testing.T) {
	s := recorded(t, 2)
	kept := answer(t, s, "POST", "/photo/2", "image/png", bytes.NewReader(top(t, "SN74LS138N")))
	require.Equal(t, http.StatusCreated, kept.StatusCode)
	digest, number, _ := strings.Cut(body(t, kept), " ")
	require.Equal(t, "1", number)

	given := answer(t, s, "GET", "/photo/"+digest, "", nil)
	require.Equal(t, http.StatusOK, given.StatusCode)
	require.Equal(t, "image/jpeg", given.Header.Get("Content-Type"))
	require.Equal(t, "nosniff", given.Header.Get("X-Content-Type-Options"))
	require.Equal(t, "private, max-age=31536000, immutable", given.Header.Get("Cache-Control"))
	size, err := jpeg.DecodeConfig(given.Body)
	require.NoError(t, err)
	require.Equal(t, []int{1600, 800}, []int{size.Width, size.Height})

	read := answer(t, s, "GET", "/photo/"+digest+"/lettering", "", nil)
	require.Equal(t, http.StatusOK, read.StatusCode, "apt-get install -y --no-install-recommends tesseract-ocr")
	require.Equal(t, "text/plain; charset=utf-8", read.Header.Get("Content-Type"))
	require.Equal(t, "SN74LS138N", body(t, read))
	chip, err := s.Bench.Records().Get(t.Context(), 2)
	require.NoError(t, err)
	require.Empty(t, chip.Marking, "a suggestion is no record")

	for _, address := range []string{"/photo/1/back/1", "/photo/2/back/2", "/photo/9/back/1", "/photo/2/back/x"} {
		require.Equal(t, http.StatusNotFound, answer(t, s, "POST", address, "", nil).StatusCode, address)
	}
	require.Equal(t, http.StatusNoContent, answer(t, s, "POST", "/photo/2/back/1", "", nil).StatusCode)
	list, err := s.Bench.Records().Photos(t.Context(), 2)
	require.NoError(t, err)
	require.Empty(t, list)
}

// Without the program that reads there is no suggestion, and no error.
func TestWithoutASuggestion(t *testing.T) {
	s := recorded(t, 1)
	digest, _, _ := strings.Cut(body(t, answer(t, s, "POST", "/photo/1", "image/png", bytes.NewReader(top(t, "7400")))), " ")
	t.Setenv("PATH", t.TempDir())
	require.Equal(t, http.StatusNoContent, answer(t, s, "GET", "/photo/"+digest+"/lettering", "", nil).StatusCode)
}

// zeros is a body without end.
type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// Whatever is no picture of a chip is refused in a line, and nothing is kept.
func TestHostilePhotos(t *testing.T) {
	s := recorded(t, 1)
	small := top(t, "7400")
	for name, c := range map[string]struct {
		address, kind string
		body          io.Reader
		status        int
		words         string
	}{
		"a page":            {"/photo/1", "text/html", strings.NewReader("<script>alert(1)</script>"), 415, "send a JPEG or PNG image"},
		"a form":            {"/photo/1", "multipart/form-data; boundary=x", bytes.NewReader(small), 415, "send a JPEG or PNG image"},
		"no type":           {"/photo/1", "", bytes.NewReader(small), 415, "send a JPEG or PNG image"},
		"an SVG":            {"/photo/1", "image/svg+xml", strings.NewReader("<svg/>"), 415, "send a JPEG or PNG image"},
		"a page as a JPEG":  {"/photo/1", "image/jpeg", strings.NewReader("<script>alert(1)</script>"), 422, "this image cannot be taken: it is neither JPEG nor PNG"},
		"cut off":           {"/photo/1", "image/png", bytes.NewReader(small[:len(small)/2]), 422, "this image cannot be taken: it is damaged"},
		"too large":         {"/photo/1", "image/png", io.MultiReader(bytes.NewReader(small), io.LimitReader(zeros{}, photo.MaxUpload)), 413, "the image has over 24 MiB"},
		"without end":       {"/photo/1", "image/png", zeros{}, 413, "the image has over 24 MiB"},
		"no such chip":      {"/photo/7", "image/png", bytes.NewReader(small), 404, "record 7: no such record"},
		"no number":         {"/photo/one", "image/png", bytes.NewReader(small), 404, ""},
		"a negative number": {"/photo/-1", "image/png", bytes.NewReader(small), 404, "no such record"},
	} {
		r := answer(t, s, "POST", c.address, c.kind, c.body)
		text := body(t, r)
		require.Equal(t, c.status, r.StatusCode, "%s: %s", name, text)
		require.Contains(t, text, c.words, name)
		require.Equal(t, 1, strings.Count(text, "\n"), name)
	}
	for _, address := range []string{"/photo/" + strings.Repeat("0", 64), "/photo/..%2f..%2fetc", "/photo/1", "/photo/" + strings.Repeat("F", 64)} {
		require.Equal(t, http.StatusNotFound, answer(t, s, "GET", address, "", nil).StatusCode, address)
	}
	list, err := s.Bench.Records().Photos(t.Context(), 1)
	require.NoError(t, err)
	require.Empty(t, list)
}

// A page of another site can neither keep a photo nor see one: Guard stands before.
func TestPhotosAreGuarded(t *testing.T) {
	s := recorded(t, 1)
	base := strings.Split(s.address, "?")[0]
	for _, method := range []string{"POST", "GET"} {
		r, err := http.NewRequestWithContext(t.Context(), method, base+"photo/1", bytes.NewReader(top(t, "7400")))
		require.NoError(t, err)
		r.Header.Set("Content-Type", "image/png")
		got, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		got.Body.Close()
		require.Equal(t, http.StatusForbidden, got.StatusCode)
	}
}

// The marking of a chip that is not in the socket any more is a correction of its record, and
// not the marking of the chip that comes next.
func TestTheMarkingOfAChip(t *testing.T) {
	s := recorded(t, 2)
	require.NoError(t, s.lettered(map[string][]string{"chip": {"1"}, "marking": {" SN74LS138N  7938 "}}))
	history, err := s.Bench.Records().History(t.Context(), 1)
	require.NoError(t, err)
	now := record.Current(history)
	require.Equal(t, "SN74LS138N 7938", now.Marking)
	require.Equal(t, record.Correction, now.Kind)
	for _, form := range []map[string][]string{{"chip": {"1"}, "marking": {" "}}, {"chip": {"one"}, "marking": {"7400"}}, {"chip": {"9"}, "marking": {"7400"}}} {
		require.Error(t, s.lettered(form))
	}
}

// P and Enter take a photo of the chip that was tested last, Enter again goes back to work.
func TestPhotoByKey(t *testing.T) {
	s := serve(t, twoChips)
	page := tab(t, s.address)
	enter := chromedp.KeyEvent(kb.Enter)
	until(t, page, shows("2 virtual chips"))
	do(t, page, enter)
	until(t, page, shows("Seat the next chip"))
	do(t, page, enter)
	until(t, page, `document.querySelector(".word")?.innerText.includes("PASS")`)
	do(t, page, chromedp.KeyEvent("p"))
	until(t, page, `document.getElementById("photo").open && document.querySelector("#photo video").videoWidth > 0`)
	until(t, page, `document.activeElement.matches("[data-take]")`)
	do(t, page, enter)
	until(t, page, shows("Kept with chip 1."))
	until(t, page, `document.querySelector(".photos img")?.naturalWidth > 0`)
	picture := readable(t, page, "the photo that was kept")
	until(t, page, `document.activeElement.matches("[data-done]")`)
	do(t, page, enter)
	until(t, page, `!document.getElementById("photo").open`)
	readable(t, page, "a chip with a photo")
	list, err := s.Bench.Records().Photos(t.Context(), 1)
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.NotEmpty(t, picture)
	assert.Contains(t, eval[string](t, page, `document.querySelector(".photos img").src`), list[0].SHA256)
	state, _ := s.Bench.State()
	assert.Equal(t, 1, state.Drawer.Verdicts, "the keys were the dialog's, and started no test")

	do(t, page, chromedp.Evaluate[chromedp.Void](`document.activeElement.blur()`), enter) // and the next chip
	until(t, page, `document.querySelector(".word")?.innerText.includes("FAIL")`)
	assert.Contains(t, eval[string](t, page, `document.querySelector("[data-photo]").innerText`), "chip 2")
}

// Where no camera may be used a file is chosen. What it may read fills the marking, which is
// kept when the person says so.
func TestPhotoByFile(t *testing.T) {
	s := serve(t, twoChips)
	page := tab(t, s.address)
	enter := chromedp.KeyEvent(kb.Enter)
	until(t, page, shows("2 virtual chips"))
	do(t, page, chromedp.Evaluate[chromedp.Void](`navigator.mediaDevices.getUserMedia = () => Promise.reject(new Error("none")); undefined`), enter)
	until(t, page, shows("Seat the next chip"))
	do(t, page, enter)
	until(t, page, `document.querySelector(".word")?.innerText.includes("PASS")`)
	do(t, page, chromedp.Click("[data-photo]"))
	until(t, page, shows("No camera can be used by this page."))
	readable(t, page, "no camera")
	file := filepath.Join(t.TempDir(), "top.png")
	require.NoError(t, os.WriteFile(file, top(t, "SN74LS138N"), 0o600))
	do(t, page, chromedp.SetUploadFiles("#photo input[type=file]", []string{file}))
	until(t, page, shows("It may read: SN74LS138N"))
	readable(t, page, "a suggestion")
	do(t, page, chromedp.Click("[data-suggestion] button"))
	until(t, page, `document.activeElement.name === "marking" && document.activeElement.value === "SN74LS138N"`)
	history, err := s.Bench.Records().History(t.Context(), 1)
	require.NoError(t, err)
	require.Len(t, history, 1, "nothing is recorded until the person says so")
	do(t, page, enter)
	require.Eventually(t, func() bool {
		history, err := s.Bench.Records().History(t.Context(), 1)
		return err == nil && record.Current(history).Marking == "SN74LS138N"
	}, 20*time.Second, 20*time.Millisecond)

	do(t, page, chromedp.Evaluate[chromedp.Void](`document.activeElement.blur()`), chromedp.KeyEvent("p"))
	until(t, page, shows("No camera can be used by this page."))
	text := filepath.Join(t.TempDir(), "note.txt")
	require.NoError(t, os.WriteFile(text, []byte("worn"), 0o600))
	do(t, page, chromedp.SetUploadFiles("#photo input[type=file]", []string{text}))
	until(t, page, shows("This file is not a picture that can be read: choose a JPEG or PNG."))
	do(t, page, chromedp.KeyEvent(kb.Escape))
	until(t, page, `!document.getElementById("photo").open`)
}

// readable wants a page to be readable and accessible on a telephone and on a screen, light
// and dark, and gives a picture of it.
func readable(t *testing.T, page context.Context, what string) (picture []byte) {
	t.Helper()
	for _, scheme := range []sight.Scheme{sight.Light, sight.Dark} {
		for _, wide := range []int64{360, 1280} {
			require.NoError(t, sight.On(page, wide, 900, scheme))
			bad, err := sight.Unreadable(page)
			require.NoError(t, err)
			assert.Empty(t, bad, "%s, %s, %d pixels wide", what, scheme, wide)
			picture, err = chromedp.Run(page, chromedp.CaptureScreenshot())
			require.NoError(t, err)
			if folder := os.Getenv("SHOTS"); folder != "" {
				require.NoError(t, os.WriteFile(filepath.Join(folder, strings.ReplaceAll(what, " ", "-")+"-"+string(scheme)+map[bool]string{true: "-phone"}[wide == 360]+".png"), picture, 0o600))
			}
		}
		bad, err := sight.Inaccessible(page)
		require.NoError(t, err)
		assert.Empty(t, bad, "%s, %s", what, scheme)
	}
	return picture
}
