package protocol

import (
	"encoding/hex"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A goldenLine is one line of a golden file: a key, and the text that follows it,
// continuation lines included.
type goldenLine struct{ key, text string }

func (l goldenLine) bytes(t *testing.T) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(l.text, " ", ""))
	require.NoError(t, err, l.text)
	return b
}

func readGolden(t testing.TB, name string) (lines []goldenLine) {
	t.Helper()
	text, err := os.ReadFile("golden/" + name)
	require.NoError(t, err)
	for line := range strings.Lines(string(text)) {
		line = strings.TrimRight(line, "\n")
		switch {
		case line == "" || line[0] == '#':
		case line[0] == ' ':
			lines[len(lines)-1].text += " " + strings.TrimSpace(line)
		default:
			key, rest, _ := strings.Cut(line, " ")
			lines = append(lines, goldenLine{key, rest})
		}
	}
	require.NotEmpty(t, lines)
	return lines
}

type goldenFrame struct {
	name    string
	frame   Frame
	crc     []byte
	encoded []byte // with its delimiter
}

func goldenFrames(t *testing.T) (frames []goldenFrame) {
	t.Helper()
	var f *goldenFrame
	for _, line := range readGolden(t, "frames.txt") {
		if line.key == "frame" {
			frames = append(frames, goldenFrame{name: line.text})
			f = &frames[len(frames)-1]
			continue
		}
		b := line.bytes(t)
		switch line.key {
		case "type":
			f.frame.Type = Type(b[0])
		case "seq":
			f.frame.Seq = b[0]
		case "payload":
			f.frame.Payload = b
		case "crc":
			f.crc = b
		case "wire":
			f.encoded = b
		default:
			t.Fatalf("frames.txt: unknown key %q", line.key)
		}
	}
	return frames
}

func TestGoldenFrames(t *testing.T) {
	for _, g := range goldenFrames(t) {
		t.Run(g.name, func(t *testing.T) {
			assert.Equal(t, g.encoded, g.frame.Encode())
			got, err := Decode(g.encoded[:len(g.encoded)-1])
			require.NoError(t, err)
			assert.Equal(t, g.frame, got)
			assert.LessOrEqual(t, len(g.encoded), WireLen(len(g.frame.Payload)))
		})
	}
}

// word32 makes a socket word after the table in SPEC.md, one position at a time.
func word32(positions ...int) (w uint32) {
	columns := map[int]int{28: 16, 27: 17, 26: 18, 25: 19, 24: 20, 23: 21, 22: 22, 21: 23, 20: 24, 19: 25, 18: 26, 17: 27, 16: 28, 15: 29}
	for _, p := range positions {
		if p <= 14 {
			w |= 1 << (p - 1)
		} else {
			w |= 1 << columns[p]
		}
	}
	return w
}

