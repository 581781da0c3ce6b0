package flash

import (
	"bytes"
	"context"
	"debug/elf"
	"encoding/hex"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"chipassay/firmware/images"
	"chipassay/host/flash/responder"
	"chipassay/host/hexfile"
)

// quickly is Write on a board whose time passes at once.
func quickly(b *responder.Board, image []byte) error {
	return write(context.Background(), b, image, Watch{}, func(time.Duration) {})
}

func firmware(t *testing.T) []byte {
	t.Helper()
	image, err := hexfile.Read(bytes.NewReader(images.ATmega2560HEX), 0xFF)
	if err != nil {
		t.Fatal(err)
	}
	return image
}

// holds reports what an image in a board's flash is like: all of it, and what is behind
// it in its last page erased.
func holds(t *testing.T, b *responder.Board, image []byte) {
	t.Helper()
	if !bytes.Equal(b.Flash[:len(image)], image) {
		t.Error("the flash does not hold the image")
	}
	for at := len(image); at%responder.Page != 0; at++ {
		if b.Flash[at] != 0xFF {
			t.Fatalf("behind the image, %#x is %#02x", at, b.Flash[at])
		}
	}
	for at := b.BootloaderAt; at < responder.Size; at++ {
		if b.Flash[at] != byte(at*7>>3) {
			t.Fatalf("the bootloader is changed at %#x", at)
		}
	}
}

func TestFirmwareIsWrittenOnceInOrderAndStarted(t *testing.T) {
	b, image := responder.New(), firmware(t)
	var seen []float64
	err := write(context.Background(), b, image, Watch{Progress: func(part float64) { seen = append(seen, part) }}, func(time.Duration) {})
	if err != nil {
		t.Fatal(err)
	}
	holds(t, b, image)
	if b.Resets != 1 || !b.Running {
		t.Errorf("%d resets, running is %v", b.Resets, b.Running)
	}
	if !slices.IsSorted(seen) || seen[0] != 0 || seen[len(seen)-1] != 1 {
		t.Errorf("progress goes %v", seen)
	}
	pages := 0
	for _, c := range b.Heard {
		if c[0] == 0x13 {
			pages++
		}
	}
	if want := (len(image) + 255) / 256; pages != want {
		t.Errorf("%d pages were written, not %d", pages, want)
	}
}

// The messages as AVR068 lays them out: tables 3-1, 5-1, 5-11, 5-15, 5-21 and 5-24; the
// numbers of the commands and the checksums by hand.
func TestMessages(t *testing.T) {
	b := responder.New()
	image := bytes.Repeat([]byte{0xA5}, 300)
	if err := quickly(b, image); err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{
		"1b01 0001 0e 01 14",
		"1b02 0006 0e 1b0430000000 3e",
		"1b03 0006 0e 1b0430000100 3e",
		"1b04 0006 0e 1b0430000200 3a",
		"1b05 000c 0e 10c8641920005303ac530000 36",
		"1b06 0005 0e 0680000000 90",
		"1b07 010a 0e 130100c10a404c200000", // and 256 bytes
		"1b08 0005 0e 0680000080 1e",        // byte 256 is word 128
	} {
		bytesWanted, err := hex.DecodeString(string(bytes.ReplaceAll([]byte(want), []byte(" "), nil)))
		if err != nil {
			t.Fatal(err)
		}
		if said := b.Said[i]; !bytes.HasPrefix(said, bytesWanted) || i != 6 && len(said) != len(bytesWanted) {
			t.Errorf("message %d is %x, want %x", i, said[:min(len(said), 24)], bytesWanted)
		}
	}
	if last := b.Heard[len(b.Heard)-1]; !bytes.Equal(last, []byte{0x11, 1, 1}) {
		t.Errorf("the last command is %x", last)
	}
}

