package main

import (
	"fmt"
	"os"
	"path/filepath"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// definitions are where parts are looked up: the folders named by --library,
// then the person's own folder, then the built-in library.
type definitions struct {
	folders []string
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

// typeOf finds a type by what was typed, and the family from a flag where that names none.
func (d *definitions) typeOf(typed, family string) (part.Type, error) {
	lib, err := d.open()
	if err != nil {
		return part.Type{}, err
	}
	if family == "" {
		return lib.Open(typed)
	}
	f := part.FamilyByName(family)
	if f == nil {
		return part.Type{}, fmt.Errorf("there is no family %q: chipassay show %s lists those of the part", family, typed)
	}
	number, own, ok := part.SplitTypeName(typed)
	if ok && own != nil && own != f && own.Name != "74" {
		return part.Type{}, fmt.Errorf("%s is of the family %s, and --family says %s: leave one out", typed, own.Name, f.Name)
	}
	if !ok {
		number = typed
	}
	return lib.Open(f.TypeName(number))
}

// typed finds a type by what was typed alone.
func (d *definitions) typed(typed string) (part.Type, error) { return d.typeOf(typed, "") }
