package page

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"

	"chipassay/firmware/carrier"
	"chipassay/host/bench"
	"chipassay/host/calibration"
	"chipassay/host/report"
	"chipassay/host/selfcheck"
)

// adapterActions are those of the adapter's check and calibration.
var adapterActions = map[string]action{
	"measure":   func(s *Server, _ url.Values) error { return s.Bench.Measure() },
	"check":     func(s *Server, f url.Values) error { return s.Bench.Check(f.Get("building")) },
	"calibrate": calibrate,
	"forget":    func(s *Server, _ url.Values) error { return s.Bench.Forget() },
}

// calibrate calibrates with the resistor that a form names.
func calibrate(s *Server, f url.Values) (err error) {
	var o bench.CalibrationOrder
	if o.Ohms, err = strconv.ParseFloat(strings.TrimSpace(f.Get("ohms")), 64); err != nil {
		return errors.New("give the resistor in Ω, as your meter shows it")
	}
	if volts := strings.TrimSpace(f.Get("volts")); volts != "" {
		if o.SupplyVolts, err = strconv.ParseFloat(volts, 64); err != nil || o.SupplyVolts <= 0 {
			return errors.New("give the 5 V supply in V, as your meter shows it, or leave it empty")
		}
	}
	for _, at := range []struct {
		name string
		into *int
	}{{"p", &o.P}, {"q", &o.Q}} {
		if *at.into, err = strconv.Atoi(strings.TrimSpace(f.Get(at.name))); err != nil {
			return errors.New("give the two socket positions where the resistor is, such as 28 and 8")
		}
	}
	return s.Bench.Calibrate(o)
}

// A carrierGroup is one of the carrier's, as a person knows it.
type carrierGroup struct {
	Name, What string
	Fitted     bool
}

// groupParts say what is in each group.
var groupParts = map[carrier.Group]string{
	carrier.Starter: "the near half, for chips of up to 16 pins", carrier.Load: "load resistors",
	carrier.FarHalf: "positions 9 to 20", carrier.Switches: "supplies at other positions than the corners",
	carrier.Converters: "voltages of the far half, and the reference",
}

// CarrierGroups are those of the carrier in the order in which they are soldered in.
func (v view) CarrierGroups() (groups []carrierGroup) {
	for _, g := range carrier.AllGroups() {
		groups = append(groups, carrierGroup{g.String(), groupParts[g], slices.Contains(v.State.Adapter.Groups, g.String())})
	}
	return groups
}

// Missing are classes that show the groups that are not fitted.
func (v view) Missing() string {
	var classes []string
	for _, g := range v.CarrierGroups() {
		if !g.Fitted {
			classes = append(classes, "no-"+g.Name)
		}
	}
	return strings.Join(classes, " ")
}

// CarrierParts is the drawing that the pictures of the carrier refer to.
func (v view) CarrierParts() template.HTML { return carrierParts() }

// CarrierBox is the view box of the whole carrier, mm.
func (v view) CarrierBox() string {
	size := printed().Size
	return fmt.Sprintf("-1 -1 %s %s", inMM(size.X+2000), inMM(size.Y+2000))
}

// Marks are the faults of the last check on the drawing.
func (v view) Marks() []faultMark {
	if v.Check == nil || v.Check.Report == nil {
		return nil
	}
	marks := marksOf(v.Check.Report)
	for i := range marks {
		marks[i].Missing = v.Missing()
	}
	return marks
}

// A standing is how an adapter stands in large letters.
type standing struct{ Class, Word, Sentence string }

// Standing is how the adapter stands: what it does now, else what was found last.
func (v view) Standing() standing {
	a, c := v.State.Adapter, v.Check
	switch {
	case a.Lost:
		return standing{"fail", "NO ANSWER", "The adapter does not answer. Check its cable, then look for it again."}
	case v.Work == bench.Checking:
		return standing{"", "CHECKING", "Leave the socket empty."}
	case v.Work == bench.Calibrating:
		return standing{"", "CALIBRATING", "Leave the resistor in the socket."}
	case c != nil && c.Why != "":
		return standing{"not-tested", "NOT CHECKED", report.Sentence(c.Why)}
	case c != nil && c.Report != nil:
		if n := len(c.Report.Faults()); n > 0 {
			return standing{"fail", faultCount(n), "Unplug the adapter before you repair it, then check again."}
		}
		return standing{"pass", "NO FAULT FOUND", "What an empty socket does not show is listed below."}
	case a.Virtual:
		return standing{"not-tested", "PRACTICE", "No adapter is connected: the virtual one takes its place. It was not checked yet."}
	}
	return standing{"not-tested", "CONNECTED", "It was not checked yet."}
}

// onPage makes words that name commands name what this page has instead.
var onPage = strings.NewReplacer("with --building ", "as built up to ", " with chipassay adapter calibrate", " the adapter",
	"press it while chipassay adapter info runs", "press it, and measure the supply")

// OnPage is a line of a check, as this page says it.
func (view) OnPage(line string) string { return report.Sentence(onPage.Replace(line)) }

func faultCount(n int) string {
	if n == 1 {
		return "1 FAULT"
	}
	return fmt.Sprintf("%d FAULTS", n)
}

// Referenced reports whether the adapter measures its own supply.
func (v view) Referenced() bool { return slices.Contains(v.State.Adapter.Groups, "converters") }

// CalibrationWords say where the adapter's constants come from.
func (v view) CalibrationWords() string {
	if v.Reading == nil || v.Reading.Constants == nil {
		return ""
	}
	k := v.Reading.Constants
	return calibration.StateWords(k.State)
}

// Resistance is the resistor that was named last, Ω; empty for none.
func (v view) Resistance() string {
	if v.Calibration == nil || v.Calibration.Order.Ohms == 0 {
		return ""
	}
	return strconv.FormatFloat(v.Calibration.Order.Ohms, 'f', -1, 64)
}

// unseenDefects are defects that the check does not find, and the reading that shows them.
type unseenDefects struct {
	Meter string
	What  []string
}

// unseen lists what the check cannot find, each with the reading that shows it. It takes
// a second to find.
var unseen = sync.OnceValue(func() (list []unseenDefects) {
	at := map[string]int{}
	for _, h := range selfcheck.Unseen() {
		i, ok := at[h.Meter]
		if !ok {
			i = len(list)
			at[h.Meter] = i
			list = append(list, unseenDefects{Meter: h.Meter})
		}
		list[i].What = append(list[i].What, h.What)
	}
	slices.SortStableFunc(list, func(a, b unseenDefects) int { return cmp.Compare(len(b.What), len(a.What)) })
	return list
})

// adapterPages answers with what the adapter's page loads when it is opened there.
func (s *Server) adapterPages(mux *http.ServeMux) {
	mux.HandleFunc("GET /adapter/unseen", func(w http.ResponseWriter, _ *http.Request) {
		var b bytes.Buffer
		if err := report.Execute(&b, templates, "adapter-unseen", unseen()); err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Write(b.Bytes())
	})
}