// Some bootloaders of these boards open a monitor, and answer no more, when they hear three
// exclamation marks in a row (github.com/arduino/Arduino, issue 392). The firmware has none.
func TestNoMessageOpensTheMonitor(t *testing.T) {
	b, image := responder.New(), firmware(t)
	b.Monitor = true
	if err := quickly(b, image); err != nil || b.Resets != 1 {
		t.Errorf("the firmware: %v after %d resets", err, b.Resets)
	}
	holds(t, b, image)
	// Which number a page's message has is told ahead by monitored: as it was sent.
	page := 0
	for i, body := range b.Heard {
		if body[0] == 0x13 {
			if said := b.Said[i]; !bytes.Equal(said, encode(byte(7+2*page), programPage(pad(image)[page*256:][:256]))) {
				t.Fatalf("page %d passed as %x", page, said[:10])
			}
			page++
		}
	}
}

// An image that would open it is refused, and nothing is written: the marks within a page, and
// two at its end with a checksum of 21 hex. Two pages may share them: other bytes are between.
func TestExclamationMarks(t *testing.T) {
	within := bytes.Repeat([]byte{0x21, 0x21, 0}, 400)
	copy(within[600:], "!!!")
	ending := make([]byte, 1024)
	copy(ending[510:], "!!") // of page 100 hex, whose message has number 9
	// Table 3-1: the exclusive OR of start, number, length, token, command and data, of which
	// the first byte of data makes 21 hex. A zero is left out.
	ending[256] = 0x21 ^ 0x1B ^ 9 ^ 1 ^ 0x0A ^ 0x0E ^ 0x13 ^ 1 ^ 0xC1 ^ 0x0A ^ 0x40 ^ 0x4C ^ 0x20
	shared := make([]byte, 1024)
	copy(shared[254:], "!!!!")
	for name, c := range map[string]struct {
		image []byte
		want  error
	}{"within a page": {within, ErrImage}, "with the checksum": {ending, ErrImage}, "in two pages": {shared, nil}} {
		b := responder.New()
		b.Monitor = true
		if err := quickly(b, c.image); !errors.Is(err, c.want) {
			t.Errorf("%s: %v", name, err)
		}
		if c.want != nil && (b.Resets != 0 || b.Flash != responder.New().Flash) {
			t.Errorf("%s: the board was touched", name)
		}
	}
	// The responder is indeed deafened by what was refused.
	b := responder.New()
	b.Monitor = true
	b.Press()
	_, _ = b.Write(encode(1, programPage(within[512:768])))
	_, _ = b.Write(encode(1, []byte{cmdSignOn}))
	if n, _ := b.Read(make([]byte, 99)); n != 0 {
		t.Error("the old bootloader still answers")
	}
}

// What is flashed, the HEX file, is what the simulated MCU runs in all its tests, the ELF file: the
// segments that ELF loads below the addresses that avr-gcc gives to RAM (800000 hex), at their
// physical addresses.
func TestTheHexFileIsTheElfFile(t *testing.T) {
	f, err := elf.NewFile(bytes.NewReader(images.ATmega2560ELF))
	if err != nil {
		t.Fatal(err)
	}
	var loaded []byte
	for _, p := range f.Progs {
		if p.Type != elf.PT_LOAD || p.Filesz == 0 || p.Paddr >= 0x80_0000 {
			continue
		}
		for uint64(len(loaded)) < p.Paddr {
			loaded = append(loaded, 0xFF)
		}
		part, err := io.ReadAll(p.Open())
		if err != nil {
			t.Fatal(err)
		}
		loaded = append(loaded[:p.Paddr], part...)
	}
	if image := firmware(t); !bytes.Equal(loaded, image) {
		t.Errorf("the ELF file loads %d bytes, the HEX file has %d, and they differ", len(loaded), len(image))
	}
}

// A fault strikes one of the messages, the nth of all that pass, counted from 1.
func strike(n int, do func([]byte) []byte) func([]byte) []byte {
	passed := 0
	return func(p []byte) []byte {
		if passed++; passed == n {
			return do(slices.Clone(p))
		}
		return p
	}
}

