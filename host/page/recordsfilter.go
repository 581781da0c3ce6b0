package page

import (
	"strings"

	"chipassay/host/record"
	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

// A filterForm is the form by which a person chooses chips.
type filterForm struct {
	Filter  record.Filter
	Wrong   map[string]string // by field
	Path    string            // of the page
	Drawers []string          // to choose from
	Benches []string          // likewise; none where there is one
	More    []field           // besides those of a filter
	Chips   bool              // it chooses chips whatever came of them
}

// A field is one of a form.
type field struct {
	Name, Label, Value, Wrong string

	Hint    string   // in the empty field
	Options []option // of a choice; nil where it is typed
	Reading string   // a reading of it is shown as it is typed: "part", "date"
	Number  bool
}

// An option is one of a choice.
type option struct {
	Value, Words string
	Chosen       bool
}

// options are those of a choice, with one for none before.
func options(none, chosen string, words ...string) []option {
	list := []option{{"", none, chosen == ""}}
	there := chosen == ""
	for _, w := range words {
		list = append(list, option{w, strings.ReplaceAll(w, "-", " "), w == chosen})
		there = there || w == chosen
	}
	if !there {
		list = append(list, option{chosen, chosen, true})
	}
	return list
}

// Search is the field that stands alone.
func (f filterForm) Search() field {
	return field{Name: "text", Label: "Search in marking, reason, note and operator", Value: f.Filter.Text, Wrong: f.Wrong["text"]}
}

// Fields are the others.
func (f filterForm) Fields() []field {
	var families, verdicts, grades []string
	for _, family := range part.Families {
		families = append(families, family.Name)
	}
	for _, v := range verdict.All {
		verdicts = append(verdicts, string(v))
	}
	for _, g := range verdict.Grades {
		if g != verdict.None {
			grades = append(grades, string(g))
		}
	}
	drawer := field{Name: "drawer", Label: "Drawer", Value: f.Filter.Drawer}
	if len(f.Drawers) > 0 {
		drawer.Options = options("any", f.Filter.Drawer, f.Drawers...)
		for i := range drawer.Options[1:] {
			drawer.Options[i+1].Words = drawer.Options[i+1].Value // as it is written on the drawer
		}
	}
	list := append([]field{}, f.More...)
	if len(f.Benches) > 0 || f.Filter.Bench != "" {
		list = append(list, field{Name: "bench", Label: "Bench", Value: f.Filter.Bench, Options: options("all", f.Filter.Bench, f.Benches...)})
	}
	list = append(list,
		field{Name: "part", Label: "Part", Value: f.Filter.Part, Hint: "7400 or 74LS00"},
		field{Name: "family", Label: "Family", Value: f.Filter.Family, Options: options("any", f.Filter.Family, families...)},
		drawer,
		field{Name: "lot", Label: "Lot", Value: f.Filter.Lot},
	)
	if !f.Chips {
		list = append(list,
			field{Name: "verdict", Label: "Verdict", Value: f.Filter.Verdict, Options: options("any", f.Filter.Verdict, verdicts...)},
			field{Name: "grade", Label: "Grade", Value: f.Filter.Grade, Options: options("any", f.Filter.Grade, grades...)},
		)
	}
	list = append(list,
		field{Name: "from", Label: "Date code from", Value: f.Filter.From, Hint: "1979, 7938"},
		field{Name: "to", Label: "up to", Value: f.Filter.To, Hint: "1981, 8126"},
	)
	for i := range list {
		if list[i].Wrong == "" {
			list[i].Wrong = f.Wrong[list[i].Name]
		}
	}
	return list
}

// Open reports whether the fields are to be seen at once.
func (f filterForm) Open() bool { return len(f.Wrong) > 0 }

// Chosen says which chips the fields choose, where they are not to be seen; empty for all.
func (f filterForm) Chosen() string {
	if f.Open() {
		return ""
	}
	f.Filter.Text = ""
	return f.Filter.Words()
}

// Other is what is wrong with no single field.
func (f filterForm) Other() string { return f.Wrong[""] }

// Set reports whether anything is asked for.
func (f filterForm) Set() bool { return f.Filter != (record.Filter{}) }
