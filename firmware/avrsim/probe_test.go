//go:build simavr

package avrsim

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"chipassay/host/virtual"
)

// A probe is a bench with testdata/probe.c instead of the firmware.
type probe struct {
	*Bench
	t testing.TB
}

func newProbe(t testing.TB, socket *virtual.Socket) probe {
	t.Helper()
	elf := filepath.Join(t.TempDir(), "probe.elf")
	compiler := exec.Command("avr-gcc", "-mmcu=atmega2560", "-DF_CPU=16000000UL", "-Os", "-Wall", "-Werror",
		"-o", elf, filepath.Join("testdata", "probe.c"))
	if out, err := compiler.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s\nwhere avr-gcc is missing: %s", err, out, Packages)
	}
	image, err := os.ReadFile(elf)
	if err != nil {
		t.Fatal(err)
	}
	bench, err := newBench(image, NewCarrier(socket))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(bench.Close)
	return probe{bench, t}
}

// say sends a command and gives it the time that it takes.
func (p probe) say(command ...byte) []byte {
	p.t.Helper()
	p.MCU.Send(command)
	if err := p.MCU.Run(cyclesIn(time.Duration(len(command)+4) * 10 * time.Microsecond)); err != nil {
		p.t.Fatal(err)
	}
	return p.MCU.Sent()
}

func (p probe) poke(register uint16, value uint8) {
	p.t.Helper()
	p.say('w', byte(register), byte(register>>8), value)
}

func (p probe) peek(register uint16) uint8 {
	p.t.Helper()
	answer := p.say('r', byte(register), byte(register>>8))
	if len(answer) != 1 {
		p.t.Fatalf("register %#x: answered %v", register, answer)
	}
	return answer[0]
}

// Registers: the ATmega2560's data sheet, Register Summary.
const (
	pina, ddra, porta = 0x20, 0x21, 0x22
	ddrb, portb       = 0x24, 0x25
	ddrc, portc       = 0x27, 0x28
	ddrd, portd       = 0x2A, 0x2B
	pinf              = 0x2F
	ddrg, portg       = 0x33, 0x34
	ddrh, porth       = 0x101, 0x102
	ddrl, portl       = 0x10A, 0x10B

	adcl, adch, adcsra, adcsrb, admux = 0x78, 0x79, 0x7A, 0x7B, 0x7C
)

const (
	allHigh    = 0x7B // PORTH, the high-side switches
	highAt1    = 1 << 0
	lowOutput7 = 2 // of the low-side chain, position 7
)

// shift clocks bits into the registers, the highest first.
func (p probe) shift(bits uint64, n int) {
	p.poke(ddrc, shiftData|shiftClock)
	for i := n - 1; i >= 0; i-- {
		data := uint8(0)
		if bits>>i&1 != 0 {
			data = shiftData
		}
		p.poke(portc, data)
		p.poke(portc, data|shiftClock)
	}
	p.poke(portc, 0)
}

// low stores bits in the chain of the low-side switches, cleared before, and turns its outputs on.
func (p probe) low(bits uint64) {
	p.poke(ddrd, lowStore)
	for _, b := range []uint64{0, bits} {
		p.shift(b, 16)
		p.poke(portd, lowStore)
		p.poke(portd, 0)
	}
	p.poke(portb, 0)
	p.poke(ddrb, lowOff)
}

// bias stores bits in the chain of the bias resistors and turns them on.
func (p probe) bias(bits uint64) {
	p.poke(portg, biasOff)
	p.poke(ddrg, biasOff|biasStore)
	for _, b := range []uint64{0, bits} {
		p.shift(b, 32)
		p.poke(portg, biasOff|biasStore)
		p.poke(portg, biasOff)
	}
	p.poke(portg, 0)
}

// high closes the high-side switches of lines.
func (p probe) high(lines uint8) {
	p.poke(porth, allHigh)
	p.poke(ddrh, allHigh)
	p.poke(porth, allHigh&^lines)
}

