package protocol

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestSweepRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := func(name string) uint32 { return rapid.Uint32().Draw(t, name) }
		want := &Sweep{
			Gray: rapid.Bool().Draw(t, "gray"), Settle: rapid.Uint16().Draw(t, "settle"),
			Direction: word("direction"), Level: word("level"), Start: word("start"),
			Count: rapid.Uint32Min(1).Draw(t, "count"), Block: rapid.Uint16Min(1).Draw(t, "block"), Mask: word("mask"),
			Positions: rapid.SliceOfN(rapid.Uint8(), 1, MostSwept).Draw(t, "positions"),
		}
		got := new(Sweep)
		require.NoError(t, got.Unmarshal(want.Marshal()))
		assert.Equal(t, want, got)
	})
}

func TestPatternRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := func(name string) uint32 { return rapid.Uint32().Draw(t, name) }
		want := &PatternLoad{
			Settle: rapid.Uint16().Draw(t, "settle"), Direction: word("direction"), Level: word("level"), Mask: word("mask"),
			RefreshUS: rapid.Uint16().Draw(t, "refresh"), RefreshBits: rapid.Uint8().Draw(t, "bits"),
			RefreshGroup: rapid.Uint8().Draw(t, "group"), RefreshStrobe: word("strobe"),
			Groups: rapid.SliceOfN(rapid.SliceOfN(rapid.Uint8(), 1, MostGroupBits), 1, MostGroups).Draw(t, "groups"),
			Code:   rapid.SliceOfN(rapid.Uint8(), 1, 100).Draw(t, "code"),
		}
		got := new(PatternLoad)
		require.NoError(t, got.Unmarshal(want.Marshal()))
		assert.Equal(t, want, got)
	})
}

// What SPEC.md says is refused whatever the adapter.
func TestSweepAndPatternOutOfRange(t *testing.T) {
	sweep := (&Sweep{Count: 1, Block: 1, Positions: []uint8{1}}).Marshal()
	for at, value := range map[int]byte{0: 2, 1: 0, 16: 0, 20: 0, 22: 1, 23: 1} {
		changed := append([]byte{}, sweep...)
		changed[at] = value
		assert.ErrorIs(t, new(Sweep).Unmarshal(changed), ErrPayload, "offset %d", at)
	}
	many := (&Sweep{Count: 1, Block: 1, Positions: make([]uint8, MostSwept+1)}).Marshal()
	assert.ErrorIs(t, new(Sweep).Unmarshal(many), ErrPayload)

	load := &PatternLoad{Groups: [][]uint8{{1}}, Code: []byte{OpEnd}}
	require.NoError(t, new(PatternLoad).Unmarshal(load.Marshal()))
	for _, bad := range []*PatternLoad{
		{Groups: load.Groups},
		{Groups: [][]uint8{{}}, Code: load.Code},
		{Groups: [][]uint8{make([]uint8, MostGroupBits+1)}, Code: load.Code},
		{Groups: make([][]uint8, MostGroups+1), Code: load.Code},
	} {
		assert.ErrorIs(t, new(PatternLoad).Unmarshal(bad.Marshal()), ErrPayload)
	}
	assert.ErrorIs(t, new(PatternLoad).Unmarshal((&PatternRun{}).Marshal()), ErrPayload)
	assert.ErrorIs(t, new(PatternRun).Unmarshal([]byte{1, 2, 1, 0}), ErrPayload)
	assert.ErrorIs(t, new(PatternRun).Unmarshal([]byte{2, 0, 1, 0}), ErrPayload)
}

// A cell comes back from code as it went in, and what is behind it is left; no part of
// one is one.
func TestCellRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := Cell{Idle: rapid.Uint8().Draw(t, "idle"), Away: rapid.Uint8().Draw(t, "away"),
			Counted: rapid.Uint8().Draw(t, "counted"), Register: rapid.Uint8().Draw(t, "register")}
		for range rapid.IntRange(1, MostAccesses).Draw(t, "accesses") {
			a := Access{Kind: AccessKind(rapid.Uint8Max(3).Draw(t, "kind")), Group: rapid.Uint8().Draw(t, "group"),
				Value: rapid.Uint16().Draw(t, "value"), Mark: rapid.Uint8().Draw(t, "mark"), Pause: rapid.Uint8().Draw(t, "pause")}
			for i := range a.Toggles {
				a.Toggles[i] = rapid.Uint32().Draw(t, "word")
			}
			want.Accesses = append(want.Accesses, a)
		}
		code := want.Append([]byte{OpEmit})
		require.Len(t, code, 1+6+AccessLen*len(want.Accesses))
		got, rest, err := ReadCell(append(code, OpEnd)[1:])
		require.NoError(t, err)
		assert.Equal(t, want, got)
		assert.Equal(t, []byte{OpEnd}, rest)
		_, _, err = ReadCell(code[1 : len(code)-1])
		assert.ErrorIs(t, err, ErrPayload)
	})
	_, _, err := ReadCell([]byte{OpEnd, 0, 0, 0, 0, 0})
	assert.ErrorIs(t, err, ErrPayload)
}

func TestErrorRecord(t *testing.T) {
	got, err := ReadErrorRecord([]byte{7, 0, 3, 0, 9, 1, 5, 0x80})
	require.NoError(t, err)
	assert.Equal(t, ErrorRecord{Mark: 7, Registers: [2]uint16{3, 0x0109}, Seen: 0x8005}, got)
	_, err = ReadErrorRecord(make([]byte, ErrorRecordLen-1))
	assert.ErrorIs(t, err, ErrPayload)
}

// Operand lengths as the table of SPEC.md gives them, added up by hand.
func TestOperands(t *testing.T) {
	sum := 0
	for opcode := range uint8(OpConvert + 1) {
		n, known := Operands(opcode)
		assert.True(t, known)
		sum += n
	}
	assert.Equal(t, 57, sum)
	_, known := Operands(OpConvert + 1)
	assert.False(t, known)
}

// One departure from SPEC.md's WATCH each, by the offset of the byte that is changed.
func TestWatchIsRefused(t *testing.T) {
	whole := &Watch{Watched: 3, UntilUS: 1000, Edges: 5, Measured: 1, Averaging: 7,
		Actions: []WatchAction{{}, {AtUS: 10}, {AtUS: 10, Bias: Pull{On: true, Up: 7}}}, Halt: &WatchAction{}}
	require.NoError(t, new(Watch).Unmarshal(whole.Marshal()))
	for _, c := range []struct {
		at    int
		value uint8
	}{{0, 4}, {6, 0}, {6, 65}, {8, 8}, {9, 1}, {10, 1}, {31, 11}, {52, 9}, {53, 4}, {64, 4}, {73, 1}} {
		changed := whole.Marshal()
		changed[c.at] = c.value
		assert.ErrorIs(t, new(Watch).Unmarshal(changed), ErrPayload, "offset %d", c.at)
	}
	whole.Actions = make([]WatchAction, MostActions+1)
	assert.ErrorIs(t, new(Watch).Unmarshal(whole.Marshal()), ErrPayload)
}