func TestFaultsOfTheLine(t *testing.T) {
	lose := func([]byte) []byte { return nil }
	loseByte := func(p []byte) []byte { return slices.Delete(p, 3, 4) }
	checksum := func(p []byte) []byte { p[len(p)-1] ^= 0x10; return p }
	bit := func(p []byte) []byte { p[len(p)/2] ^= 0x04; return p }
	babble := func(p []byte) []byte { return append([]byte{0x1B, 0x00, 0xFF, 0x1B, 0x1B}, p...) }
	id := func(p []byte) []byte { p[5] ^= 0xB0; p[len(p)-1] ^= 0xB0; return p }
	failed := func(p []byte) []byte { p[6] ^= 0xC0; p[len(p)-1] ^= 0xC0; return p }
	image := firmware(t)[:5000]
	for name, do := range map[string]func([]byte) []byte{
		"lost": lose, "a byte lost": loseByte, "checksum wrong": checksum, "a bit wrong": bit, "noise before": babble, "another answer": id, "refused": failed,
	} {
		// Of 86 messages: the greeting, the signature, the entry, the pages written and read, the end.
		for _, n := range []int{1, 2, 3, 5, 6, 7, 20, 46, 47, 60, 85, 86} {
			for _, way := range []string{"from the host", "to the host"} {
				if (name == "refused" || name == "another answer") && (way == "from the host" || n == 86) {
					continue
				}
				b := responder.New()
				if way == "to the host" {
					b.ToHost = strike(n, do)
				} else {
					b.FromHost = strike(n, do)
				}
				if err := quickly(b, image); err != nil {
					t.Errorf("%s, message %d %s: %v", name, n, way, err)
					continue
				}
				holds(t, b, image)
			}
		}
	}
}

// An answer that comes twice, as some bridges do after they were opened, is taken for no other.
func TestAnswersThatComeTwice(t *testing.T) {
	b, image := responder.New(), firmware(t)
	b.ToHost = func(p []byte) []byte { return slices.Concat(p, p) }
	if err := quickly(b, image); err != nil || b.Resets != 1 {
		t.Errorf("%v after %d resets", err, b.Resets)
	}
	holds(t, b, image)
}

// Each greeting has number 1, the only one that every bootloader takes at any time.
func TestGreetings(t *testing.T) {
	b := responder.New()
	var sent [][]byte
	b.FromHost = func(p []byte) []byte {
		if sent = append(sent, p); len(sent) < 4 {
			return nil
		}
		return p
	}
	if err := quickly(b, make([]byte, 256)); err != nil || b.Resets != 1 {
		t.Errorf("%v after %d resets", err, b.Resets)
	}
	for _, p := range sent[:4] {
		if !bytes.Equal(p, []byte{0x1B, 1, 0, 1, 0x0E, 1, 0x14}) {
			t.Errorf("it greets with % x", p)
		}
	}
}

func TestWhatCannotBeDone(t *testing.T) {
	always := func(do func([]byte) []byte) func([]byte) []byte { return do }
	for name, c := range map[string]struct {
		spoil  func(*responder.Board)
		image  int // bytes
		want   error
		resets int // one more to look for another protocol
	}{
		"no bootloader":         {func(b *responder.Board) { b.Dead = true }, 1000, ErrNoBootloader, attempts + 1},
		"another chip":          {func(b *responder.Board) { b.Signature = [3]byte{0x1E, 0x97, 0x03} }, 1000, ErrSignature, 1},
		"worn flash":            {func(b *responder.Board) { b.Corrupt = func(at int, c byte) byte { return c &^ byte(at>>9) } }, 1000, ErrVerify, attempts},
		"one bit of a page":     {func(b *responder.Board) { b.Corrupt = flip(767) }, 768, ErrVerify, attempts},
		"the line dies":         {func(b *responder.Board) { b.ToHost = dies(9) }, 1000, ErrInterrupted, attempts},
		"all checksums wrong":   {func(b *responder.Board) { b.ToHost = always(func(p []byte) []byte { p[len(p)-1]++; return p }) }, 1000, ErrNoBootloader, attempts + 1},
		"nothing":               {nil, 0, ErrImage, 0},
		"larger than the flash": {nil, MostBytes + 1, ErrImage, 0},
		"as large as may be":    {nil, MostBytes, nil, 1},
	} {
		b := responder.New()
		if c.spoil != nil {
			c.spoil(b)
		}
		err := quickly(b, bytes.Repeat([]byte{0x3C}, c.image))
		if !errors.Is(err, c.want) || b.Resets != c.resets {
			t.Errorf("%s: %v after %d resets; want %v after %d", name, err, b.Resets, c.want, c.resets)
		}
		if c.want == ErrSignature || c.want == ErrImage {
			if b.Flash != responder.New().Flash {
				t.Errorf("%s: the flash was changed", name)
			}
		}
	}
}

