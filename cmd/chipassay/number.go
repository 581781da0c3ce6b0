package main

import (
	"strconv"

	"chipassay/host/record"
)

// A numberFlag is the number on a bag: 17, or A17 of one of several benches.
type numberFlag struct {
	letter string
	number int64
}

func (n *numberFlag) Set(typed string) (err error) {
	letter, number := record.SplitNumber(typed)
	if number == "" {
		letter, number = "", typed
	}
	n.letter = letter
	n.number, err = strconv.ParseInt(number, 0, 64)
	return err
}

func (n *numberFlag) String() string {
	if n.number == 0 {
		return ""
	}
	return n.letter + strconv.FormatInt(n.number, 10)
}

func (n *numberFlag) Type() string { return "int" }
