package protocol

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestApplyRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := &Apply{
			Unpowered: rapid.Bool().Draw(t, "unpowered"),
			SettleUS:  rapid.Uint16().Draw(t, "settle"),
			Steps: rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Drive {
				return Drive{rapid.Uint32Max(3).Draw(t, "direction"), rapid.Uint32().Draw(t, "level")}
			}), 1, 20).Draw(t, "steps"),
		}
		payload := want.Marshal()
		got := new(Apply)
		require.NoError(t, got.Unmarshal(payload))
		assert.Equal(t, want, got)
		assert.LessOrEqual(t, len(want.Steps), ApplySteps(len(payload), want.Directions()))
	})
}

// From the layout in SPEC.md: 8 bytes, then 4 or 8 a step.
func TestApplySteps(t *testing.T) {
	assert.Equal(t, 256, ApplySteps(1032, false))
	assert.Equal(t, 255, ApplySteps(1031, false))
	assert.Equal(t, 128, ApplySteps(1032, true))
	assert.Equal(t, 0, ApplySteps(7, true))
}

// Requests are refused at every other length than theirs, replies only when short.
func TestLengths(t *testing.T) {
	requests := []Message{&Hello{}, &Status{}, &Safe{}, &Pulls{}, &Power{}, &Apply{Steps: make([]Drive, 1)},
		&Measure{Steps: make([]MeasureStep, 1)}, &Calibration{}, &Calibration{Operation: CalibrationWrite},
		&Sweep{Count: 1, Block: 1, Positions: make([]uint8, 24)}, &PatternRun{}, &Watch{UntilUS: 1, Edges: 1, Actions: make([]WatchAction, 1)}}
	for _, m := range requests {
		payload := m.Marshal()
		assert.NoError(t, emptyLike(m).Unmarshal(payload), m.Type())
		assert.ErrorIs(t, emptyLike(m).Unmarshal(append(payload, 0)), ErrPayload, m.Type())
		for n := range payload {
			assert.ErrorIs(t, emptyLike(m).Unmarshal(payload[:n]), ErrPayload, m.Type())
		}
	}
	replies := []Message{&StatusReply{}, &PowerReply{}, &ErrorReply{},
		&MeasureReply{Positions: []uint32{3}, Steps: []Measured{{Millivolts: []uint16{1, 2}}}}, &CalibrationReply{}, &PatternReply{},
		&WatchReply{Acted: make([]uint32, 1), Edges: make([]Edge, 2)}}
	for _, m := range replies {
		payload := m.Marshal()
		assert.NoError(t, emptyLike(m).Unmarshal(append(payload, 1, 2, 3)), m.Type())
		for n := range payload {
			assert.ErrorIs(t, emptyLike(m).Unmarshal(payload[:n]), ErrPayload, m.Type())
		}
	}
}

// Capabilities are complete up to their last field, and may grow after it.
func TestCapabilitiesLength(t *testing.T) {
	whole := &Capabilities{Rates: []uint32{1}, Board: "b", Measured: 1, ConversionUS: 2, ErrorMV: 3, Bias: 4, Load: 5, Far: 6, FarUS: 7}
	payload := whole.Marshal()
	for n := range len(payload) + 3 {
		var got Capabilities
		err := got.Unmarshal(append(payload, 1, 2, 3)[:n])
		assert.Equal(t, n >= len(payload), err == nil, "%d bytes", n)
		if n >= len(payload) {
			assert.Equal(t, whole, &got)
		}
	}
}

func TestMeasureRoundTrip(t *testing.T) {
	pull := rapid.Custom(func(t *rapid.T) (p Pull) {
		if p.On = rapid.Bool().Draw(t, "on"); p.On {
			p.Up = rapid.Uint32().Draw(t, "up")
		}
		return p
	})
	rapid.Check(t, func(t *rapid.T) {
		want := &Measure{
			Unpowered: rapid.Bool().Draw(t, "unpowered"),
			Steps: rapid.SliceOfN(rapid.Custom(func(t *rapid.T) MeasureStep {
				return MeasureStep{rapid.Uint32().Draw(t, "direction"), rapid.Uint32().Draw(t, "level"), rapid.Uint32().Draw(t, "positions"),
					rapid.Uint16().Draw(t, "settle"), rapid.Uint8Max(MostAveraging).Draw(t, "averaging"), pull.Draw(t, "bias"), pull.Draw(t, "load")}
			}), 1, 20).Draw(t, "steps"),
		}
		got := new(Measure)
		require.NoError(t, got.Unmarshal(want.Marshal()))
		assert.Equal(t, want, got)
	})
}

// From the layout in SPEC.md: 4 bytes and 24 a step there, 6 and 2 a position a step back.
func TestMeasureFits(t *testing.T) {
	steps := make([]MeasureStep, 100)
	assert.Equal(t, 42, MeasureFits(steps, 1032))
	assert.Equal(t, 0, MeasureFits(steps, 27))
	assert.Equal(t, 1, MeasureFits(steps, 28))
	for i := range steps {
		steps[i].Positions = 0x00ff00ff // 38 bytes
	}
	assert.Equal(t, 27, MeasureFits(steps, 1032))
	assert.Equal(t, 2, MeasureFits(steps[:2], 1032))
}