// flip writes one byte wrong.
func flip(address int) func(int, byte) byte {
	return func(at int, c byte) byte {
		if at == address {
			return c &^ 0x20
		}
		return c
	}
}

// dies lets some answers through, and no more.
func dies(after int) func([]byte) []byte {
	return func(p []byte) []byte {
		if after--; after < 0 {
			return nil
		}
		return p
	}
}

// A bootloader may answer late, say something first, or answer a damaged message (AVR068, 5.5.1).
func TestBootloadersThatAreSlowOrNoisy(t *testing.T) {
	image := firmware(t)[:5000]
	for name, spoil := range map[string]func(*responder.Board){
		"late, when the next greeting is out": func(b *responder.Board) { b.Delay = 15 },
		"as late as may be":                   func(b *responder.Board) { b.Delay = 48 },
		"words":                               func(b *responder.Board) { b.Noise = []byte("boot 1.2!\r\n") },
		"half a byte at another rate":         func(b *responder.Board) { b.Noise = []byte{0x00, 0xFF, 0xE0} },
		"what begins like an answer":          func(b *responder.Board) { b.Noise = []byte{0x1B, 1, 1, 0x13, 0x0E, 1} },
		"an answer to somebody else":          func(b *responder.Board) { b.Noise = encode(1, []byte{cmdLoadAddress, 0}) },
		"damage is answered": func(b *responder.Board) {
			b.AnswersDamage = true
			b.FromHost = strike(20, func(p []byte) []byte { p[len(p)-1] ^= 1; return p })
		},
	} {
		b := responder.New()
		spoil(b)
		if err := quickly(b, image); err != nil || b.Resets > 2 {
			t.Errorf("%s: %v after %d resets", name, err, b.Resets)
		}
		holds(t, b, image)
	}
}

// A board that the port does not reset: somebody presses its button when asked, and not before.
func TestResetByHand(t *testing.T) {
	for _, late := range []int{0, byHand - 1, byHand} { // greetings until the button is pressed
		b, image := responder.New(), firmware(t)
		b.ByHand = true
		asked, greeted := false, 0
		b.FromHost = func(p []byte) []byte {
			if asked && b.Resets == 0 {
				if greeted++; greeted > late {
					b.Press()
				}
			}
			return p
		}
		err := write(context.Background(), b, image, Watch{PressReset: func() { asked = true }}, func(time.Duration) {})
		if late == byHand {
			if !errors.Is(err, ErrNoBootloader) || greeted < byHand {
				t.Errorf("nobody pressed, and %d greetings: %v", greeted, err)
			}
			continue
		}
		if err != nil || !asked || b.Resets != 1 {
			t.Errorf("pressed after %d greetings: %v, %d resets", late, err, b.Resets)
			continue
		}
		holds(t, b, image)
	}
	b := responder.New()
	if err := write(context.Background(), b, firmware(t), Watch{PressReset: func() { t.Error("asked without need") }}, func(time.Duration) {}); err != nil {
		t.Error(err)
	}
}

