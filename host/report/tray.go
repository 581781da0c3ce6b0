package report

import (
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	"chipassay/host/verdict"
)

// A Tray is a run of many chips, in the order in which they were tested.
type Tray struct {
	Title  string // what lay in it: "Drawer 3, top left"
	Chips  []Document
	Charts []template.HTML // pictures of the whole run, for the page; may be empty

	EveryChip bool // the page has a report of every chip, also of those that passed
	Numbered  bool // places are the chips' own numbers
}

// PlaceWord is what a place is called.
func (t Tray) PlaceWord() string {
	if t.Numbered {
		return "Number"
	}
	return "Place"
}

// Count says how many chips have a verdict; what is not known to have another is not tested.
func (t Tray) Count(v verdict.Verdict) (n int) {
	for _, d := range t.Chips {
		if d.Verdict.String() == v.String() {
			n++
		}
	}
	return n
}

// Summary counts the verdicts: "12 chips: 7 pass, 1 pass, but …, 4 fail, 1 not tested".
func (t Tray) Summary() string {
	noun := "chips"
	if len(t.Chips) == 1 {
		noun = "chip"
	}
	but := ""
	if n := t.Count(verdict.PassBut); n > 0 {
		but = fmt.Sprintf("%d pass with a but, ", n)
	}
	return fmt.Sprintf("%d %s: %d pass, %s%d fail, %d not tested", len(t.Chips), noun,
		t.Count(verdict.Pass), but, t.Count(verdict.Fail), t.Count(verdict.NotTested))
}

// When is the day of the run, or the first and the last.
func (t Tray) When() string {
	if len(t.Chips) == 0 {
		return ""
	}
	var days []string
	for _, d := range []Document{t.Chips[0], t.Chips[len(t.Chips)-1]} {
		days = append(days, d.Started.Format("2 January 2006"))
	}
	return strings.Join(slices.Compact(days), " to ")
}

// WriteJSON writes the run as one object: title, pass, pass_but, fail and not_tested
// (counts), and chips, an array of documents.
func (t Tray) WriteJSON(w io.Writer) error {
	return WriteJSON(w, struct {
		Title     string     `json:"title"`
		Pass      int        `json:"pass"`
		PassBut   int        `json:"pass_but"`
		Fail      int        `json:"fail"`
		NotTested int        `json:"not_tested"`
		Chips     []Document `json:"chips"`
	}{t.Title, t.Count(verdict.Pass), t.Count(verdict.PassBut), t.Count(verdict.Fail), t.Count(verdict.NotTested), orEmpty(t.Chips)})
}