func TestReservedFieldsAreRefused(t *testing.T) {
	apply := (&Apply{Steps: make([]Drive, 1)}).Marshal()
	for bit := range 8 {
		changed := append([]byte{}, apply...)
		changed[0] |= 1 << bit
		known := bit <= 1
		err := new(Apply).Unmarshal(changed)
		if bit == 0 { // DIRECTIONS with half a step
			known = false
		}
		assert.Equal(t, known, err == nil, "flag %d", bit)
	}
	for _, changed := range []func(pulls []byte){
		func(p []byte) { p[0] = 4 }, func(p []byte) { p[1] = 1 }, func(p []byte) { p[2] = 1 }, func(p []byte) { p[0], p[9] = 1, 1 },
	} {
		pulls := (&Pulls{}).Marshal()
		changed(pulls)
		assert.ErrorIs(t, new(Pulls).Unmarshal(pulls), ErrPayload, "% x", pulls)
	}
	for at, value := range map[int]byte{0: 1, 1: 1, 2: 1, 3: 1, 18: 8, 19: 4, 20: 1, 24: 1} {
		measure := (&Measure{Steps: make([]MeasureStep, 1)}).Marshal()
		measure[at] |= value
		assert.ErrorIs(t, new(Measure).Unmarshal(measure), ErrPayload, "offset %d", at)
	}
	assert.ErrorIs(t, new(Calibration).Unmarshal([]byte{3, 0}), ErrPayload)
	assert.ErrorIs(t, new(Calibration).Unmarshal([]byte{0, 1}), ErrPayload)
	power := (&Power{}).Marshal()
	power[1] = 1
	assert.ErrorIs(t, new(Power).Unmarshal(power), ErrPayload)
}

func TestRefusalIsAnError(t *testing.T) {
	refusal := &ErrorReply{Code: Overcurrent, Request: TypePower, Detail: 15025}
	err := ReadReply(Request(3, refusal), new(PowerReply))
	assert.ErrorIs(t, err, Overcurrent)
	assert.NotErrorIs(t, err, NotPowered)
	assert.Equal(t, "POWER: the supply current is over the limit (150.25 mA)", err.Error())
	var got *ErrorReply
	require.True(t, errors.As(fmt.Errorf("powering: %w", err), &got))
	assert.Equal(t, refusal, got)

	assert.ErrorIs(t, ReadReply(Request(3, &PowerReply{}), new(StatusReply)), ErrPayload)
}

func TestWireLen(t *testing.T) {
	// 256 samples: 1024 + 5 bytes of body, 5 code bytes, one delimiter.
	assert.Equal(t, 1029+5+1, WireLen(1024))
	assert.Equal(t, 5+1+1, WireLen(0))
}

func TestNames(t *testing.T) {
	assert.Equal(t, "APPLY", TypeApply.String())
	assert.Equal(t, "APPLY reply", TypeApply.Reply().String())
	assert.Equal(t, "type 0x44", Type(0x44).String())
	assert.Equal(t, "watchdog", ResetWatchdog.String())
	assert.Equal(t, "number 255", SafeCause(math.MaxUint8).String())
	assert.Equal(t, "the adapter refused with code 99", Code(99).Error())
}

// No payload makes a message that does not marshal to itself.
func FuzzUnmarshal(f *testing.F) {
	f.Add(uint8(TypeApply), (&Apply{Steps: []Drive{{1, 1}, {2, 2}}}).Marshal())
	f.Add(uint8(TypeHello.Reply()), (&Capabilities{Rates: []uint32{1}, Board: "b"}).Marshal())
	f.Add(uint8(TypeStatus.Reply()), (&StatusReply{Powered: true}).Marshal())
	f.Add(uint8(TypeMeasure), (&Measure{Steps: []MeasureStep{{Direction: 1, Bias: Pull{true, 5}}}}).Marshal())
	f.Add(uint8(TypeCalibration), (&Calibration{Operation: CalibrationWrite, Constants: Constants{Channels: make([]ChannelConstants, 2)}}).Marshal())
	f.Add(uint8(TypeWatch), (&Watch{UntilUS: 1, Edges: 1, Actions: make([]WatchAction, 1), Halt: &WatchAction{}}).Marshal())
	f.Add(uint8(TypeSweep), (&Sweep{Count: 1, Block: 1, Positions: []uint8{1}}).Marshal())
	f.Add(uint8(TypePattern), (&PatternLoad{Groups: [][]uint8{{1, 2}}, Code: []byte{OpEnd}}).Marshal())
	f.Add(uint8(TypePattern), (&PatternRun{BudgetMS: 1}).Marshal())
	messages := map[Type][]Message{}
	for _, m := range []Message{&Hello{}, &Status{}, &Safe{}, &Pulls{}, &Power{}, &Apply{}, &Capabilities{}, &StatusReply{},
		&PowerReply{}, &ApplyReply{}, &ErrorReply{}, &Measure{}, &Calibration{}, &CalibrationReply{},
		&MeasureReply{Positions: []uint32{3, 0, 7}}, &Sweep{}, &SweepReply{}, &PatternLoad{}, &PatternRun{}, &PatternReply{}, &Watch{}, &WatchReply{}} {
		messages[m.Type()] = append(messages[m.Type()], m)
	}
	f.Fuzz(func(t *testing.T, kind uint8, payload []byte) {
		for _, m := range messages[Type(kind)] {
			got, again := emptyLike(m), emptyLike(m)
			if err := got.Unmarshal(payload); err != nil {
				if !errors.Is(err, ErrPayload) {
					t.Fatal(err)
				}
				continue
			}
			if err := again.Unmarshal(got.Marshal()); err != nil || !assert.ObjectsAreEqual(got, again) {
				t.Fatalf("%+v became %+v, %v", got, again, err)
			}
		}
	})
}
