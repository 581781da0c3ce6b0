package stimulus

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares a written file with the one in testdata.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o777))
		require.NoError(t, os.WriteFile(path, got, 0o666))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got), "%s is stale: go test ./vectors/stimulus -update", path)
}

// nand is half a quad two-input NAND gate in a package of its own: six pins,
// two gates sharing nothing. Its steps are written out by hand.
func nand() *Sequence {
	v := &part.Variant{
		Part: &part.Part{Number: "7400", Title: "2-input NAND gates", SHA256: strings.Repeat("ab", 32)},
		Pins: []part.Pin{
			{Number: 1, Name: "1A", Role: part.Input}, {Number: 2, Name: "1B", Role: part.Input},
			{Number: 3, Name: "1Y", Role: part.Output, Stage: part.TotemPole}, {Number: 4, Name: "GND", Role: part.Ground},
			{Number: 5, Name: "2Y", Role: part.Output, Stage: part.TotemPole}, {Number: 6, Name: "2A", Role: part.Input},
			{Number: 7, Name: "2B", Role: part.Input}, {Number: 8, Name: "VCC", Role: part.Supply},
		},
		Families: []*part.Family{part.FamilyByName("74"), part.FamilyByName("74LS")},
	}
	q := &Sequence{Variant: v, Method: "by hand", Inputs: part.PinSet(1, 2, 6, 7), Outputs: part.PinSet(3, 5)}
	for _, high := range []part.Pins{0, part.PinSet(1), part.PinSet(1, 2), part.PinSet(1, 2, 6), part.PinSet(1, 2, 6, 7)} {
		s := Step{Driven: q.Inputs, Drive: high, Compared: q.Outputs}
		s.High = s.High.With(3, !(high.Has(1) && high.Has(2))).With(5, !(high.Has(6) && high.Has(7)))
		q.Steps = append(q.Steps, s)
	}
	return q
}

// bus is a part with a clock, a pin that is driven in some steps and compared
// in others, and long names.
func bus() *Sequence {
	v := &part.Variant{
		Part: &part.Part{Number: "9901", Title: "bus register that no catalogue has", SHA256: strings.Repeat("cd", 32)},
		Pins: []part.Pin{
			{Number: 1, Name: "CLK", Role: part.Input}, {Number: 2, Name: "/OE", Role: part.Input},
			{Number: 3, Name: "D/Q", Role: part.Bidirectional}, {Number: 4, Name: "GND", Role: part.Ground},
			{Number: 5, Name: "NC"}, {Number: 6, Name: "VCC", Role: part.Supply},
		},
		Families: []*part.Family{part.FamilyByName("74LS")},
		Logic: part.Logic{
			Signals:   []part.Signal{{Name: "CLK", Pin: 1}},
			Registers: []part.Register{{Rules: []part.Rule{{Edge: part.Rise, Clock: 0}}}},
		},
	}
	clk, oe, d := part.PinSet(1), part.PinSet(2), part.PinSet(3)
	return &Sequence{Variant: v, Method: "by hand", Inputs: clk | oe | d, Outputs: d, Steps: []Step{
		{Driven: clk | oe | d, Drive: oe | d},
		{Driven: clk | oe | d, Drive: clk | oe | d},
		{Driven: clk | oe, Drive: oe, Compared: d, Z: d},
		{Driven: clk | oe, Compared: d, High: d},
		{Driven: clk | oe},
	}}
}

// written gives what a writer writes.
func written(t require.TestingT, write func(*bytes.Buffer) error) []byte {
	var b bytes.Buffer
	require.NoError(t, write(&b))
	return b.Bytes()
}

func csvOf(q *Sequence) func(*bytes.Buffer) error {
	return func(b *bytes.Buffer) error { return q.WriteCSV(b) }
}

func jsonOf(q *Sequence) func(*bytes.Buffer) error {
	return func(b *bytes.Buffer) error { return q.WriteJSON(b) }
}

func vcdOf(q *Sequence) func(*bytes.Buffer) error {
	return func(b *bytes.Buffer) error { return q.WriteVCD(b) }
}

func tableOf(q *Sequence, limit int) func(*bytes.Buffer) error {
	return func(b *bytes.Buffer) error { return q.WriteTable(b, limit) }
}

func TestFormats(t *testing.T) {
	for name, q := range map[string]*Sequence{"nand": nand(), "bus": bus()} {
		golden(t, name+".csv", written(t, csvOf(q)))
		golden(t, name+".json", written(t, jsonOf(q)))
		golden(t, name+".vcd", written(t, vcdOf(q)))
		golden(t, name+".txt", written(t, tableOf(q, 0)))
	}
	golden(t, "nand-first-2.txt", written(t, tableOf(nand(), 2)))
	golden(t, "wide.txt", written(t, tableOf(wide(), 0)))
}

// wide has 28 pins with names too long to stand side by side.
func wide() *Sequence {
	v := &part.Variant{Part: &part.Part{Number: "9902", Title: "wide part that no catalogue has"}}
	q := &Sequence{Variant: v}
	for n := 1; n <= 28; n++ {
		p := part.Pin{Number: n, Name: fmt.Sprintf("/DATA%d", n), Role: part.Input}
		q.Inputs = q.Inputs.With(n, n%2 == 1)
		q.Outputs = q.Outputs.With(n, n%2 == 0)
		v.Pins = append(v.Pins, p)
	}
	v.Pins[0].Name = "G"
	q.Steps = []Step{
		{Driven: q.Inputs, Drive: q.Inputs, Compared: q.Outputs},
		{Driven: q.Inputs, Compared: q.Outputs, High: q.Outputs},
	}
	return q
}