// A smaller board is named, and its flash left alone (AVR061, 2525B: Get Synchronization and
// Read Signature Bytes; the signature of the ATmega328P is in its data sheet).
func TestAnotherBoard(t *testing.T) {
	b := responder.New()
	b.Version1, b.Signature = true, [3]byte{0x1E, 0x95, 0x0F}
	err := quickly(b, firmware(t))
	if !errors.Is(err, ErrVersion1) || !strings.HasSuffix(err.Error(), "its signature is 1E 95 0F (ATmega328P)") {
		t.Error(err)
	}
	synced := 0
	b.FromHost = func(p []byte) []byte {
		if p[0] == '0' {
			if synced++; synced < 10 { // it does not listen yet
				return nil
			}
		}
		if p[0] == 'u' {
			return []byte{0}
		}
		return p
	}
	if err := quickly(b, firmware(t)); err != ErrVersion1 {
		t.Errorf("without a signature: %v", err)
	}
	if b.Flash != responder.New().Flash {
		t.Error("the flash was changed")
	}
	b = responder.New()
	b.Signature = [3]byte{0x1E, 0x97, 0x03}
	if err := quickly(b, firmware(t)); !errors.Is(err, ErrSignature) || !strings.Contains(err.Error(), "1E 97 03 (ATmega1280), and not 1E 98 01") {
		t.Error(err)
	}
}

// What went wrong is made good by the next try: nothing is bricked.
func TestASecondTryHeals(t *testing.T) {
	image := firmware(t)
	set := 4000 + slices.IndexFunc(image[4000:], func(c byte) bool { return c&0x20 != 0 })
	for name, spoil := range map[string]func(*responder.Board){
		"died while writing": func(b *responder.Board) { b.ToHost = dies(60) },
		"died while reading": func(b *responder.Board) { b.ToHost = dies(400) },
		"wrote wrong":        func(b *responder.Board) { b.Corrupt = flip(set) },
	} {
		b := responder.New()
		spoil(b)
		if err := quickly(b, image); err == nil {
			t.Fatalf("%s: no error", name)
		}
		b.ToHost, b.Corrupt = nil, nil
		if err := quickly(b, image); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		holds(t, b, image)
	}
}

func TestAnUnpluggedBoardIsNotTriedAgain(t *testing.T) {
	gone := errors.New("adapter was unplugged")
	b := &unplugged{Board: responder.New(), after: 9, err: gone}
	if err := write(context.Background(), b, make([]byte, 1000), Watch{}, func(time.Duration) {}); !errors.Is(err, gone) || b.Resets != 1 {
		t.Errorf("%v after %d resets", err, b.Resets)
	}
}

// unplugged goes away after some reads.
type unplugged struct {
	*responder.Board
	after int
	err   error
}

func (u *unplugged) Read(p []byte) (int, error) {
	if u.after--; u.after < 0 {
		return 0, u.err
	}
	return u.Board.Read(p)
}

func TestStopsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	b := responder.New()
	b.ToHost = strike(12, func(p []byte) []byte { cancel(); return p })
	if err := write(ctx, b, make([]byte, 1000), Watch{}, func(time.Duration) {}); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// Whatever comes before a sound message, it is found if no start byte is in that; what is
// behind it is kept.
func TestDecodeFindsWhatWasEncoded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before := rapid.SliceOfN(rapid.ByteRange(0x1C, 0xFF), 0, 20).Draw(t, "before")
		body := rapid.SliceOfN(rapid.Byte(), 1, longestBody).Draw(t, "body")
		after := rapid.SliceOfN(rapid.Byte(), 0, 20).Draw(t, "after")
		seq := rapid.Byte().Draw(t, "seq")
		got, rest := decode(slices.Concat(before, encode(seq, body), after), seq)
		if !bytes.Equal(got, body) || !bytes.Equal(rest, after) {
			t.Fatalf("%x and %x, want %x and %x", got, rest, body, after)
		}
		cut := rapid.IntRange(0, len(body)+header).Draw(t, "cut")
		if got, _ := decode(encode(seq, body)[:cut], seq); got != nil {
			t.Fatalf("half a message is %x", got)
		}
	})
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte{0x1B, 1, 0, 1, 0x0E, 1, 0x14}, byte(1))
	f.Fuzz(func(t *testing.T, line []byte, seq byte) {
		body, rest := decode(line, seq)
		if len(rest) > len(line) || len(body) > longestBody {
			t.Errorf("%d bytes and %d behind, of %d", len(body), len(rest), len(line))
		}
		if body != nil && !bytes.Contains(line, encode(seq, body)) {
			t.Errorf("%x is not in %x", body, line)
		}
	})
}