// What the program does to the MCU's registers reaches the carrier's lines; lines_test.go
// has the carrier's own mistakes.
func TestViolations(t *testing.T) {
	for _, c := range []struct {
		name   string
		faulty func(p probe)
		want   string // "" for none
	}{
		{"as it should be", func(p probe) {
			p.bias(0x5A)
			p.low(1 << lowOutput7)
			p.high(highAt1)
			p.poke(ddra, 0xBE) // not 1 and 7
			p.poke(porta, 0xBE)
			p.peek(pinf)
		}, ""},
		{"bias without clearing", func(p probe) { p.poke(portg, 0); p.poke(ddrg, biasOff) }, "turned on before zeros"},
		{"an enable that is pulled up alone", func(p probe) { p.poke(portg, 0); p.poke(portg, biasOff) }, ""},
		{"driving a position to ground that is at the supply", func(p probe) {
			p.high(1 << 5)     // PH5, position 22
			p.poke(ddrl, 1<<6) // R7, position 22
		}, "driven against their supply switches"},
		{"closing a low-side switch at a driven position", func(p probe) {
			p.poke(ddra, 1<<3) // position 4
			p.low(1 << 1)      // position 4
		}, "driven against their supply switches"},
		{"supply and ground at one position", func(p probe) { p.high(1 << 6); p.low(1 << 7) }, // 28
			"high-side and the low-side switch are closed"},
		{"two supplies", func(p probe) { p.high(3) }, "more than one"},
		{"high-side outputs that come up low", func(p probe) { p.poke(ddrh, allHigh) }, "more than one"},
		{"pull-ups", func(p probe) { p.poke(porta, 1); p.peek(pinf) }, "pull-ups"},
		{"not stored yet", func(p probe) { p.poke(ddra, 1<<3); p.low(0); p.shift(0xFFFF, 16) }, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := newProbe(t, virtual.NewSocket(nil, 1))
			c.faulty(p)
			got := strings.Join(p.Carrier.Violations, "\n")
			if c.want == "" && got != "" || !strings.Contains(got, c.want) {
				t.Errorf("noted %q, want %q", got, c.want)
			}
		})
	}
}

// Each ADC channel sees its position: a single one driven high among driven
// lows, all held low by 10 kΩ. By Ohm's law 5 V × 10.05 kΩ / 10.195 kΩ, with 25 Ω of the
// MCU's pin, 120 Ω, and 50 Ω of the register's output. What the socket takes sags the rail
// that all this is measured against, and is a share of it.
func TestChannels(t *testing.T) {
	p := newProbe(t, virtual.NewSocket(nil, 1))
	p.bias(0)
	p.poke(ddra, 0xFF)
	p.poke(ddrl, 0xFF)
	for driven := range 16 {
		one := uint16(1) << driven
		p.poke(porta, uint8(one))
		p.poke(portl, uint8(one>>8))
		for channel := range 16 {
			want := 0.0
			if channel == driven {
				want = 1024 * 10_050 / 10_195.0
			}
			got := p.convert(channel)
			if simple := p.Socket().Convert(channel) / 4; got != simple {
				t.Errorf("channel %d: %d by the simulator, %d by the socket", channel, got, simple)
			}
			if math.Abs(float64(got)-want) > 2 {
				t.Errorf("position of channel %d high: channel %d reads %d, want %.1f", driven, channel, got, want)
			}
		}
	}
}

func (p probe) convert(channel int) int {
	p.t.Helper()
	const avccReference, enable, start, by128 = 1 << 6, 1 << 7, 1 << 6, 7
	p.poke(admux, avccReference|uint8(channel&7))
	p.poke(adcsrb, uint8(channel>>3)<<3) // MUX5
	p.poke(adcsra, enable|start|by128)
	for p.peek(adcsra)&start != 0 {
	}
	low := p.peek(adcl)
	return int(p.peek(adch))<<8 | int(low)
}