// A two-input NAND is low only with both inputs high: common practice. Read
// back from the CSV file with encoding/csv.
func TestCSVOfNAND(t *testing.T) {
	rows, err := csv.NewReader(bytes.NewReader(written(t, csvOf(nand())))).ReadAll()
	require.NoError(t, err)
	assert.Equal(t, strings.Split("step,drive_1,drive_2,drive_6,drive_7,expect_3,expect_5", ","), rows[0])
	for i, row := range rows[1:] {
		assert.Equal(t, strconv.Itoa(i+1), row[0])
		for _, gate := range [][3]int{{1, 2, 5}, {3, 4, 6}} {
			want := "1"
			if row[gate[0]] == "1" && row[gate[1]] == "1" {
				want = "0"
			}
			assert.Equal(t, want, row[gate[2]], "step %d", i+1)
		}
	}
}

// The digest is of the bytes that the method's comment states. The value is
// sha256sum's of those bytes, written out by printf.
func TestSHA256(t *testing.T) {
	q := &Sequence{Steps: []Step{
		{Driven: part.PinSet(1, 2), Drive: part.PinSet(1), Compared: part.PinSet(3, 28), High: part.PinSet(3), Z: part.PinSet(28)},
		{Driven: part.PinSet(9), Compared: part.PinSet(16)},
	}}
	const want = "a1ffaf8c1466e9c7e42769edd22aee96699a13497a136c42e2c3cdc06c533a02"
	assert.Equal(t, want, q.SHA256())
	q.Steps[0].Drive = q.Steps[0].Drive.With(20, true) // not driven: no meaning
	q.Steps[0].High = q.Steps[0].High.With(28, true).With(21, true)
	q.Steps[1].Z = part.PinSet(5)
	assert.Equal(t, want, q.SHA256())
	q.Steps[1].Drive = part.PinSet(9)
	assert.NotEqual(t, want, q.SHA256())
}

// sequences draws steps in which any pin may be driven, compared or neither.
func sequences(t *rapid.T) *Sequence {
	q := wide()
	q.Method, q.Steps = "drawn", nil
	mask := rapid.Uint32Range(0, 1<<28-1)
	for range rapid.IntRange(0, 20).Draw(t, "steps") {
		s := Step{Driven: part.Pins(mask.Draw(t, "driven")), Compared: part.Pins(mask.Draw(t, "compared"))}
		s.Compared &^= s.Driven
		s.Drive = part.Pins(mask.Draw(t, "drive")) & s.Driven
		s.Z = part.Pins(mask.Draw(t, "z")) & s.Compared
		s.High = part.Pins(mask.Draw(t, "high")) & s.Compared &^ s.Z
		q.Steps = append(q.Steps, s)
		q.Inputs |= s.Driven
		q.Outputs |= s.Compared
	}
	return q
}

// put enters one cell of a file into a step.
func (s *Step) put(drive bool, n int, cell string) {
	pin := part.PinSet(n)
	switch {
	case drive && cell != "":
		s.Driven |= pin
		if cell == "1" {
			s.Drive |= pin
		}
	case !drive && cell != "":
		s.Compared |= pin
		switch cell {
		case "1":
			s.High |= pin
		case "z":
			s.Z |= pin
		}
	}
}

// Whatever the steps, they are read back from the CSV file and from the JSON
// object by the standard library's readers.
func TestReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := sequences(t)
		rows, err := csv.NewReader(bytes.NewReader(written(t, csvOf(q)))).ReadAll()
		require.NoError(t, err)
		require.Len(t, rows, len(q.Steps)+1)
		for i, row := range rows[1:] {
			var s Step
			for j, cell := range row[1:] {
				group, number, _ := strings.Cut(rows[0][j+1], "_")
				n, err := strconv.Atoi(number)
				require.NoError(t, err)
				s.put(group == "drive", n, cell)
			}
			require.Equal(t, q.Steps[i], s)
		}

		var object struct {
			Steps []struct {
				Step          int
				Drive, Expect map[int]string
			}
		}
		require.NoError(t, json.Unmarshal(written(t, jsonOf(q)), &object))
		require.Len(t, object.Steps, len(q.Steps))
		for i, o := range object.Steps {
			var s Step
			for n, cell := range o.Drive {
				s.put(true, n, cell)
			}
			for n, cell := range o.Expect {
				s.put(false, n, cell)
			}
			require.Equal(t, i+1, o.Step)
			require.Equal(t, q.Steps[i], s)
		}
	})
}

// The table is not wider than its limit, and says what it leaves out.
func TestTable(t *testing.T) {
	text := string(written(t, tableOf(wide(), 1)))
	for _, line := range strings.Split(text, "\n") {
		assert.LessOrEqual(t, len(line), tableWidth)
	}
	assert.Contains(t, text, "Steps 1 to 1 of 2. The other 1 are written by --format csv, json or vcd.")
	assert.Contains(t, string(written(t, tableOf(bus(), 0))), "↑")
	assert.Equal(t, []string{"Z", "H", "L", "X"}, []string{Sheet(logic.Z), Sheet(logic.One), Sheet(logic.Zero), Sheet(logic.X)})
}

// Writers report what the file they write to reports.
func TestFullDisk(t *testing.T) {
	q := nand()
	for len(q.Steps) < 10_000 {
		q.Steps = slices.Concat(q.Steps, q.Steps)
	}
	full, err := os.OpenFile(os.DevNull, os.O_RDONLY, 0)
	require.NoError(t, err)
	defer full.Close()
	assert.Error(t, q.WriteCSV(full))
	assert.Error(t, q.WriteJSON(full))
	assert.Error(t, q.WriteVCD(full))
	assert.Error(t, q.WriteTable(full, 0))
}
