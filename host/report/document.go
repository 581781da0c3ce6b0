// Package report holds the document of an assay, what the test found and what it did
// not cover, and its renderings: terminal text, JSON, and a self-contained HTML page
// for A4. The renderings need nothing but the document; records store it.
package report

import (
	"encoding/json"
	"fmt"
	"io"
	"time"

	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/assay/levels"
	"chipassay/host/marking"
	"chipassay/host/verdict"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// Version is that of the documents written here. Version 1, which had no field for it,
// knew no pins, supply pins or bitmap; ReadDocument reads both. Version 2 was written
// without the trouble at first.
const Version = 2

// A Document is what there is to say about one chip and its test. Levels are those of
// IEEE 1364 (0 1 x z), dates those of ISO 8601, steps are numbered from 1 as in the
// files of vectors.
type Document struct {
	Version           int                 `json:"version"`
	Typed             string              `json:"typed"`  // as the person typed it
	Part              string              `json:"part"`   // of the plain series: "7410"
	Type              string              `json:"type"`   // in its family: "74LS10"
	Family            string              `json:"family"` // "74LS"
	FamilyTitle       string              `json:"family_title"`
	Title             string              `json:"title"`
	Variant           string              `json:"variant,omitempty"` // what sets it apart from the part in other families
	Pins              []Pin               `json:"pins"`              // all, in order; empty in version 1
	VCC               int                 `json:"vcc"`               // pin; 0 where not known
	GND               int                 `json:"gnd"`
	Identified        string              `json:"identified,omitempty"` // by what the part was found, where nobody named it
	Place             string              `json:"place,omitempty"`
	DateCode          *marking.DateCode   `json:"date_code"` // null where none was given
	Note              string              `json:"note,omitempty"`
	Verdict           verdict.Verdict     `json:"verdict"`
	Reason            string              `json:"reason"`
	But               []string            `json:"but"`               // what is wrong with a chip whose every vector was right
	Trouble           assay.Trouble       `json:"trouble,omitempty"` // what kept the chip from being tested
	OtherPart         []string            `json:"other_part"`        // numbers of what it may be, as parts --json has them; empty where it is what was typed
	Cause             string              `json:"cause,omitempty"`   // the likeliest, one sentence
	Findings          []string            `json:"findings"`
	VectorsPlanned    int                 `json:"vectors_planned"` // of one round
	VectorsApplied    int                 `json:"vectors_applied"` // in the last round
	Rounds            int                 `json:"rounds,omitempty"`
	Runs              int                 `json:"runs,omitempty"`
	RunsFailed        int                 `json:"runs_failed,omitempty"`
	PinsFailed        []int               `json:"pins_failed"`
	Partial           []int               `json:"partial"`        // pins of a chip that passed which were not tested
	Tied              []string            `json:"tied,omitempty"` // inputs held at a level, "1D=L", of a chip that was tested for that use only
	Coverage          *Coverage           `json:"coverage,omitempty"`
	Gates             []Gate              `json:"gates"`
	FailureCount      int                 `json:"failure_count"`
	Failures          []Failure           `json:"failures"`             // the first 20
	Late              []LateOutput        `json:"late,omitempty"`       // outputs that follow late, as they were timed
	Thresholds        []Threshold         `json:"thresholds,omitempty"` // of inputs, where they were measured
	Grade             verdict.Grade       `json:"grade,omitempty"`
	GradeReasons      []string            `json:"grade_reasons,omitempty"`
	GradeCriteria     []verdict.Criterion `json:"grade_criteria"` // of every grade, best first
	TesterUncertainty string              `json:"tester_uncertainty"`
	Levels            []Level             `json:"levels"` // empty where none were measured
	LevelsUnmeasured  []string            `json:"levels_unmeasured"`
	Timing            []Timing            `json:"timing,omitempty"`       // what a capacitor times, by section
	FamilyCheck       string              `json:"family_check,omitempty"` // what the inputs say against the marking
	Margins           []levels.Margin     `json:"margins"`                // inputs that the adapter may not drive to a valid low
	NotTested         []string            `json:"not_tested"`
	Cautions          []string            `json:"cautions"`
	Comparison        string              `json:"comparison"`       // every readback, or by signatures
	Memory            *Memory             `json:"memory,omitempty"` // of a march test, or of writing an EEPROM
	Method            string              `json:"method"`
	SupplyCurrentMA   *float64            `json:"supply_current_ma"` // null where not measured
	SupplyVolts       *float64            `json:"supply_volts"`      // V between the chip's supply pins; null where not measured
	Contact           []contact.Volts     `json:"contact"`           // voltages before power, as they were measured
	Definition        string              `json:"definition"`
	DefinitionSHA256  string              `json:"definition_sha256"`
	VectorsSHA256     string              `json:"vectors_sha256"`
	Adapter           string              `json:"adapter"`
	Firmware          string              `json:"firmware"`
	Started           time.Time           `json:"started"`
	DurationMS        float64             `json:"duration_ms"` // ms
	Caveat            string              `json:"caveat"`

	Photo *Photo `json:"-"` // nil for none; of the records, which keep it beside the document
}

// A Pin is a pin of the package.
type Pin struct {
	Number  int    `json:"number"`
	Name    string `json:"name"`
	Role    string `json:"role"` // input, output, supply …
	LeftOut string `json:"left_out,omitempty"`
}

// A Gate is a named gate of the chip and what the test says of it.
type Gate struct {
	Name  string `json:"name"`
	Pins  []int  `json:"pins"`
	State string `json:"state"` // one of gateStates
}

// A Level is one reading, V or mA by its unit. The supply current is that
// of the supply pin.
type Level struct {
	Pin         int      `json:"pin"`
	Name        string   `json:"name"`
	Quantity    string   `json:"quantity"` // VOL VOH IOZ IIL IIH open ICC
	Value       float64  `json:"value"`
	Unit        string   `json:"unit"`        // V, mA
	Uncertainty float64  `json:"uncertainty"` // the tester's own, either way
	Limit       *float64 `json:"limit"`       // null where the data sheet gives none
	Bound       string   `json:"bound"`       // of the limit: max, min
	LoadMA      *float64 `json:"load_ma"`     // null but for an output level
	RatedMA     *float64 `json:"rated_ma"`    // at which the limit holds
	Standing    string   `json:"standing"`
}

// A LateOutput is an output that follows its inputs late.
type LateOutput struct {
	Pin           int     `json:"pin"`
	Name          string  `json:"name"`
	Transition    string  `json:"transition"`     // rise, fall
	DelayUS       float64 `json:"delay_us"`       // µs
	UncertaintyUS float64 `json:"uncertainty_us"` // µs, either way
}

// A Memory is what a march test found, or the writing of a whole EEPROM. Addresses count from 0; element is that
// of the test's run, from 0.
type Memory struct {
	Test         string          `json:"test"`
	Words        int             `json:"words"`
	Bits         int             `json:"bits"`
	Runs         []string        `json:"runs"`
	FailureCount int             `json:"failure_count"`    // of reads
	Failures     []march.Failure `json:"failures"`         // the first mostCellFailures
	Bitmap       *Bitmap         `json:"bitmap,omitempty"` // where no read was wrong there is none
}

// A Failure is one wrong value at one pin; the values are those of IEEE 1364.
type Failure struct {
	Pin      int    `json:"pin"`
	Name     string `json:"name"`
	Step     int    `json:"step"`
	Inputs   string `json:"inputs"`
	Expected string `json:"expected"`
	Observed string `json:"observed"`
}

// ReadDocument reads what Document.WriteJSON wrote, of this version or an earlier one.
// Fields of a later version are passed over.
func ReadDocument(object []byte) (d Document, err error) {
	if err := json.Unmarshal(object, &d); err != nil {
		return Document{}, fmt.Errorf("report of a chip: %w", err)
	}
	if d.Version < 2 {
		if f := part.FamilyByName(d.Family); f != nil {
			d.FamilyTitle = f.Title
		}
		d.Version = Version
	}
	return d, nil
}

// WriteJSON writes the document as one object.
func (d Document) WriteJSON(w io.Writer) error { return WriteJSON(w, d) }

// WriteJSON writes an object for other programs, and to be kept.
func WriteJSON(w io.Writer, object any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(object)
}
