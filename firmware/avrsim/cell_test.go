//go:build simavr

package avrsim

import (
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
)

// The exchanges of CELL that protocol/golden has, with the AVR image: its walk is its own.
func TestGoldenCells(t *testing.T) {
	text, err := os.ReadFile("../../protocol/golden/exchanges.txt")
	if err != nil {
		t.Fatal(err)
	}
	var p port
	var decoder protocol.Decoder
	var frame protocol.Frame
	name, answers := "", 0
	for line := range strings.Lines(string(text)) {
		key, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		if key == "exchange" {
			if name = rest; strings.HasPrefix(name, "pattern-cells") {
				p = open(t, "")
				// The golden socket reads low where nothing drives it.
				ask(t, p, &decoder, protocol.Request(0xF0, lowBias))
			}
		}
		if !strings.HasPrefix(name, "pattern-cells") || key != "ask" && key != "answer" {
			continue
		}
		b, err := hex.DecodeString(strings.ReplaceAll(rest, " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		if key == "ask" {
			frame = ask(t, p, &decoder, protocol.Frame{Type: protocol.Type(b[0]), Seq: b[1], Payload: b[2:]})
			continue
		}
		answers++
		if got := slices.Concat([]byte{byte(frame.Type), frame.Seq}, frame.Payload); !slices.Equal(got, b) {
			t.Errorf("%s: % x instead of % x", name, got, b)
		}
	}
	if answers < 20 {
		t.Errorf("%d answers", answers)
	}
}

// lowBias pulls all positions low, so that what nothing drives reads the same each time.
var lowBias = &protocol.Pulls{Bias: protocol.Pull{On: true}}

func ask(t *testing.T, conn link.Conn, decoder *protocol.Decoder, request protocol.Frame) (reply protocol.Frame) {
	t.Helper()
	if _, err := conn.Write(request.Encode()); err != nil {
		t.Fatal(err)
	}
	if err := conn.SetReadTimeout(time.Second); err != nil {
		t.Fatal(err)
	}
	buffer := make([]byte, 2048)
	for {
		n, err := conn.Read(buffer)
		if err != nil || n == 0 {
			t.Fatalf("no answer: %v", err)
		}
		for f, err := range decoder.Feed(buffer[:n]) {
			if err != nil {
				t.Fatal(err)
			}
			return f
		}
	}
}

// randomCells is a program of a CELL in loops, over positions near and far, or near alone.
func randomCells(r *rand.Rand) *protocol.PatternLoad {
	numbers := []uint8{1, 2, 3, 4, 5, 6, 8, 28, 27, 26, 25, 24, 23, 21}
	if r.IntN(2) == 0 {
		numbers = append(numbers, 9, 10, 11, 12, 13, 20, 19, 18, 17, 16, 15)
	}
	r.Shuffle(len(numbers), func(i, j int) { numbers[i], numbers[j] = numbers[j], numbers[i] })
	take := func(n int) (some []uint8) { some, numbers = numbers[:n], numbers[n:]; return some }
	row := take(1 + r.IntN(3))
	column := row
	if r.IntN(2) == 0 {
		column = slices.Concat(row[r.IntN(len(row)):], take(1+r.IntN(2)))
	}
	turned, lines := take(1+r.IntN(2)), take(4)
	some := func() (word uint32) {
		if r.IntN(2) == 0 { // as most do: of one port
			return positions(lines[r.IntN(len(lines))])
		}
		for _, n := range lines {
			word |= positions(n) * uint32(r.IntN(2))
		}
		return word
	}
	seen := append(slices.Clone(lines[:1+r.IntN(3)]), row[0], turned[0])
	if r.IntN(2) == 0 {
		seen = seen[r.IntN(len(seen)):][:1]
	}
	m := &protocol.PatternLoad{Direction: positions(slices.Concat(row, column, lines)...), Groups: [][]uint8{row, column, turned, seen}}
	m.Level = some() | uint32(r.Uint32())&m.Direction
	cell := protocol.Cell{Away: uint8(r.IntN(2)), Counted: 0, Register: 1}
	if cell.Away == 1 {
		cell.Counted = uint8(r.IntN(2))
	}
	for range 1 + r.IntN(4) {
		a := protocol.Access{Kind: protocol.AccessKind(r.IntN(4)), Mark: uint8(r.Uint32()), Pause: uint8(r.IntN(40)),
			Toggles: [4]uint32{some(), some(), some(), some()}}
		if r.IntN(2) == 0 { // a pulse
			a.Toggles[3] = a.Toggles[2]
		}
		switch a.Kind {
		case protocol.AccessTurned:
			a.Group, a.Value = 2, uint16(r.Uint32())
		case protocol.AccessCheck, protocol.AccessTake:
			a.Group, a.Value = 3, uint16(r.Uint32())
		}
		cell.Accesses = append(cell.Accesses, a)
	}
	if r.IntN(2) == 0 && len(lines) > 3 { // a refresh, so that nothing interrupts
		m.RefreshUS, m.RefreshBits, m.RefreshGroup, m.RefreshStrobe = 20000, 2, 4, positions(lines[0])
		m.Groups = append(m.Groups, lines[1:3])
	}
	var a assembly
	first, last := uint16(r.IntN(150)), uint16(r.IntN(150))
	a.loop(0, 3, 1)
	a.put(protocol.OpLatch, 1-cell.Counted, 0)
	a.loop(1, first, last)
	a = cell.Append(a)
	a.put(protocol.OpNext, 1)
	a.put(protocol.OpNext, 0)
	a.put(protocol.OpTake, 3)
	a.put(protocol.OpEnd)
	m.Code = a
	return m
}

// What the AVR image walks in assembly is what the virtual adapter's portable code walks:
// every answer of random programs is the same, records and levels as read included.
func TestCellsAreThoseOfTheVirtualAdapter(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	p := open(t, "")
	v, err := virtual.Open(t.Context(), virtual.NewSocket(nil, 1))
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	lines := []caller{powered(t, p.Conn, 22, 14), powered(t, v, 22, 14)}
	for _, line := range lines {
		line.must(lowBias, &protocol.Acknowledged{Request: protocol.TypePulls})
	}
	output := 0
	for n := range 200 {
		load := randomCells(r)
		var replies [2]string
		for i, line := range lines {
			if err := line.call(load, &protocol.Acknowledged{Request: protocol.TypePattern}); err != nil {
				t.Fatalf("program %d: %v", n, err)
			}
			for ended := false; !ended; {
				var reply protocol.PatternReply
				line.must(&protocol.PatternRun{Log: true, BudgetMS: 1000}, &reply)
				replies[i] += fmt.Sprintf("%x", reply.Output)
				if ended = reply.Ended; ended {
					replies[i] += fmt.Sprint(reply.Registers, reply.Errors)
				}
			}
		}
		if replies[0] != replies[1] {
			t.Fatalf("program %d, groups %v, cell % x:\n%.400s\n%.400s", n, load.Groups, load.Code, replies[0], replies[1])
		}
		output += len(replies[0])
	}
	if output < 100_000 {
		t.Errorf("only %d digits put out", output)
	}
}

// However many ports an access needs, and whatever it finds, it takes no longer than
// SPEC.md says where nothing may interrupt it, and the strobe of the refresh neither.
func TestAccessesOfAnyPositionAreBrief(t *testing.T) {
	const ras = 9
	lines := []uint8{ras, 1, 28, 15, 10, 2, 27, 16}
	address := []uint8{3, 11, 26, 17, 4, 12, 25, 18}
	turned, out := []uint8{5, 13, 24, 19}, []uint8{6, 14 - 2 + 8, 23, 7}
	all := positions(lines...)
	m := &protocol.PatternLoad{Direction: all | positions(address...) | positions(out...), Level: all,
		RefreshUS: 8000, RefreshBits: 8, RefreshGroup: 0, RefreshStrobe: positions(ras),
		Groups: [][]uint8{address, slices.Clone(address), turned, out}}
	slices.Reverse(m.Groups[1])
	cell := protocol.Cell{Away: 1, Counted: 1, Register: 1}
	pause := uint8(32)
	for _, kind := range []protocol.AccessKind{protocol.AccessWrite, protocol.AccessTurned, protocol.AccessCheck, protocol.AccessTake} {
		a := protocol.Access{Kind: kind, Pause: pause, Value: 5, Toggles: [4]uint32{all, all &^ positions(ras), all &^ positions(ras), all}}
		switch kind {
		case protocol.AccessTurned:
			a.Group = 2
		case protocol.AccessCheck, protocol.AccessTake:
			a.Group = 3
		}
		if kind == protocol.AccessWrite {
			a.Value = 0
		}
		cell.Accesses = append(cell.Accesses, a)
	}
	var a assembly
	a.loop(1, 0, 255)
	a = cell.Append(a)
	a.put(protocol.OpNext, 1)
	a.put(protocol.OpEnd)
	m.Code = a
	p := open(t, "")
	seen := newStrobe(ras)
	var before adapter.Word
	p.bench.Carrier.Watch = func(cycle uint64, _, level adapter.Word) {
		seen.watch(cycle, level, level^before, 0)
		before = level
	}
	line := powered(t, p.Conn, 22, 14)
	seen.again()
	line.must(m, &protocol.Acknowledged{Request: protocol.TypePattern})
	for ended := false; !ended; {
		var reply protocol.PatternReply
		line.must(&protocol.PatternRun{Log: true, BudgetMS: 1000}, &reply)
		ended = reply.Ended
	}
	t.Logf("the strobe is low for %v to %v, high for %v, in %d pulses", duration(seen.shortest), duration(seen.longest), duration(seen.shortestHigh), seen.pulses)
	if most := 9*time.Microsecond + time.Duration(pause)*time.Microsecond/16; duration(seen.longest) > most || duration(seen.shortest) < time.Microsecond/4 || duration(seen.shortest) > 2*time.Microsecond {
		t.Errorf("the strobe is low for %v to %v", duration(seen.shortest), duration(seen.longest))
	}
	if duration(seen.shortestHigh) < time.Microsecond/4 || seen.pulses < 4*256+256 {
		t.Errorf("the strobe is high for %v, %d pulses", duration(seen.shortestHigh), seen.pulses)
	}
}
