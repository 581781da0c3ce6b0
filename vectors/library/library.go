// Package library holds the part definitions, one file for each function, embedded in
// the binary. It finds them by the number a person types, and parses a file only when
// one of its parts is needed.
package library

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"regexp"
	"slices"
	"strings"
	"sync"

	"chipassay/vectors/part"
)

//go:embed *.part
var builtin embed.FS

// A Library is folders of definitions; a part in an earlier one overrides the same
// number in a later one. The built-in definitions are the last.
type Library struct {
	folders []folder
}

type folder struct {
	name string // empty for the built-in one
	fs   fs.FS
}

// Builtin is the library of the binary alone.
func Builtin() *Library {
	return &Library{[]folder{{"", builtin}}}
}

// With puts folders of the user's definitions before the built-in ones.
func With(dirs ...string) (*Library, error) {
	l := &Library{}
	for _, dir := range dirs {
		if s, err := os.Stat(dir); err != nil || !s.IsDir() {
			return nil, fmt.Errorf("the definition folder %s cannot be read: %w", dir, notFolder(err))
		}
		l.folders = append(l.folders, folder{dir, os.DirFS(dir)})
	}
	l.folders = append(l.folders, Builtin().folders...)
	return l, nil
}

func notFolder(err error) error {
	if err == nil {
		return fmt.Errorf("it is no folder")
	}
	return err
}

// Open finds a type in the built-in library by what a person types.
func Open(typed string) (part.Type, error) { return Builtin().Open(typed) }

// All parses the whole built-in library and gives its logic.
func All() ([]*part.Part, error) { return Builtin().All() }

// Memories parses the whole built-in library and gives its memories.
func Memories() ([]*part.Part, error) { return Builtin().Memories() }

// An UnknownPartError says that no definition has the number.
type UnknownPartError struct {
	Typed string
	Near  []string // numbers that look like it
	Known *Missing // what is known of it; nil for nothing
}

func (e *UnknownPartError) Error() string {
	if e.Known != nil {
		return "not in this library: " + e.Known.Error()
	}
	if len(e.Near) > 0 {
		return fmt.Sprintf("there is no part %s in the library; near it are %s", e.Typed, strings.Join(e.Near, " "))
	}
	return fmt.Sprintf("there is no part %s in the library: chipassay parts lists them", e.Typed)
}

// A FamilyError says that the family must be given, or does not exist for the part.
type FamilyError struct {
	Part *part.Part
	Want string // the family asked for, or empty where none was given
	Why  string // why it is not there, where that is known
}

func (e *FamilyError) Error() string {
	var forms []string
	for _, v := range e.Part.Variants {
		for _, f := range v.Families {
			form := f.TypeName(e.Part.Number)
			if v.Note != "" {
				form += " (" + v.Note + ")"
			}
			forms = append(forms, form)
		}
	}
	if e.Want != "" {
		wanted := e.Want + strings.TrimPrefix(e.Part.Number, "74")
		if f := part.FamilyByName(e.Want); f != nil {
			wanted = f.TypeName(e.Part.Number)
		}
		if e.Why != "" {
			wanted += " (" + e.Why + ")"
		}
		return fmt.Sprintf("%s is not in this library, which has %s", wanted, strings.Join(forms, ", "))
	}
	return fmt.Sprintf("part %s is not the same chip in every family: say which it is: %s", e.Part.Number, strings.Join(forms, ", "))
}

// shorthand is how people at a bench speak of the 7400 series: LS51, HC00, 51.
var shorthand = regexp.MustCompile(`^([A-Z]{0,3})([0-9]{2,3})$`)

// Spell writes a shorthand out: LS51 is 74LS51, and 51 is the 7451 of whatever family.
func Spell(typed string) string {
	m := shorthand.FindStringSubmatch(strings.ToUpper(strings.TrimSpace(typed)))
	switch {
	case m == nil:
		return typed
	case m[1] == "":
		return "74X" + m[2]
	}
	return "74" + m[1] + m[2]
}

