package bench

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
	"chipassay/host/calibration"
	"chipassay/host/link"
	"chipassay/host/record"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
)

// adapterBench is a bench whose virtual adapter has a board. Where there is a socket it
// stands for a real adapter, into which nobody reaches.
func adapterBench(t *testing.T, board *virtual.Board, real *virtual.Socket) *Bench {
	t.Helper()
	b := New(Means{
		Adapter: func(ctx context.Context) (*adapter.Adapter, error) {
			if real == nil {
				return nil, link.ErrNoAdapter
			}
			return openVirtual(ctx, real)
		},
		Board: func() (*virtual.Board, error) { return board, nil },
		Records: func(context.Context, bool) (*record.Store, error) {
			return record.Open(filepath.Join(t.TempDir(), "records"))
		},
	})
	require.NoError(t, b.Open(t.Context()))
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return b
}

// damaged is a board with defects.
func damaged(t *testing.T, defects ...string) *virtual.Board {
	t.Helper()
	b := virtual.NewBoard()
	for _, d := range defects {
		require.NoError(t, b.Damage(d))
	}
	return b
}

// idle waits until no work goes on, and looks whether the socket is safe then.
func idle(t *testing.T, b *Bench) State {
	t.Helper()
	for {
		s, changed := b.State()
		if s.Work == Idle {
			status, err := b.adapter.Status(t.Context())
			require.NoError(t, err)
			assert.False(t, status.Powered)
			assert.Zero(t, status.Driven)
			assert.Zero(t, status.Low)
			assert.Equal(t, protocol.Pull{}, status.Bias)
			assert.Equal(t, protocol.Pull{}, status.Load)
			return s
		}
		<-changed
	}
}

// seated is a good 7400.
func seated(t *testing.T) *virtual.Chip {
	t.Helper()
	typ, err := library.Open("7400")
	require.NoError(t, err)
	c, err := virtual.NewChip(typ)
	require.NoError(t, err)
	return c
}

// A defect of the board is named; the virtual chip was taken out before.
func TestCheckNamesADefect(t *testing.T) {
	b := adapterBench(t, damaged(t, "R305 open", "L7 shorted to L8"), nil)
	b.socket.Swap(seated(t))
	require.NoError(t, b.Check(""))
	s := idle(t, b)
	require.NotNil(t, s.Check)
	assert.Empty(t, s.Check.Why)
	faults := s.Check.Report.Faults()
	require.Len(t, faults, 2)
	assert.True(t, faults[0].Has("L7") && faults[0].Has("L8"), faults[0])
	assert.True(t, faults[1].Has("R305"), faults[1])
	assert.Equal(t, 5, faults[1].Position)
	assert.Empty(t, s.Message.Text)
}

func TestCheckOfAGoodBoard(t *testing.T) {
	b := adapterBench(t, virtual.NewBoard(), nil)
	require.NoError(t, b.Check(""))
	s := idle(t, b)
	assert.Empty(t, s.Check.Report.Faults())
	assert.Len(t, s.Check.Report.Fitted, len(carrier.AllGroups()))
}

// Who looks on sees how far a check is.
func TestCheckShowsItsProgress(t *testing.T) {
	b := adapterBench(t, virtual.NewBoard(), nil)
	require.NoError(t, b.Check(""))
	var shown []float64
	for {
		s, changed := b.State()
		if s.Work == Idle {
			break
		}
		shown = append(shown, s.Progress)
		<-changed
	}
	assert.True(t, slices.IsSorted(shown), shown)
	assert.Greater(t, shown[len(shown)-1], 0.5)
	s, _ := b.State()
	assert.Zero(t, s.Progress, "nothing is being done")
}

// While one builds, the next group is named, as by adapter check --building.
func TestCheckWhileBuilding(t *testing.T) {
	board := virtual.NewBoard()
	board.Groups(carrier.Starter)
	b := adapterBench(t, board, nil)
	require.NoError(t, b.Check("starter"))
	s := idle(t, b)
	assert.Equal(t, "starter", s.Check.Building)
	assert.Contains(t, strings.Join(s.Check.Report.Next, "\n"), "solder the group load")
	require.ErrorIs(t, b.Check("roof"), ErrRefused)
	require.NoError(t, b.Check("load"))
	assert.NotEmpty(t, idle(t, b).Check.Report.Faults())
}

