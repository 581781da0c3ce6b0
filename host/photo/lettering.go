package photo

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"time"
)

// ErrNoReader is the error where the program that reads letters is not installed.
var ErrNoReader = errors.New("tesseract is not installed")

// Of the reading of letters.
const (
	readingTime   = 40 * time.Second // for all ways round together
	leastSure     = 40               // of a word, of 100; common practice: what is less is mostly ornament or glare
	readingSide   = 1000             // pixels of the longer side: letters of 30 to 100, as the program likes them
	enoughLetters = 6                // of one way round, for the others not to be tried
	enoughSure    = 80               // of them, on average
	maxLetters    = 60               // of a marking
)

// letters are those of markings.
const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/."

// Lettering is what may be printed on the chip in a picture, as Debian's tesseract reads it:
// a suggestion, often wrong in a letter or two. It is empty where nothing is read, and
// ErrNoReader the error where there is no such program. A picture may lie any way round.
func Lettering(ctx context.Context, picture []byte) (string, error) {
	program, err := exec.LookPath("tesseract")
	if err != nil {
		return "", ErrNoReader
	}
	m, err := jpeg.Decode(bytes.NewReader(picture))
	if err != nil {
		return "", fmt.Errorf("%w: %w", ErrImage, err)
	}
	ctx, cancel := context.WithTimeout(ctx, readingTime)
	defer cancel()
	flat := scaled(grey(m), readingSide)
	var best lettering
	for _, way := range []int{1, 3, 6, 8} { // as it is, by half a turn, by a quarter either way
		found, err := read(ctx, program, turn(flat, way))
		if err != nil && ctx.Err() != nil { // what was read in time counts
			break
		}
		if err != nil {
			return "", err
		}
		if found.sure > best.sure {
			best = found
		}
		if best.count >= enoughLetters && best.sure >= enoughSure*best.count {
			break
		}
	}
	return best.text[:min(len(best.text), maxLetters)], nil
}

// A lettering is what was read one way round: its letters, and how sure each is, of 100, in
// sum.
type lettering struct {
	text        string
	count, sure int
}

// read has letters read in an image.
func read(ctx context.Context, program string, m image.Image) (lettering, error) {
	var file, said bytes.Buffer
	if err := png.Encode(&file, m); err != nil {
		return lettering{}, err
	}
	c := exec.CommandContext(ctx, program, "stdin", "stdout", "--psm", "6", "-l", "eng", "-c", "tessedit_char_whitelist="+letters, "tsv")
	c.Env = append(os.Environ(), "OMP_THREAD_LIMIT=1")
	c.Stdin, c.Stderr, c.WaitDelay = &file, &said, time.Second
	out, err := c.Output()
	if err != nil {
		line, _, _ := strings.Cut(strings.TrimSpace(said.String()), "\n")
		return lettering{}, fmt.Errorf("tesseract: %w: %.200q", err, line)
	}
	return words(string(out)), nil
}

// words are those of a table of tesseract's (tsv): twelve columns, of which the last two are
// how sure it is of a word, and the word.
func words(table string) (l lettering) {
	var list []string
	for line := range strings.Lines(table) {
		cells := strings.Split(strings.TrimRight(line, "\r\n"), "\t")
		if len(cells) != 12 {
			continue
		}
		sure, err := strconv.ParseFloat(cells[10], 64)
		word := zeros(strings.Trim(strings.Map(marking, cells[11]), "-/."))
		if err != nil || sure < leastSure || sure > 100 || len(word) < 2 {
			continue
		}
		list = append(list, word)
		l.count += len(word)
		l.sure += len(word) * int(sure)
	}
	l.text = strings.Join(list, " ")
	return l
}

// zeros takes an O for a 0 in a word with two digits: few markings have that letter beside
// digits, and most type faces tell the two apart badly (common practice).
func zeros(word string) string {
	if strings.IndexFunc(word, digit) == strings.LastIndexFunc(word, digit) {
		return word
	}
	return strings.ReplaceAll(word, "O", "0")
}

func digit(c rune) bool { return '0' <= c && c <= '9' }

// marking drops what is no letter of markings.
func marking(c rune) rune {
	if strings.ContainsRune(letters, c) {
		return c
	}
	return -1
}

// grey is an image in grey with dark letters on light ground, from black to white but for a
// fiftieth of the pixels at either end.
func grey(m image.Image) *image.Gray {
	out := image.NewGray(m.Bounds())
	draw.Draw(out, out.Bounds(), m, m.Bounds().Min, draw.Src)
	var count [256]int
	for _, v := range out.Pix {
		count[v]++
	}
	few := len(out.Pix) / 50
	dark, light := 0, 255
	for n := count[0]; n <= few && dark < 254; n += count[dark] {
		dark++
	}
	for n := count[255]; n <= few && light > dark+1; n += count[light] {
		light--
	}
	inverted := middle(out) < (dark+light)/2 // a dark package
	for i, v := range out.Pix {
		n := min(255, max(0, (int(v)-dark)*255/(light-dark)))
		if inverted {
			n = 255 - n
		}
		out.Pix[i] = uint8(n)
	}
	return out
}

// middle is the mean of an image's middle, where the chip is: half as wide and as high.
func middle(m *image.Gray) int {
	b, sum, n := m.Bounds(), 0, 0
	for y := b.Min.Y + b.Dy()/4; y <= b.Max.Y-1-b.Dy()/4; y++ {
		for x := b.Min.X + b.Dx()/4; x <= b.Max.X-1-b.Dx()/4; x++ {
			sum, n = sum+int(m.GrayAt(x, y).Y), n+1
		}
	}
	return sum / max(1, n)
}