// What the comments of golden/frames.txt say of each payload.
func TestGoldenMessages(t *testing.T) {
	long := &ApplyReply{}
	for i := range uint32(256) {
		long.Samples = append(long.Samples, 0x01010101*(1+i%63))
	}
	constants := Constants{SupplyMV: 5012, ShuntGain: 32801, BiasOhms: 10010, LoadOhms: 1001, DriveOhms: 143}
	for n := range int16(16) {
		constants.Channels = append(constants.Channels, ChannelConstants{uint16(Unity + int(n)), -n})
	}
	messages := map[string]Message{
		"hello": &Hello{},
		"capabilities": &Capabilities{
			Protocol: 2, Firmware: Firmware{1, 2, 3}, BootID: 0x1234, MaxPayload: 1032, MaxSteps: 256, MaxCurrentMA: 300,
			MaxBusyMS: 1000, SilenceMS: 2000, Positions: 0x3fff3fff, Sense: 0x00ff00ff,
			SupplyHigh: word32(1, 4, 5, 8, 22, 28),
			SupplyLow:  word32(1, 4, 7, 8, 9, 10, 11, 12, 14, 21, 24, 25, 28),
			Features:   FeatureBias | FeatureLoad | FeatureMonitor | FeatureButton | FeatureMeasure | FeatureFar,
			Rates:      []uint32{1_000_000, 500_000, 38_400}, Board: "golden",
			Measured: 0xbfffffff, ConversionUS: 32, ErrorMV: 15,
			Bias: 0x3fff3fff, Load: 0x00ff00ff, Far: 0xbf00ff00, FarUS: 60},
		"status": &Status{},
		"status-reply": &StatusReply{
			Powered: true, Bias: Pull{true, word32(1, 28)}, High: 28, Low: word32(7), Driven: word32(1, 2, 3), Current: 1234,
			LimitMA: 100, ResetCause: ResetPowerOn, SafeCause: SafeHello, BootID: 0x1234,
			Frames: 300, Damaged: 2, Oversize: 1, Overruns: 0, LineErrors: 4},
		"safe":        &Safe{},
		"safe-reply":  &Acknowledged{Request: TypeSafe},
		"pulls":       &Pulls{Bias: Pull{true, word32(1, 2, 28)}},
		"pulls-reply": &Acknowledged{Request: TypePulls},
		"power":       &Power{High: 28, LimitMA: 100, SettleMS: 20, Low: word32(7)},
		"power-reply": &PowerReply{Current: 1234},
		"apply": &Apply{SettleUS: 10, Steps: []Drive{
			{word32(1, 2, 28), 0}, {word32(1, 2, 28), word32(1, 28)}}},
		"apply-reply": &ApplyReply{Samples: []uint32{0, word32(1, 27, 28)}},
		"apply-directions": &Apply{Unpowered: true, SettleUS: 1000, Steps: []Drive{
			{word32(1), word32(1)}, {word32(15), 0}}},
		"refusal":          &ErrorReply{Code: NotPowered, Request: TypeApply},
		"overcurrent":      &ErrorReply{Code: Overcurrent, Request: TypePower, Detail: 15025},
		"apply-reply-long": long,
		"measure": &Measure{Unpowered: true, Steps: []MeasureStep{
			{Direction: word32(7, 28), Level: word32(7), Positions: word32(1, 2, 28), SettleUS: 50, Averaging: 3, Bias: Pull{true, word32(1)}},
			{Positions: word32(8) | SupplyBehindShunt, SettleUS: 1000, Averaging: 7, Bias: Pull{true, word32(8)}, Load: Pull{true, word32(9)}}}},
		"measure-reply": &MeasureReply{Positions: []uint32{word32(1, 2, 28), word32(8) | SupplyBehindShunt}, Steps: []Measured{
			{word32(1, 2, 7), NotMeasured, []uint16{4312, 4307, 15}}, {0, NotMeasured, []uint16{454, 4873}}}},
		"calibration":       &Calibration{},
		"calibration-write": &Calibration{Operation: CalibrationWrite, Constants: constants},
		"calibration-reply": &CalibrationReply{State: CalibrationStored, Constants: constants},
		"fault":             &ErrorReply{Code: Fault, Request: TypePower, Detail: word32(28)},
		"sweep": &Sweep{
			Gray: true, Settle: 8, Direction: word32(1, 2, 26, 27), Level: word32(26), Start: 0x12345, Count: 16384, Block: 64,
			Mask: word32(3, 28), Positions: []uint8{1, 2, 27}},
		"sweep-reply": &SweepReply{Signatures: []uint32{0x12345678, 0}},
		"pattern-load": &PatternLoad{
			Settle: 4, Direction: word32(1, 2, 3, 27), Level: word32(3, 27), Mask: word32(28),
			RefreshUS: 2000, RefreshBits: 2, RefreshGroup: 0, RefreshStrobe: word32(3),
			Groups: [][]uint8{{1, 2}, {28}},
			Code: []byte{OpLoop, 0, 0, 0, 3, 0, OpLatch, 0, 0, OpShow, 0, OpSpot, 3, OpCheck, 1,
				OpFlip, 1 << 2, 0, 0, 0, OpNext, 0, OpEmit, OpEnd}},
		"pattern-load-cell": &PatternLoad{
			Direction: word32(1, 2, 3, 4, 9, 28), Level: word32(3, 4, 9),
			Groups: [][]uint8{{1, 2}, {2, 1}, {5, 6}, {27}},
			Code: append(Cell{Idle: 0, Away: 1, Counted: 1, Register: 1, Accesses: []Access{
				{Kind: AccessCheck, Group: 3, Value: 1, Mark: 7, Pause: 8, Toggles: [4]uint32{word32(3), 0, word32(4), word32(3, 4)}},
				{Kind: AccessTurned, Group: 2, Value: 3, Toggles: [4]uint32{word32(3), word32(9), word32(4), word32(3, 4, 9)}},
				{Kind: AccessWrite, Pause: 16, Toggles: [4]uint32{word32(3, 28)}},
			}}.Append([]byte{OpLoop, 1, 3, 0, 0, 0}), OpNext, 1, OpEnd)},
		"pattern-load-reply": &Acknowledged{Request: TypePattern},
		"pattern-run":        &PatternRun{Log: true, BudgetMS: 500},
		"pattern-reply": &PatternReply{
			Registers: [4]uint16{3, 9, 0, 65535}, Errors: 70000, Output: []byte{7, 0, 3, 0, 9, 0, 5, 0}},
		"watch": &Watch{Unpowered: true, Watched: 3, UntilUS: 100_000, Edges: 64, Actions: []WatchAction{
			{Direction: word32(1, 2), Level: word32(2), Bias: Pull{true, word32(28)}},
			{AtUS: 1000, Direction: word32(1, 2), Level: word32(1, 2), Bias: Pull{true, word32(28)}, Load: Pull{true, word32(27)}}}},
		"watch-halt": &Watch{Watched: 28, UntilUS: 1_000_000 - 99, Edges: 1, Measured: 1, Averaging: 2,
			Actions: []WatchAction{{Direction: word32(1, 2), Level: word32(2), Bias: Pull{true, word32(1)}}},
			Halt:    &WatchAction{Direction: word32(2), Level: word32(2)}},
		"watch-reply": &WatchReply{Begin: true, End: true, Stopped: StoppedByHalt, Millivolts: 1234, Sample: word32(2, 28),
			Acted: []uint32{0, 16008}, Edges: []Edge{{16, 8}, {15999999, 65535}}},
		"no-program": &ErrorReply{Code: NoProgram, Request: TypePattern},
	}
	for _, g := range goldenFrames(t) {
		t.Run(g.name, func(t *testing.T) {
			want, listed := messages[g.name]
			require.True(t, listed)
			assert.Equal(t, want.Type(), g.frame.Type)
			assert.Equal(t, g.frame.Payload, append([]byte{}, want.Marshal()...))
			got := emptyLike(want)
			require.NoError(t, got.Unmarshal(g.frame.Payload))
			assert.Equal(t, want, got)
		})
	}
}

