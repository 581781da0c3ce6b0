package memory

import (
	"fmt"
	"time"

	"chipassay/host/adapter"
)

// fewCells is how many failing words are looked at again one by one.
const fewCells = 16

// forgetTime is how long such a word is left alone.
const forgetTime = 50 * time.Millisecond

// forgetting looks again at a few failing words, alone: a march test that takes
// long distinguishes a cell that forgets from one that is stuck or disturbed only by chance.
func (w *Run) forgetting() error {
	words := w.failing()
	if len(words) == 0 || len(words) > fewCells {
		return nil
	}
	if err := w.socket.Pulls(w.ctx, adapter.High, adapter.Off); err != nil {
		return err
	}
	var said []string
	for _, address := range words {
		atOnce, err := w.keeps(address, 0)
		if err != nil {
			return err
		}
		later, err := w.keeps(address, forgetTime)
		if err != nil {
			return err
		}
		if !atOnce || later {
			return nil // a cell is stuck, or others are needed to disturb it
		}
		said = append(said, fmt.Sprintf("the word at address 0x%03X forgets: right at once, wrong %v after it was written", address, forgetTime))
	}
	w.Found.forgetful = said
	return nil
}

// failing are the words at which reads failed, in the order in which they did.
func (w *Run) failing() (words []int) {
	seen := map[int]bool{}
	for _, f := range w.Found.Failures {
		if !seen[f.Address] {
			seen[f.Address] = true
			words = append(words, f.Address)
		}
		if len(words) > fewCells {
			break
		}
	}
	return words
}

// keeps reports whether a word reads as it was written, both ways, after a time.
func (w *Run) keeps(address int, after time.Duration) (bool, error) {
	c := w.program(w.counting())
	for _, word := range []uint32{0, 1<<w.m.Bits - 1} {
		if after > 0 {
			c.at(address, c.write(word))
			c.Wait(after, true)
			c.at(address, c.expect(word))
		} else {
			c.at(address, c.write(word), c.expect(word))
		}
	}
	errors, err := w.errors(c)
	return errors == 0, err
}
