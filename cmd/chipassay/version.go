package main

import (
	"fmt"
	"runtime/debug"
	"strings"

	"chipassay/firmware/images"
	"chipassay/protocol"
)

// released is the version of a released program; cmd/release sets it when it links.
var released string

// version says what the program is: its version, the commit that it was
// built from where the build knows it, and the firmware that it carries.
func version() string {
	words := []string{"development build"}
	if released != "" {
		words[0] = released
	} else if build, ok := debug.ReadBuildInfo(); ok {
		if v := build.Main.Version; v != "" && v != "(devel)" {
			words[0] = v
		}
		for _, s := range build.Settings {
			switch {
			case s.Key == "vcs.revision":
				words = append(words, "commit "+s.Value[:min(12, len(s.Value))])
			case s.Key == "vcs.modified" && s.Value == "true":
				words = append(words, "with changes")
			}
		}
	}
	words = append(words, fmt.Sprintf("firmware %s, protocol %d", images.Version, protocol.Version))
	return strings.Join(words, ", ")
}
