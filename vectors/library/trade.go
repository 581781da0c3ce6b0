package library

import (
	"strings"

	"chipassay/vectors/part"
)

// tradeWords are what people at a bench call what data books title otherwise; each
// stands for all the words behind it. Phrases of two words are written as one here.
//
// Source: common practice.
var tradeWords = map[string]string{
	"mux":      "multiplexer",
	"demux":    "demultiplexer",
	"xor":      "exclusive-or",
	"exor":     "exclusive-or",
	"xnor":     "exclusive-nor",
	"alu":      "arithmetic logic unit",
	"7segment": "seven-segment",
	"oneshot":  "monostable",
	"mono":     "monostable",
	"dram":     "dynamic ram",
	"sram":     "static ram",
	"tristate": "three-state",
	"3state":   "three-state",
	"oc":       "open-collector",
	"ff":       "flip-flop",
	"schmitt":  "schmitt-trigger",
	"inv":      "inverter",
	"buf":      "buffer",
	"aoi":      "and-or-invert",
	"counters": "counter",
	"gates":    "gate",
	"latches":  "latch",
}

// phrases are words that belong together in a query, as tradeWords and titles have them.
var phrases = strings.NewReplacer("one shot", "oneshot", "one-shot", "oneshot", "7 segment", "7segment", "7-segment", "7segment",
	"seven segment", "seven-segment", "tri state", "tristate", "tri-state", "tristate", "three state", "three-state", "3 state", "3state", "3-state", "3state",
	"flip flop", "flip-flop", "open collector", "open-collector")

// technologies are families by what they are made of.
var technologies = map[string]func(part.Technology) bool{
	"ttl":  func(t part.Technology) bool { return t == part.TTL || t == part.TTLDiode },
	"dtl":  func(t part.Technology) bool { return t == part.DTL },
	"cmos": func(t part.Technology) bool { return t == part.CMOS || t == part.CMOSTTL },
	"nmos": func(t part.Technology) bool { return t == part.NMOS },
}

// matchesTrade matches a word by the trade's names for things, and by technology.
func matchesTrade(p *part.Part, word string) bool {
	if made := technologies[word]; made != nil {
		for _, f := range p.Families() {
			if made(f.Technology) {
				return true
			}
		}
	}
	long, ok := tradeWords[word]
	if !ok {
		return false
	}
	for w := range strings.FieldsSeq(long) {
		if !matchesWord(p, w) {
			return false
		}
	}
	return true
}

// unhyphenated is how JK and J-K are the same.
func unhyphenated(text string) string { return strings.ReplaceAll(strings.ToLower(text), "-", "") }