// A stopped check finds nothing, and is none: what was found before is not said to hold.
func TestStoppedCheck(t *testing.T) {
	b := adapterBench(t, virtual.NewBoard(), nil)
	require.NoError(t, b.Check(""))
	idle(t, b)
	require.NoError(t, b.Check(""))
	require.ErrorIs(t, b.Check(""), ErrRefused)
	require.ErrorIs(t, b.Measure(), ErrRefused)
	require.ErrorIs(t, b.Forget(), ErrRefused)
	b.Stop()
	s := idle(t, b)
	assert.Nil(t, s.Check.Report)
	assert.Equal(t, "it was stopped; the supply is off", s.Check.Why)
	assert.False(t, s.Stopping)
	assert.False(t, s.Adapter.Lost)
	require.NoError(t, b.Check("")) // and it works again
	assert.NotNil(t, idle(t, b).Check.Report)
}

// At a real adapter nobody takes the chip out: the check says that it is there.
func TestCheckWithAChip(t *testing.T) {
	b := adapterBench(t, nil, virtual.NewSocket(seated(t), 1))
	require.NoError(t, b.Check(""))
	s := idle(t, b)
	assert.Nil(t, s.Check.Report)
	assert.Contains(t, s.Check.Why, "something is in the socket")
	assert.Empty(t, s.Message.Text) // it is said once
}

// A cable that comes off in the middle is no fault of the board.
func TestCheckLosesTheAdapter(t *testing.T) {
	b := adapterBench(t, virtual.NewBoard(), nil)
	require.NoError(t, b.adapter.Close())
	require.NoError(t, b.Check(""))
	for {
		s, changed := b.State()
		if s.Work == Idle {
			assert.Nil(t, s.Check.Report)
			assert.NotEmpty(t, s.Check.Why)
			assert.NotEmpty(t, s.Message.Text)
			break
		}
		<-changed
	}
	b.adapter = nil // it is closed
}

// A calibration finds what the board was given, with the outputs behind the resistors as in
// host/calibration's tests (a 74HC595's 32.5 Ω, from memory of the data sheet), and the
// adapter keeps it until it is erased: then it goes by its design, 10 kΩ and 1 kΩ.
func TestCalibration(t *testing.T) {
	b := adapterBench(t, damaged(t, "all load 1030 ohms", "all bias 9800 ohms"), nil)
	b.socket.Swap(seated(t))
	require.NoError(t, b.Measure())
	s := idle(t, b)
	assert.Equal(t, protocol.CalibrationNone, s.Reading.Constants.State)

	order := CalibrationOrder{Resistor: calibration.Resistor{Ohms: 1002, P: 28, Q: 8}}
	require.NoError(t, b.Calibrate(order))
	s = idle(t, b)
	require.NotNil(t, s.Calibration)
	require.Empty(t, s.Calibration.Why)
	assert.Equal(t, order, s.Calibration.Order)
	assert.Equal(t, protocol.CalibrationStored, s.Reading.Constants.State)
	assert.InEpsilon(t, 1030+32.5, s.Reading.Constants.LoadOhms, 0.01)
	assert.InEpsilon(t, 9800+32.5, s.Reading.Constants.BiasOhms, 0.015)
	assert.Equal(t, *s.Reading.Constants, s.Calibration.Result.New)
	assert.Equal(t, 1000, s.Calibration.Result.Old.LoadOhms)

	require.NoError(t, b.Check("")) // the resistor was taken out again
	assert.Empty(t, idle(t, b).Check.Why)

	require.NoError(t, b.Forget())
	s = idle(t, b)
	assert.True(t, s.Calibration.Forgot)
	assert.Nil(t, s.Calibration.Result)
	assert.Equal(t, protocol.CalibrationNone, s.Reading.Constants.State)
	assert.Equal(t, 1000, s.Reading.Constants.LoadOhms)
	assert.Equal(t, 10_000, s.Reading.Constants.BiasOhms)
}

