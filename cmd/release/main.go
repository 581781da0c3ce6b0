// Release builds what is handed out: for Linux, macOS and Windows, on amd64 and arm64, an
// archive with the program, the firmware's images, manual pages and scripts of completion;
// for Debian packages of the two Linux ones; and SHA256SUMS of all. The version is that of
// the newest entry of CHANGELOG.md, and its day is the time of every file. The same
// sources and the same Go give the same bytes, whoever builds, where and when.
//
//	go run ./cmd/release --out DIR
//	go run ./cmd/release --out DIR --target linux/amd64 --deb=false
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "release:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) error {
	flags := flag.NewFlagSet("release", flag.ExitOnError)
	out := flags.String("out", "", "the folder to write to; it is made, and must be empty")
	only := flags.String("target", "", "build for these alone: linux/amd64,windows/amd64 (default: all)")
	deb := flags.Bool("deb", true, "make Debian packages of the Linux programs")
	_ = flags.Parse(args)
	if *out == "" || flags.NArg() > 0 {
		return fmt.Errorf("usage: release --out FOLDER [--target OS/ARCH,…] [--deb=false]")
	}
	targets, err := choose(*only)
	if err != nil {
		return err
	}
	r, err := newest(changelog)
	if err != nil {
		return err
	}
	if err := emptyFolder(*out); err != nil {
		return err
	}
	work, err := os.MkdirTemp("", "chipassay-release-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	root, err := moduleRoot(ctx)
	if err != nil {
		return err
	}
	b := builderOf(r, root, *out, work, os.Environ())
	b.deb = *deb
	return b.all(ctx, targets)
}

// emptyFolder makes a folder; what lies in one would get into the sums, or be taken for new.
func emptyFolder(name string) error {
	if err := os.MkdirAll(name, 0o755); err != nil {
		return err
	}
	entries, err := os.ReadDir(name)
	if err == nil && len(entries) > 0 {
		err = fmt.Errorf("%s is not empty", name)
	}
	return err
}

// A target is an operating system and a processor, as Go names them.
type target struct{ os, arch string }

var targets = []target{
	{"linux", "amd64"}, {"linux", "arm64"},
	{"darwin", "amd64"}, {"darwin", "arm64"},
	{"windows", "amd64"}, {"windows", "arm64"},
}

func (t target) String() string { return t.os + "/" + t.arch }

// program is the name of the program's file.
func (t target) program() string {
	if t.os == "windows" {
		return "chipassay.exe"
	}
	return "chipassay"
}

// name is that of the system as its users call it.
func (t target) name() string {
	if t.os == "darwin" {
		return "macos"
	}
	return t.os
}

// choose picks targets by their names; all for none.
func choose(names string) (chosen []target, err error) {
	if names == "" {
		return targets, nil
	}
next:
	for name := range strings.SplitSeq(names, ",") {
		for _, t := range targets {
			if t.String() == name {
				chosen = append(chosen, t)
				continue next
			}
		}
		return nil, fmt.Errorf("no target %q; there are %v", name, targets)
	}
	return chosen, nil
}

// all builds the targets, one after another, and writes the sums.
func (b *builder) all(ctx context.Context, targets []target) error {
	common, err := b.common(ctx)
	if err != nil {
		return err
	}
	var made []string
	for _, t := range targets {
		program, err := b.program(ctx, t)
		if err != nil {
			return err
		}
		name, err := b.archive(t, program, common)
		if err != nil {
			return err
		}
		made = append(made, name)
		if b.deb && t.os == "linux" {
			if name, err = b.debian(ctx, t, program, common); err != nil {
				return err
			}
			made = append(made, name)
		}
	}
	for _, name := range append(made, sums) {
		if name == sums {
			if err := b.sums(made); err != nil {
				return err
			}
		}
		fmt.Println(filepath.Join(b.out, name))
	}
	return nil
}