// A reset, by the watchdog or the line, releases what the MCU drives and turns the
// registers' outputs off; they keep their bits.
func TestResets(t *testing.T) {
	const byWatchdog = 1 << 3 // WDRF of MCUSR
	p := newProbe(t, virtual.NewSocket(nil, 1))
	if got := p.say('c'); !bytes.Equal(got, []byte{poweredOn}) {
		t.Errorf("after power-on MCUSR is %v", got)
	}
	drive := func() {
		p.low(1 << lowOutput7)
		p.high(highAt1)
		p.poke(ddra, 0x02)
		if !p.Socket().Live() || p.Carrier.highAt != 1 || p.Carrier.lowAt != 1<<6 {
			t.Fatalf("supply at %v and %v", p.Carrier.highAt, p.Carrier.lowAt)
		}
	}
	off := func(after string) {
		t.Helper()
		if p.Socket().Live() || p.Carrier.highAt|p.Carrier.lowAt != 0 || p.Carrier.out['A'] != 0 || p.Carrier.chains[lowChain].stored != 1<<lowOutput7 {
			t.Errorf("after %s: supply at %v and %v, outputs %#x, stored %#x",
				after, p.Carrier.highAt, p.Carrier.lowAt, p.Carrier.out['A'], p.Carrier.chains[lowChain].stored)
		}
	}
	drive()
	before := p.Cycles()
	p.MCU.Send([]byte("h"))
	if err := p.MCU.Run(cyclesIn(40 * time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	if passed := p.Cycles() - before; passed < cyclesIn(40*time.Millisecond) || passed > cyclesIn(41*time.Millisecond) {
		t.Errorf("%d cycles passed over a reset in 40 ms", passed)
	}
	if p.MCU.Resets != 1 {
		t.Errorf("%d watchdog resets", p.MCU.Resets)
	}
	off("a watchdog reset")
	if got := p.say('c'); !bytes.Equal(got, []byte{byWatchdog}) {
		t.Errorf("after a watchdog's reset MCUSR is %v", got)
	}
	drive()
	if err := p.Reset(); err != nil {
		t.Fatal(err)
	}
	if p.MCU.Resets != 1 {
		t.Errorf("%d watchdog resets", p.MCU.Resets)
	}
	off("the reset line")
	if got := p.say('c'); !bytes.Equal(got, []byte{resetLine}) {
		t.Errorf("after the reset line MCUSR is %v", got)
	}
}

func (p probe) Socket() *virtual.Socket { return p.Carrier.Socket }

// While the program does not listen, the two bytes of the buffer and one in the
// shift register are kept; each start bit after that loses one (data sheet,
// USART, Data OverRun).
func TestOverrun(t *testing.T) {
	p := newProbe(t, virtual.NewSocket(nil, 1))
	p.MCU.Send([]byte{'d', 1})
	p.MCU.Send([]byte("cccccccccc"))
	if err := p.MCU.Run(cyclesIn(2 * time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	if got := p.MCU.Sent(); len(got) != 3 || p.MCU.Lost() != 7 {
		t.Errorf("of ten bytes %d were taken and %d lost, want 3 and 7", len(got), p.MCU.Lost())
	}
}

// 16 MHz / 8 / 2 is 1 Mbaud, so ten bits take 160 cycles; eleven commands and
// their answers overlap by all but one byte.
func TestLineTakesItsTime(t *testing.T) {
	p := newProbe(t, virtual.NewSocket(nil, 1))
	if got := p.MCU.ByteCycles(); got != 160 {
		t.Fatalf("a byte takes %d cycles", got)
	}
	before := p.Cycles()
	p.MCU.Send([]byte("ccccccccccc"))
	answers := 0
	for answers < 11 {
		if err := p.MCU.Run(1); err != nil {
			t.Fatal(err)
		}
		answers += len(p.MCU.Sent())
	}
	if took := p.Cycles() - before; took < 12*160 || took > 12*160+100 {
		t.Errorf("11 bytes and their echoes took %d cycles", took)
	}
	p.poke(ubrr0l, 51)
	if got := p.MCU.ByteCycles(); got != 52*8*10 {
		t.Errorf("at 38400 baud a byte takes %d cycles", got)
	}
}

func TestImageOfAnotherMachine(t *testing.T) {
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	image, err := os.ReadFile(program)
	if err != nil {
		t.Fatal(err)
	}
	for name, image := range map[string][]byte{"this test": image, "no image": []byte("no image")} {
		if _, err := newBench(image, NewCarrier(virtual.NewSocket(nil, 1))); err == nil {
			t.Errorf("%s was taken for the firmware", name)
		}
	}
}
