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