// Open finds a type by its number: 7410, 74LS51, 54LS51, 4011B, 74HC4075,
// 2114, 27C64, by a house number such as 9316, or for short LS51 and 51. Where the number names no family, the part's first family is
// taken if all families have the same pins and function, and a *FamilyError asks
// for it if not.
func (l *Library) Open(typed string) (part.Type, error) {
	spelt := strings.ToUpper(strings.TrimSpace(typed))
	number, family, ok := part.SplitTypeName(Spell(typed))
	if !ok {
		number = spelt
	}
	for _, name := range []string{number, spelt} { // 930 is a part of its own, and no 74930
		p, err := l.Find(name)
		switch alias, other := AliasOf(name); {
		case err != nil:
			return part.Type{}, err
		case p != nil && name == number:
			return Choose(p, family)
		case p != nil:
			return Choose(p, nil)
		case other:
			return l.Open(alias.Of)
		}
	}
	known := MissingPart(number)
	if known == nil {
		known = MissingPart(spelt)
	}
	return part.Type{}, &UnknownPartError{Typed: typed, Near: l.near(number), Known: known}
}

// Choose gives the type of a part in a family; a nil family means that none was
// given. A plain number whose part was never made in the plain family counts as none, and so
// does the letter of a memory's revision, which looks like that of a 4000 family: 4164A.
func Choose(p *part.Part, family *part.Family) (part.Type, error) {
	if family != nil && family.Series4000() && p.Memory() {
		family = nil
	}
	if family != nil {
		if v := p.In(family); v != nil {
			return part.Type{Variant: v, Family: family}, nil
		}
		if family.Name != "74" {
			e := &FamilyError{Part: p, Want: family.Name}
			if m := MissingPart(family.TypeName(p.Number)); m != nil {
				e.Why = m.Reason
			}
			return part.Type{}, e
		}
	}
	if len(p.Variants) > 1 {
		return part.Type{}, &FamilyError{Part: p}
	}
	return part.Type{Variant: p.Variants[0], Family: p.Variants[0].Families[0]}, nil
}

// Find parses the definition of a number of the plain series; nil where there is none.
func (l *Library) Find(number string) (*part.Part, error) {
	for _, f := range l.folders {
		index, err := f.index()
		if err != nil {
			return nil, err
		}
		name, ok := index[number]
		if !ok {
			continue
		}
		parts, err := f.parse(name)
		if err != nil {
			return nil, err
		}
		for _, p := range parts {
			if p.Number == number {
				return p, nil
			}
		}
	}
	return nil, nil
}

// Has reports whether a number of the plain series is defined.
func (l *Library) Has(number string) bool {
	return slices.ContainsFunc(l.folders, func(f folder) bool {
		index, _ := f.index()
		return index[number] != ""
	})
}

// parse gives the parts of a file. Those of the binary are parsed once; nobody changes a part.
func (f folder) parse(name string) ([]*part.Part, error) {
	if f.name != "" {
		return f.read(name)
	}
	once, _ := builtinParts.LoadOrStore(name, sync.OnceValues(func() ([]*part.Part, error) { return f.read(name) }))
	return once.(func() ([]*part.Part, error))()
}

var builtinParts sync.Map // of each file, what gives its parts

func (f folder) read(name string) ([]*part.Part, error) {
	text, err := fs.ReadFile(f.fs, name)
	if err != nil {
		return nil, err
	}
	return part.Parse(path.Join(f.name, name), string(text))
}

// Numbers are those of all parts, in order; no definition is parsed for them.
func (l *Library) Numbers() ([]string, error) {
	var all []string
	for _, f := range l.folders {
		index, err := f.index()
		if err != nil {
			return nil, err
		}
		for number := range index {
			all = append(all, number)
		}
	}
	slices.SortFunc(all, compareNumbers)
	return slices.Compact(all), nil
}

