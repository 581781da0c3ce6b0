//go:build simavr

package avrsim

/*
#include "machine.h"
*/
import "C"

// Registers of USART 0: the ATmega2560's data sheet, Register Summary.
const (
	ucsr0a = 0xC0
	ucsr0b = 0xC1
	ucsr0c = 0xC2
	ubrr0l = 0xC4
	ubrr0h = 0xC5
	udr0   = 0xC6
)

var usartRegisters = []uint16{ucsr0a, ucsr0b, ucsr0c, ubrr0l, ubrr0h, udr0}

// Bits of UCSR0A, UCSR0B and UCSR0C.
const (
	received    = 1 << 7 // RXC
	transmitted = 1 << 6 // TXC
	bufferEmpty = 1 << 5 // UDRE
	frameError  = 1 << 4 // FE
	overrun     = 1 << 3 // DOR
	doubleSpeed = 1 << 1 // U2X

	receiveEnable  = 1 << 4 // RXEN
	transmitEnable = 1 << 3 // TXEN

	twoStopBits = 1 << 3 // USBS
)

// A sign is a byte on the line; broken is one without a stop bit.
type sign struct {
	byte   uint8
	broken bool
}

// A usart is the serial port: two bytes of receive buffer behind the shift
// register, one of send buffer before it.
type usart struct {
	incoming  []sign // not begun yet
	arriving  bool   // the first of incoming is on the line, until arrivesAt
	arrivesAt uint64
	buffer    []sign // at most two
	waiting   *sign  // in the shift register, for want of room in the buffer
	overrun   bool

	pending     *uint8 // in the send buffer
	sending     bool   // the shift register sends departing, until sentAt
	departing   uint8
	sentAt      uint64
	transmitted bool
	sent        []uint8 // and not taken by the other end yet

	lost   int    // bytes that the program did not take in time
	lastAt uint64 // cycle of the last thing that happened on the line
}

// Send puts bytes on the line to the MCU, behind those that are still to come.
func (m *MCU) Send(bytes []byte) {
	for _, b := range bytes {
		m.usart.incoming = append(m.usart.incoming, sign{byte: b})
	}
	m.listen()
}

// SendBroken puts bytes without a stop bit on the line, which are what the low
// bits of a slower rate look like.
func (m *MCU) SendBroken(count int) {
	for range count {
		m.usart.incoming = append(m.usart.incoming, sign{broken: true})
	}
	m.listen()
}

// Sent takes what the MCU sent since the last call.
func (m *MCU) Sent() []byte {
	sent := m.usart.sent
	m.usart.sent = nil
	return sent
}

// Lost counts the bytes that the program did not take in time.
func (m *MCU) Lost() int { return m.usart.lost }

// LineQuiet is how many cycles nothing happened on the serial line; none while
// bytes are under way.
func (m *MCU) LineQuiet() uint64 {
	u := &m.usart
	if len(u.incoming) > 0 || u.sending || len(u.buffer) > 0 {
		return 0
	}
	return m.Cycles() - u.lastAt
}

// ByteCycles is the time of a byte on the line at the rate that the program set.
func (m *MCU) ByteCycles() uint64 {
	perBit := uint64(16)
	if m.register(ucsr0a)&doubleSpeed != 0 {
		perBit = 8
	}
	bits := uint64(10)
	if m.register(ucsr0c)&twoStopBits != 0 {
		bits++
	}
	rate := uint64(m.register(ubrr0h)&0x0F)<<8 | uint64(m.register(ubrr0l))
	return (rate + 1) * perBit * bits
}

// listen begins with the next byte on the line if none is arriving. While the
// receiver is off they go by unheard.
func (m *MCU) listen() {
	u := &m.usart
	if m.register(ucsr0b)&receiveEnable == 0 {
		u.incoming, u.arriving = nil, false
	}
	if u.arriving || len(u.incoming) == 0 {
		return
	}
	if u.waiting != nil { // a start bit while the shift register is not free
		u.waiting, u.overrun = nil, true
		u.lost++
	}
	u.arriving, u.arrivesAt = true, m.Cycles()+m.ByteCycles()
	m.setNextAlarm()
}

func (m *MCU) setNextAlarm() {
	u := &m.usart
	next := uint64(0)
	if u.arriving {
		next = u.arrivesAt
	}
	if u.sending && (next == 0 || u.sentAt < next) {
		next = u.sentAt
	}
	m.setAlarm(next)
}

// alarm is the end of a byte on the line, of one or both ways.
func (m *MCU) alarm() {
	u := &m.usart
	now := m.Cycles()
	u.lastAt = now
	if u.arriving && now >= u.arrivesAt {
		arrived := u.incoming[0]
		u.incoming = u.incoming[1:]
		u.arriving = false
		if len(u.buffer) < 2 {
			u.buffer = append(u.buffer, arrived)
		} else {
			u.waiting = &arrived
		}
		m.listen()
	}
	if u.sending && now >= u.sentAt {
		u.sent = append(u.sent, u.departing)
		u.sending = false
		u.transmitted = u.pending == nil
		m.transmit()
	}
	m.setNextAlarm()
	m.requestInterrupts()
}

// transmit moves a byte from the send buffer to a free shift register.
func (m *MCU) transmit() {
	u := &m.usart
	if u.pending == nil || u.sending {
		return
	}
	u.sending, u.departing, u.sentAt = true, *u.pending, m.Cycles()+m.ByteCycles()
	u.pending = nil
}

func (m *MCU) requestInterrupts() {
	m.request(C.BYTE_RECEIVED, len(m.usart.buffer) > 0)
	m.request(C.SEND_BUFFER_EMPTY, m.usart.pending == nil)
}

func (m *MCU) readUSART(address uint16) uint8 {
	if address == ucsr0a {
		return m.status()
	}
	u := &m.usart
	if len(u.buffer) == 0 {
		return 0
	}
	taken := u.buffer[0].byte
	u.buffer = u.buffer[1:]
	u.overrun = false
	if u.waiting != nil {
		u.buffer = append(u.buffer, *u.waiting)
		u.waiting = nil
	}
	m.requestInterrupts()
	return taken
}

func (m *MCU) status() uint8 {
	u := &m.usart
	status := m.register(ucsr0a) & (doubleSpeed | 1)
	if len(u.buffer) > 0 {
		status |= received
		if u.buffer[0].broken {
			status |= frameError
		}
	}
	if u.overrun {
		status |= overrun
	}
	if u.pending == nil {
		status |= bufferEmpty
	}
	if u.transmitted {
		status |= transmitted
	}
	return status
}

func (m *MCU) writeUSART(address uint16, value uint8) {
	u := &m.usart
	switch address {
	case ucsr0a:
		if value&transmitted != 0 {
			u.transmitted = false
		}
	case ucsr0b:
		if value&receiveEnable == 0 {
			u.buffer, u.waiting, u.overrun = nil, nil, false
		}
		m.listen()
		m.requestInterrupts()
	case udr0:
		if m.register(ucsr0b)&transmitEnable == 0 || u.pending != nil {
			return
		}
		u.pending = &value
		u.lastAt = m.Cycles()
		m.transmit()
		m.setNextAlarm()
		m.requestInterrupts()
	}
}