// What cannot be a calibration changes nothing, and the reason is shown.
func TestCalibrationRefused(t *testing.T) {
	board := virtual.NewBoard()
	b := adapterBench(t, nil, board.SocketWith(virtual.Resistor{Ohms: 1800, P: 28, Q: 8}, 1))
	require.NoError(t, b.Calibrate(CalibrationOrder{Resistor: calibration.Resistor{Ohms: 1002, P: 28, Q: 8}}))
	s := idle(t, b)
	assert.Nil(t, s.Calibration.Result)
	assert.Contains(t, s.Calibration.Why, "nothing was changed")
	assert.Contains(t, s.Calibration.Why, "is the resistor of the value")
	assert.Equal(t, protocol.CalibrationNone, s.Reading.Constants.State)
	for _, r := range []calibration.Resistor{{Ohms: 1002, P: 28, Q: 28}, {Ohms: 1002, P: 0, Q: 8}, {Ohms: 1002, P: 28, Q: 29}, {Ohms: 0, P: 28, Q: 8}, {Ohms: math.NaN(), P: 28, Q: 8}, {Ohms: 469, P: 28, Q: 8}, {Ohms: 4701, P: 28, Q: 8}} {
		require.ErrorIs(t, b.Calibrate(CalibrationOrder{Resistor: r}), ErrRefused, r)
	}
	require.NoError(t, b.Calibrate(CalibrationOrder{Resistor: calibration.Resistor{Ohms: 1800, P: 28, Q: 8}, SupplyVolts: 12}))
	assert.Contains(t, idle(t, b).Calibration.Why, "4.5 to 5.5 V")
}

func TestStoppedCalibration(t *testing.T) {
	b := adapterBench(t, virtual.NewBoard(), nil)
	require.NoError(t, b.Calibrate(CalibrationOrder{Resistor: calibration.Resistor{Ohms: 1002, P: 28, Q: 8}}))
	b.Stop()
	s := idle(t, b)
	assert.Nil(t, s.Calibration.Result)
	assert.Equal(t, stopped, s.Calibration.Why)
	assert.Equal(t, protocol.CalibrationNone, s.Reading.Constants.State)
}

// The supply follows the USB port's: 0.40 V more there are 0.40 V more here, within a
// count of the 12-bit converter at each reading (5 V / 4096, data sheet, from memory) and
// its 0.1 % for the reference. Behind fuse and shunt nothing is lost without a load.
func TestMeasure(t *testing.T) {
	var rails []float64
	for _, usb := range []float64{4.70, 5.10} {
		board := virtual.NewBoard()
		board.USB(usb)
		b := adapterBench(t, board, nil)
		require.NoError(t, b.Measure())
		r := idle(t, b).Reading
		require.True(t, r.Measured())
		assert.InDelta(t, usb, r.Rail, 0.1)
		assert.InDelta(t, r.Rail, r.BehindShunt, 0.01)
		assert.False(t, r.Pressed)
		rails = append(rails, r.Rail)
	}
	assert.InDelta(t, 0.40, rails[1]-rails[0], 0.01)
}

// Without the reference a voltage is not known, and none is made up.
func TestMeasureWithoutReference(t *testing.T) {
	board := virtual.NewBoard()
	board.Groups(carrier.Starter)
	b := adapterBench(t, board, nil)
	require.NoError(t, b.Measure())
	s := idle(t, b)
	assert.False(t, s.Reading.Measured())
	assert.True(t, math.IsNaN(s.Reading.BehindShunt))
	assert.NotNil(t, s.Reading.Constants)

	b = adapterBench(t, damaged(t, "R831 open"), nil) // a reference that cannot be gone by
	require.NoError(t, b.Measure())
	s = idle(t, b)
	assert.Nil(t, s.Reading)
	assert.Contains(t, s.Message.Text, "run adapter check")
}
