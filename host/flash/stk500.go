package flash

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"
)

// Commands, answers and states of the application note AVR068, 2591C (5.1.1 and 5.1.5; 5.2.1,
// 5.2.2, 5.2.4, 5.2.5 and 5.2.12; 5.6), with the values of its file command.h (from memory).
const (
	cmdSignOn        = 0x01
	cmdLoadAddress   = 0x06
	cmdEnterProgmode = 0x10
	cmdLeaveProgmode = 0x11
	cmdProgramFlash  = 0x13
	cmdReadFlash     = 0x14
	cmdReadSignature = 0x1B

	statusOK = 0x00
)

const (
	messageStart = 0x1B
	token        = 0x0E
	// longestBody, bytes: what the note allows for a command. An answer to one
	// page's reading has 259.
	longestBody = 275
)

// tick bounds how long a cancelled context goes unnoticed.
const tick = 20 * time.Millisecond

// errSilent is a command without a sound answer.
var errSilent = errors.New("no answer from the bootloader")

// A refusal is an answer with another state than OK.
type refusal struct {
	command, status byte
}

func (r *refusal) Error() string {
	return fmt.Sprintf("the bootloader refuses command %#02x with status %#02x", r.command, r.status)
}

// encode is a message: start, sequence number, length of the body, token, body, and
// the exclusive OR of all of them (AVR068, table 3-1).
func encode(seq byte, body []byte) []byte {
	m := append([]byte{messageStart, seq, byte(len(body) >> 8), byte(len(body)), token}, body...)
	return append(m, xor(m))
}

func xor(p []byte) (sum byte) {
	for _, b := range p {
		sum ^= b
	}
	return sum
}

// header and trailer of a message, bytes.
const (
	header  = 5
	trailer = 1
)

// decode finds the first sound message with a sequence number, and what comes after
// it; whatever else is there is skipped. Nil is none yet.
func decode(line []byte, seq byte) (body, rest []byte) {
	for {
		at := bytes.IndexByte(line, messageStart)
		if at < 0 {
			return nil, nil
		}
		line = line[at:]
		if len(line) < header {
			return nil, line
		}
		size := int(line[2])<<8 | int(line[3])
		switch {
		case line[1] != seq || line[4] != token || size > longestBody || size == 0:
			line = line[1:]
		case len(line) < header+size+trailer:
			return nil, line
		case xor(line[:header+size+trailer]) != 0:
			line = line[1:]
		default:
			return line[header : header+size], line[header+size+trailer:]
		}
	}
}

// A session talks to a bootloader.
type session struct {
	ctx  context.Context
	port Port
	seq  byte // of the next command
	line []byte
}

// call sends a command and gives the answer's body behind its state.
func (s *session) call(patience time.Duration, body ...byte) ([]byte, error) {
	seq := s.seq
	s.seq++
	for message := encode(seq, body); len(message) > 0; {
		n, err := s.port.Write(message)
		if err != nil {
			return nil, err
		}
		message = message[n:]
	}
	answer, err := s.await(seq, patience)
	switch {
	case err != nil:
		return nil, err
	case len(answer) < 2 || answer[0] != body[0]: // also ANSWER_CKSUM_ERROR
		return nil, fmt.Errorf("%w to command %#02x, but % x", errSilent, body[0], answer)
	case answer[1] != statusOK:
		return nil, &refusal{body[0], answer[1]}
	}
	return answer[2:], nil
}

// await reads until an answer is there.
func (s *session) await(seq byte, patience time.Duration) ([]byte, error) {
	buffer := make([]byte, 512)
	for patience > 0 {
		if err := s.ctx.Err(); err != nil {
			return nil, err
		}
		wait := min(tick, patience)
		if err := s.port.SetReadTimeout(wait); err != nil {
			return nil, err
		}
		began := time.Now()
		n, err := s.port.Read(buffer)
		if err != nil {
			return nil, err
		}
		if n == 0 {
			patience -= wait // not the clock's time: that of a test's board passes at once
			continue
		}
		patience -= time.Since(began)
		var body []byte
		if body, s.line = decode(append(s.line, buffer[:n]...), seq); body != nil {
			return body, nil
		}
	}
	// What was taken for a beginning has no end: it was noise, and the answer may be behind it.
	for len(s.line) > 0 {
		var body []byte
		if body, s.line = decode(s.line[1:], seq); body != nil {
			return body, nil
		}
	}
	return nil, errSilent
}
