package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"chipassay/host/marking"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// definitions are where parts are looked up: the folders named by --library,
// then the person's own folder, then the built-in library.
type definitions struct {
	folders []string
	ask     io.Reader // where a person answers; nil where there is none
	say     io.Writer
}

// open gives the library of all these folders.
func (d *definitions) open() (*library.Library, error) {
	folders := d.folders
	if own, err := ownFolder(); err == nil {
		if s, err := os.Stat(own); err == nil && s.IsDir() {
			folders = append(folders[:len(folders):len(folders)], own)
		}
	}
	return library.With(folders...)
}

// ownFolder is the folder for a person's own definitions.
func ownFolder() (string, error) {
	config, err := os.UserConfigDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(config, "chipassay", "parts"), nil
}

// resolve finds a type by what was typed, and reports whether that names its family.
func (d *definitions) resolve(typed string) (typ part.Type, named bool, err error) {
	lib, err := d.open()
	if err != nil {
		return typ, false, err
	}
	return marking.Resolve(typed, lib)
}

// typeOf finds a type by what was typed, which may be all that is marked on the chip,
// and the family from a flag where that names none. Where nothing names the family,
// a person is asked; else the oldest is taken, and that is said.
func (d *definitions) typeOf(typed, family string) (part.Type, error) {
	lib, err := d.open()
	if err != nil {
		return part.Type{}, err
	}
	if family == "" {
		typ, named, err := marking.Resolve(typed, lib)
		if err != nil || named {
			return typ, err
		}
		return d.familyOf(typ)
	}
	f := part.FamilyByName(family)
	if f == nil {
		return part.Type{}, fmt.Errorf("there is no family %q: chipassay show %s lists those of the part", family, typed)
	}
	number, own, ok := part.SplitTypeName(library.Spell(typed))
	if ok && own != nil && own != f && own.Name != "74" {
		return part.Type{}, fmt.Errorf("%s is of family %s, but --family is %s: leave one out", typed, own.Name, f.Name)
	}
	if !ok {
		number = strings.ToUpper(typed)
	}
	p, err := lib.Find(number)
	if err != nil {
		return part.Type{}, err
	}
	if p == nil {
		return lib.Open(typed) // another name, or an error that says what is near it
	}
	return library.Choose(p, f)
}

// familyOf decides between the families of a type whose marking names none.
func (d *definitions) familyOf(typ part.Type) (part.Type, error) {
	p := typ.Part()
	var names []string
	for _, f := range typ.Variant.Families {
		names = append(names, f.TypeName(p.Number))
	}
	if d.ask != nil && len(names) > 1 {
		fmt.Fprintf(d.say, "%s was made as %s; which is it? [%s] ", p.Number, strings.Join(names, ", "), typ.Name())
		line, _ := bufio.NewReader(d.ask).ReadString('\n')
		answer := strings.ToUpper(strings.TrimSpace(line))
		for _, f := range typ.Variant.Families {
			if answer == f.TypeName(p.Number) || answer == f.Name {
				return part.Type{Variant: typ.Variant, Family: f}, nil
			}
		}
		if answer != "" {
			return typ, fmt.Errorf("%s is none of %s", answer, strings.Join(names, ", "))
		}
		return typ, nil
	}
	if d.say != nil {
		fmt.Fprintf(d.say, "%s names no family: identified as %s, the oldest of %s\n", p.Number, typ.Name(), strings.Join(names, ", "))
	}
	return typ, nil
}

// typed finds a type by what was typed alone.
func (d *definitions) typed(typed string) (part.Type, error) { return d.typeOf(typed, "") }
