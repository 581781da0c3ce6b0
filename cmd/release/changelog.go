package main

import (
	_ "embed"
	"fmt"
	"regexp"
	"time"
)

//go:embed CHANGELOG.md
var changelog string

// A release is what CHANGELOG.md says of the newest version.
type release struct {
	version string // 1.2.3
	day     time.Time
}

var heading = regexp.MustCompile(`(?m)^## ([0-9]+\.[0-9]+\.[0-9]+), ([0-9]{4}-[0-9]{2}-[0-9]{2})$`)

// newest reads the first heading with a version.
func newest(text string) (release, error) {
	found := heading.FindStringSubmatch(text)
	if found == nil {
		return release{}, fmt.Errorf("CHANGELOG.md has no heading such as %q", "## 1.2.3, 2026-11-29")
	}
	day, err := time.Parse(time.DateOnly, found[2])
	if err != nil {
		return release{}, fmt.Errorf("CHANGELOG.md: %w", err)
	}
	return release{found[1], day}, nil
}
