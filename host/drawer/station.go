package drawer

import (
	"bufio"
	"context"
	"errors"
	"io"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/identify"
	"chipassay/vectors/part"
)

// A Station is the Bench at an adapter.
type Station struct {
	Adapter *adapter.Adapter
	Plan    func(part.Type) (assay.Plan, error) // how logic is tested
	Memory  func(part.Type) assay.MemoryPlan    // how a memory is
	// Identify is how chips are identified, in a run in which nobody names them; else nil.
	Identify *identify.Plan

	planned map[string]assay.Plan // by type
}

// Present looks for a chip's junctions.
func (s *Station) Present(ctx context.Context, t part.Type) (bool, error) {
	if s.Identify != nil {
		return s.presence(ctx)
	}
	seat, err := s.Adapter.SeatOf(t.Variant)
	if err != nil || seat == nil {
		return false, err
	}
	present, err := contact.Present(ctx, seat, t)
	return present, errors.Join(err, seat.PowerOff(ctx))
}

// Pressed asks the adapter for its button.
func (s *Station) Pressed(ctx context.Context) (bool, error) {
	if !s.Adapter.Capabilities.Button {
		return false, nil
	}
	status, err := s.Adapter.Status(ctx)
	return status.Button, err
}

// Test tests the chip as a type, or identifies it.
func (s *Station) Test(ctx context.Context, t part.Type) (result *assay.Result, err error) {
	if s.Identify != nil {
		result, err = s.identified(ctx, t.Part().Number)
	} else {
		result, err = s.tested(ctx, t)
	}
	if err != nil {
		return nil, err
	}
	result.Adapter, result.Firmware = s.Adapter.Capabilities.Board, s.Adapter.Capabilities.Firmware
	return result, nil
}

// tested tests the chip as a type; a plan is made once.
func (s *Station) tested(ctx context.Context, t part.Type) (*assay.Result, error) {
	seat, err := s.Adapter.SeatOf(t.Variant)
	if err != nil {
		return nil, err
	}
	if t.Variant.Memory != nil {
		return assay.RunMemory(ctx, seat, s.Memory(t)), nil
	}
	plan, err := s.plan(t)
	if err != nil {
		return nil, err
	}
	return assay.Run(ctx, seat, plan), nil
}

func (s *Station) plan(t part.Type) (assay.Plan, error) {
	if p, ok := s.planned[t.Name()]; ok {
		return p, nil
	}
	p, err := s.Plan(t)
	if err == nil {
		if s.planned == nil {
			s.planned = map[string]assay.Plan{}
		}
		s.planned[t.Name()] = p
	}
	return p, err
}

// Lines is an Operator who types lines. A goroutine reads them, for as long as r gives any.
func Lines(r io.Reader) Operator {
	l := make(lines)
	go func() {
		defer close(l)
		for s := bufio.NewScanner(r); s.Scan(); {
			l <- s.Text()
		}
	}()
	return l
}

type lines chan string

func (l lines) Next() (string, bool, error) {
	select {
	case line, ok := <-l:
		if !ok {
			return "", false, io.EOF
		}
		return line, true, nil
	default:
		return "", false, nil
	}
}