// emptyLike gives an empty message of the same kind.
func emptyLike(m Message) Message {
	switch m := m.(type) {
	case *Hello:
		return new(Hello)
	case *Status:
		return new(Status)
	case *Safe:
		return new(Safe)
	case *Pulls:
		return new(Pulls)
	case *Power:
		return new(Power)
	case *Apply:
		return new(Apply)
	case *Measure:
		return new(Measure)
	case *Calibration:
		return new(Calibration)
	case *Capabilities:
		return new(Capabilities)
	case *StatusReply:
		return new(StatusReply)
	case *PowerReply:
		return new(PowerReply)
	case *ApplyReply:
		return new(ApplyReply)
	case *MeasureReply:
		return &MeasureReply{Positions: m.Positions}
	case *CalibrationReply:
		return new(CalibrationReply)
	case *Acknowledged:
		return &Acknowledged{Request: m.Request}
	case *ErrorReply:
		return new(ErrorReply)
	case *Sweep:
		return new(Sweep)
	case *SweepReply:
		return new(SweepReply)
	case *PatternLoad:
		return new(PatternLoad)
	case *PatternRun:
		return new(PatternRun)
	case *PatternReply:
		return new(PatternReply)
	case *Watch:
		return new(Watch)
	case *WatchReply:
		return new(WatchReply)
	}
	panic(fmt.Sprintf("no such message: %T", m))
}

func TestGoldenCOBS(t *testing.T) {
	lines := readGolden(t, "cobs.txt")
	require.Zero(t, len(lines)%2)
	for i := 0; i < len(lines); i += 2 {
		t.Run(strconv.Itoa(i/2), func(t *testing.T) {
			require.Equal(t, "bytes", lines[i].key)
			require.Equal(t, "cobs", lines[i+1].key)
			plain, encoded := lines[i].bytes(t), lines[i+1].bytes(t)
			assert.Equal(t, encoded, appendCOBS(nil, plain))
			got, err := appendDecodedCOBS(nil, encoded)
			require.NoError(t, err)
			assert.Equal(t, plain, got)
		})
	}
}

func TestDamagedFramesAreDropped(t *testing.T) {
	status := Request(9, &Status{})
	for _, line := range readGolden(t, "damaged.txt") {
		var d Decoder
		var frames []Frame
		var errs []error
		for f, err := range d.Feed(append(line.bytes(t), status.Encode()...)) {
			if err != nil {
				errs = append(errs, err)
				continue
			}
			frames = append(frames, f)
		}
		assert.Len(t, errs, 1, line.text)
		if assert.Len(t, frames, 1, line.text) {
			assert.Equal(t, status.Seq, frames[0].Seq)
		}
	}
}
