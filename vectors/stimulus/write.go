package stimulus

import (
	"bufio"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"strconv"

	"chipassay/vectors/logic"
)

// Drives gives the level at which pin n is driven, and whether it is driven at all.
func (s Step) Drives(n int) (v logic.Value, driven bool) {
	if !s.Driven.Has(n) {
		return logic.Z, false
	}
	return logic.FromBool(s.Drive.Has(n)), true
}

// SHA256 is the hex digest of the steps, by which a report names the vectors
// that it was made with. It is SHA-256 over the steps in order, each as 20
// bytes: the sets Driven, Drive, Compared, High and Z as 32-bit words, least
// significant byte first, bit n-1 standing for pin n. What has no meaning
// counts as 0: Drive outside Driven, Z outside Compared, High outside Compared
// or in Z.
func (q *Sequence) SHA256() string {
	h := sha256.New()
	w := bufio.NewWriter(h)
	var b [20]byte
	for _, s := range q.Steps {
		z := s.Z & s.Compared
		binary.LittleEndian.PutUint32(b[0:], uint32(s.Driven))
		binary.LittleEndian.PutUint32(b[4:], uint32(s.Drive&s.Driven))
		binary.LittleEndian.PutUint32(b[8:], uint32(s.Compared))
		binary.LittleEndian.PutUint32(b[12:], uint32(s.High&s.Compared&^z))
		binary.LittleEndian.PutUint32(b[16:], uint32(z))
		w.Write(b[:]) // a hash never fails
	}
	w.Flush()
	return hex.EncodeToString(h.Sum(nil))
}

// WriteCSV writes a line for each step, numbered from 1, under the header
// step,drive_<pin>,…,expect_<pin>,… with pin numbers ascending in each group.
// Cells are 0 1 x z as in IEEE 1364, empty where a pin is not driven or not
// compared in that step. Lines end with a line feed.
func (q *Sequence) WriteCSV(w io.Writer) error {
	b := bufio.NewWriter(w)
	b.WriteString("step")
	for n := range q.Inputs.All() {
		fmt.Fprintf(b, ",drive_%d", n)
	}
	for n := range q.Outputs.All() {
		fmt.Fprintf(b, ",expect_%d", n)
	}
	b.WriteByte('\n')
	for i, s := range q.Steps {
		b.Write(strconv.AppendInt(b.AvailableBuffer(), int64(i+1), 10))
		for n := range q.Inputs.All() {
			b.WriteByte(',')
			if v, driven := s.Drives(n); driven {
				b.WriteString(v.String())
			}
		}
		for n := range q.Outputs.All() {
			b.WriteByte(',')
			if v, compared := s.Expect(n); compared {
				b.WriteString(v.String())
			}
		}
		b.WriteByte('\n')
	}
	return b.Flush()
}

// WriteJSON writes one object: part, title, families, method,
// definition_sha256, vectors_sha256; pins, an array of number, name and role;
// and steps, an array of step (from 1), drive and expect, which give a level
// ("0", "1", "x" or "z", as in IEEE 1364) by pin number. A pin that is not
// driven or not compared in a step is left out of it. Each step stands on a
// line of its own.
func (q *Sequence) WriteJSON(w io.Writer) error {
	b := bufio.NewWriter(w)
	head, err := json.MarshalIndent(q.heading(), "", "  ")
	if err != nil {
		return err
	}
	b.Write(head[:len(head)-len("\n}")])
	b.WriteString(",\n  \"steps\": [")
	for i, s := range q.Steps {
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(b, "\n    {\"step\": %d, \"drive\": {", i+1)
		separator := ""
		for n := range q.Inputs.All() {
			if v, driven := s.Drives(n); driven {
				fmt.Fprintf(b, `%s"%d": "%s"`, separator, n, v)
				separator = ", "
			}
		}
		b.WriteString("}, \"expect\": {")
		separator = ""
		for n := range q.Outputs.All() {
			if v, compared := s.Expect(n); compared {
				fmt.Fprintf(b, `%s"%d": "%s"`, separator, n, v)
				separator = ", "
			}
		}
		b.WriteString("}}")
	}
	b.WriteString("\n  ]\n}\n")
	return b.Flush()
}

type jsonHeading struct {
	Part             string    `json:"part"`
	Title            string    `json:"title"`
	Families         []string  `json:"families"`
	Method           string    `json:"method"`
	DefinitionSHA256 string    `json:"definition_sha256"`
	VectorsSHA256    string    `json:"vectors_sha256"`
	Pins             []jsonPin `json:"pins"`
}

type jsonPin struct {
	Number int    `json:"number"`
	Name   string `json:"name"`
	Role   string `json:"role"`
}

func (q *Sequence) heading() jsonHeading {
	v := q.Variant
	h := jsonHeading{
		Part: v.Part.Number, Title: v.Part.Title, Method: q.Method, Families: []string{}, Pins: []jsonPin{},
		DefinitionSHA256: v.Part.SHA256, VectorsSHA256: q.SHA256(),
	}
	for _, f := range v.Families {
		h.Families = append(h.Families, f.Name)
	}
	for _, p := range v.Pins {
		h.Pins = append(h.Pins, jsonPin{p.Number, p.Name, p.Role.String()})
	}
	return h
}
