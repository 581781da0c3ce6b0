//go:build simavr

package main

import (
	"errors"
	"strconv"
	"strings"

	"chipassay/firmware/avrsim"
	"chipassay/host/adapter"
	"chipassay/host/quantity"
	"chipassay/host/virtual"
)

var errClip = errors.New("clip 100n 26 27, clip 10k 5 6, clip 1u 2: a value, and one or two positions of the side header; one alone is clipped to ground")

// clip clips what a line says to the side header: a capacitor's value ends with p, n or u, F for
// one of farads; any other value is a resistor's.
func clip(bench *avrsim.Bench, line string) error {
	words := strings.Fields(line)
	if len(words) < 2 || len(words) > 3 {
		return errClip
	}
	value, places := words[0], [2]int{}
	for i, word := range words[1:] {
		n, err := strconv.Atoi(word)
		if err != nil || n < 1 || n > adapter.Positions || i == 1 && n == places[0] {
			return errClip
		}
		places[i] = n
	}
	if strings.ContainsAny(value, "pnuµμF") {
		farads, err := quantity.ParseFarads(value)
		if err != nil {
			return err
		}
		bench.Clip(virtual.Capacitor{Farads: farads, P: places[0], Q: places[1]})
		return nil
	}
	ohms, err := quantity.ParseOhms(value)
	if err != nil {
		return err
	}
	bench.ClipResistor(virtual.Resistor{Ohms: ohms, P: places[0], Q: places[1]})
	return nil
}
