package hexfile_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/host/hexfile"
)

// The example that the encyclopedias and manuals of EPROM programmers print
// (four data records at 0100h to 0130h and the end; from memory), and the end
// record as Intel's specification has it.
const published = `:10010000214601360121470136007EFE09D2190140
:100110002146017E17C20001FF5F16002148011928
:10012000194E79234623965778239EDA3F01B2CAA7
:100130003F0156702B5E712B722B732146013421C7
:00000001FF
`

func TestPublishedExample(t *testing.T) {
	contents, err := hexfile.Read(strings.NewReader(published), 0xFF)
	require.NoError(t, err)
	require.Len(t, contents, 0x140)
	require.Equal(t, bytes.Repeat([]byte{0xFF}, 0x100), contents[:0x100])
	require.Equal(t, []byte{0x21, 0x46, 0x01, 0x36}, contents[0x100:0x104])
	require.Equal(t, byte(0x21), contents[0x13F])
	var b bytes.Buffer
	require.NoError(t, hexfile.Write(&b, contents))
	require.True(t, strings.HasSuffix(b.String(), published), b.String())
}

// Extended addresses: Intel's specification gives :020000021200EA (segment 1200h) and
// :02000004FFFFFC (linear FFFFh) as examples.
func TestExtendedAddresses(t *testing.T) {
	contents, err := hexfile.Read(strings.NewReader(":020000021200EA\n:0100000055AA\n:00000001FF\n"), 0)
	require.NoError(t, err)
	require.Len(t, contents, 0x12001)
	require.Equal(t, byte(0x55), contents[0x12000])
	_, err = hexfile.Read(strings.NewReader(":02000004FFFFFC\n:0100000055AA\n:00000001FF\n"), 0)
	require.ErrorIs(t, err, hexfile.ErrFormat)
	require.ErrorContains(t, err, "line 2")
}

// The addresses of a record of four bytes at FFFEh, by the formulas of Intel's
// specification (revision A, 1988): linear, "(LBA + DRLO + DRI) MOD 4G", with an LBA of 0
// until a record of type 04 comes; segmented, "SBA + ([DRLO + DRI] MOD 64K)".
func TestOffsetsAtTheEndOf64KiB(t *testing.T) {
	const four = ":04FFFE0001020304F5\n" // 1, 2, 3, 4
	const end = ":00000001FF\n"
	for name, c := range map[string]struct {
		text string
		want map[int]byte
		size int
	}{
		"no base":                {four, map[int]byte{0xFFFE: 1, 0xFFFF: 2, 0x10000: 3, 0x10001: 4, 0: 0xFF, 1: 0xFF}, 0x10002},
		"linear 0000h":           {":020000040000FA\n" + four, map[int]byte{0xFFFE: 1, 0xFFFF: 2, 0x10000: 3, 0x10001: 4, 0: 0xFF}, 0x10002},
		"linear 0001h":           {":020000040001F9\n" + four, map[int]byte{0x1FFFE: 1, 0x1FFFF: 2, 0x20000: 3, 0x20001: 4, 0x10000: 0xFF}, 0x20002},
		"segment 0000h":          {":020000020000FC\n" + four, map[int]byte{0xFFFE: 1, 0xFFFF: 2, 0: 3, 1: 4}, 0x10000},
		"segment 1000h":          {":020000021000EC\n" + four, map[int]byte{0x1FFFE: 1, 0x1FFFF: 2, 0x10000: 3, 0x10001: 4, 0: 0xFF}, 0x20000},
		"linear after a segment": {":020000021000EC\n:020000040000FA\n" + four, map[int]byte{0xFFFE: 1, 0x10000: 3, 0x10001: 4, 0: 0xFF}, 0x10002},
		"a segment after linear": {":020000040001F9\n:020000020000FC\n" + four, map[int]byte{0xFFFE: 1, 0: 3, 1: 4}, 0x10000},
	} {
		contents, err := hexfile.Read(strings.NewReader(c.text+end), 0xFF)
		require.NoError(t, err, name)
		require.Len(t, contents, c.size, name)
		for at, b := range c.want {
			require.Equal(t, b, contents[at], "%s: %#x", name, at)
		}
	}
}

// Linear addresses wrap round at 4 GiB: the last two of these bytes are for 0 and 1. The first
// two are beyond what is read, so the file is refused by its line, not read in part.
func TestTheEndOf4GiB(t *testing.T) {
	_, err := hexfile.Read(strings.NewReader(":02000004FFFFFC\n:04FFFE0001020304F5\n:00000001FF\n"), 0)
	require.ErrorContains(t, err, "line 2: address 0xfffffffe is beyond 16777216 bytes")
}

// 16 MiB can be read, and not a byte more: linear 00FFh and 0100h.
func TestMostBytes(t *testing.T) {
	contents, err := hexfile.Read(strings.NewReader(":0200000400FFFB\n:01FFFF005AA7\n:00000001FF\n"), 0)
	require.NoError(t, err)
	require.Len(t, contents, 16<<20)
	require.Equal(t, byte(0x5A), contents[16<<20-1])
	_, err = hexfile.Read(strings.NewReader(":020000040100F9\n:010000005AA5\n:00000001FF\n"), 0)
	require.ErrorContains(t, err, "line 2: address 0x1000000 is beyond")
}

// The end record alone is a sound file that holds nothing.
func TestAFileWithoutData(t *testing.T) {
	for _, text := range []string{":00000001FF\n", ":0000000000\n:00000001FF\n"} {
		contents, err := hexfile.Read(strings.NewReader(text), 0xFF)
		require.NoError(t, err)
		require.Empty(t, contents)
	}
}

func TestErrorsNameTheLine(t *testing.T) {
	for text, says := range map[string]string{
		":10010000214601360121470136007EFE09D2190141\n": "line 1: its checksum",
		"\n10010000":                 "line 2: it does not begin",
		":0201000021DC":              "line 1: its length",
		":0G":                        "line 1",
		":0100000055AA\n":            "no end-of-file record",
		":00000009F7\n:00000001FF\n": "line 1: a record of type 9",
	} {
		_, err := hexfile.Read(strings.NewReader(text), 0)
		require.ErrorIs(t, err, hexfile.ErrFormat, text)
		require.ErrorContains(t, err, says, text)
	}
}

func TestWrittenIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		contents := rapid.SliceOfN(rapid.Byte(), 1, 300).Draw(t, "contents")
		if rapid.Bool().Draw(t, "long") {
			contents = append(make([]byte, 0xFFF0), contents...)
		}
		var b bytes.Buffer
		require.NoError(t, hexfile.Write(&b, contents))
		read, err := hexfile.Read(&b, 0)
		require.NoError(t, err)
		require.Equal(t, contents, read)
	})
}

func FuzzRead(f *testing.F) {
	f.Add(published)
	f.Add(":020000021200EA\n:0100000055AA\n:00000001FF\n")
	f.Fuzz(func(t *testing.T, text string) {
		contents, err := hexfile.Read(strings.NewReader(text), 0)
		if err == nil && len(contents) > hexfile.MostBytes {
			t.Fatal("too long")
		}
	})
}