// index gives the file of every number that is defined in the folder.
func (f folder) index() (map[string]string, error) {
	if f.name == "" {
		return builtinIndex()
	}
	return indexOf(f)
}

var builtinIndex = sync.OnceValues(func() (map[string]string, error) { return indexOf(folder{"", builtin}) })

func indexOf(f folder) (map[string]string, error) {
	files := map[string]string{}
	names, err := f.files()
	for _, name := range names {
		text, readErr := fs.ReadFile(f.fs, name)
		err = errors.Join(err, readErr)
		for line := range bytes.Lines(text) {
			if rest, ok := bytes.CutPrefix(line, []byte("part ")); ok {
				number, _, _ := bytes.Cut(rest, []byte(" "))
				files[string(number)] = name
			}
		}
	}
	return files, err
}

// All gives those of Parts that are logic.
func (l *Library) All() ([]*part.Part, error) {
	all, err := l.Parts()
	return slices.DeleteFunc(all, (*part.Part).Memory), err
}

// Memories gives those of Parts that are memories.
func (l *Library) Memories() ([]*part.Part, error) {
	all, err := l.Parts()
	return slices.DeleteFunc(all, func(p *part.Part) bool { return !p.Memory() }), err
}

// Parts parses every definition, of logic and of memories, and gives them in the
// order of the numbers; a part that stands in several folders is taken from the first.
func (l *Library) Parts() ([]*part.Part, error) {
	var all []*part.Part
	seen := map[string]string{}
	for _, f := range l.folders {
		parts, err := f.parts()
		if err != nil {
			return nil, err
		}
		own := map[string]string{}
		for _, p := range parts {
			if other, ok := own[p.Number]; ok {
				return nil, fmt.Errorf("part %s is defined in %s and in %s", p.Number, other, p.File)
			}
			own[p.Number] = p.File
			if _, ok := seen[p.Number]; !ok {
				all = append(all, p)
			}
		}
		for number, file := range own {
			seen[number] = file
		}
	}
	slices.SortFunc(all, func(a, b *part.Part) int { return compareNumbers(a.Number, b.Number) })
	return all, nil
}

// compareNumbers orders by the series first: 7400 before 74107, 4000 before 7400.
func compareNumbers(a, b string) int {
	series := func(n string) (string, string) {
		if len(n) > 2 && n[:2] == "74" {
			return "74", n[2:]
		}
		return n[:1], n
	}
	sa, ra := series(a)
	sb, rb := series(b)
	if c := strings.Compare(sa, sb); c != 0 {
		return c
	}
	if len(ra) != len(rb) {
		return len(ra) - len(rb)
	}
	return strings.Compare(ra, rb)
}

// parts parses the folder's files, side by side: a person waits for it.
func (f folder) parts() ([]*part.Part, error) {
	names, err := f.files()
	if err != nil {
		return nil, err
	}
	parsed, errs := make([][]*part.Part, len(names)), make([]error, len(names))
	var files sync.WaitGroup
	for i, name := range names {
		files.Go(func() {
			parsed[i], errs[i] = f.parse(name)
		})
	}
	files.Wait()
	if i := slices.IndexFunc(errs, func(err error) bool { return err != nil }); i >= 0 {
		return nil, errs[i]
	}
	return slices.Concat(parsed...), nil
}

func (f folder) files() ([]string, error) {
	return fs.Glob(f.fs, "*.part")
}

// near lists up to six numbers that differ from the one asked for in one character.
func (l *Library) near(number string) []string {
	var near []string
	for _, f := range l.folders {
		index, _ := f.index()
		for n := range index {
			if differByOne(n, number) && !slices.Contains(near, n) {
				near = append(near, n)
			}
		}
	}
	slices.SortFunc(near, compareNumbers)
	return near[:min(len(near), 6)]
}

func differByOne(a, b string) bool {
	if len(a) != len(b) {
		return false
	}
	different := 0
	for i := range len(a) {
		if a[i] != b[i] {
			different++
		}
	}
	return different == 1
}
