package main

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"chipassay/firmware/images"
	"chipassay/host/link"
)

// A builder makes one release.
type builder struct {
	release
	root string // of the module
	out  string // for what is handed out
	work string // for what is not
	deb  bool
	// environ is what the programs that it runs have for an environment, settings what go build has besides.
	environ, settings []string
	flags             []string // of go build
}

// builderOf is one that builds what is handed out: with nothing in the environment that would
// change it, no paths of this computer, no state of a checkout, no symbols.
func builderOf(r release, root, out, work string, environ []string) builder {
	return builder{release: r, root: root, out: out, work: work, deb: true, environ: environ,
		settings: []string{"CGO_ENABLED=0", "GOEXPERIMENT=", "GOAMD64=v1", "GOARM64=v8.0"},
		flags:    []string{"-trimpath", "-ldflags", "-s -w -buildid= -X main.released=" + r.version}}
}

// A file of an archive.
type file struct {
	name string // within the archive, with slashes
	body []byte
	mode fs.FileMode
}

// moduleRoot is the folder of go.mod.
func moduleRoot(ctx context.Context) (string, error) {
	out, err := exec.CommandContext(ctx, "go", "list", "-m", "-f", "{{.Dir}}").Output()
	return strings.TrimSpace(string(out)), err
}

// gotool runs the go command in the module.
func (b *builder) gotool(ctx context.Context, environment []string, args ...string) ([]byte, error) {
	cmd := b.command(ctx, "go", args...)
	cmd.Dir = b.root
	cmd.Env = append(slices.Clone(b.environ), "GOFLAGS=", "GOWORK=off", fmt.Sprintf("SOURCE_DATE_EPOCH=%d", b.day.Unix()))
	cmd.Env = append(cmd.Env, b.settings...)
	cmd.Env = append(cmd.Env, environment...)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		err = fmt.Errorf("go %s: %w", strings.Join(args, " "), err)
	}
	return out, err
}

// build builds the program, for a target or, without one, for the computer at hand.
func (b *builder) build(ctx context.Context, name string, environment []string, more ...string) error {
	args := slices.Concat([]string{"build", "-buildvcs=false", "-o", name}, b.flags, more, []string{"./cmd/chipassay"})
	_, err := b.gotool(ctx, environment, args...)
	return err
}

// program builds the program for a target.
func (b *builder) program(ctx context.Context, t target) ([]byte, error) {
	name := filepath.Join(b.work, t.os+"-"+t.arch, t.program())
	if err := b.build(ctx, name, []string{"GOOS=" + t.os, "GOARCH=" + t.arch}); err != nil {
		return nil, err
	}
	return os.ReadFile(name)
}

// common are the files that all targets have: made by the program itself, as it is built for
// the computer at hand, and copied from the module.
func (b *builder) common(ctx context.Context) (files []file, err error) {
	readme, err := os.ReadFile(filepath.Join(b.root, "README.md"))
	if err != nil {
		return nil, err
	}
	for _, name := range append([]string{"LICENSE", "README.md"}, pointed(readme)...) {
		body, err := os.ReadFile(filepath.Join(b.root, name))
		if err != nil {
			return nil, err
		}
		files = append(files, file{name, body, 0o644})
	}
	files = append(files,
		file{"CHANGELOG.md", []byte(changelog), 0o644},
		file{"firmware/atmega2560.hex", images.ATmega2560HEX, 0o644},
		file{"firmware/atmega2560.elf", images.ATmega2560ELF, 0o644},
		file{"firmware/virtual.wasm", images.Virtual, 0o644},
		file{"udev/70-chipassay.rules", []byte(link.UdevRule + "\n"), 0o644},
	)
	self := filepath.Join(b.work, "self")
	if err := b.build(ctx, self, nil, "-tags", "man"); err != nil {
		return nil, err
	}
	for _, shell := range []struct{ name, file string }{
		{"bash", "chipassay.bash"}, {"zsh", "_chipassay"}, {"fish", "chipassay.fish"}, {"powershell", "chipassay.ps1"},
	} {
		script, err := b.command(ctx, self, "completion", shell.name).Output()
		if err != nil {
			return nil, fmt.Errorf("completion for %s: %w", shell.name, err)
		}
		files = append(files, file{"completions/" + shell.file, script, 0o644})
	}
	pages, err := b.pages(ctx, self)
	return append(files, pages...), err
}

var folderFile = regexp.MustCompile(`[a-z]+(/[a-z]+)*/(README\.md|[a-z]+\.tray)`)

// pointed are the other files to which README.md sends its reader, and firmware's page, which
// the help of the program names. They have the same names in an archive.
func pointed(readme []byte) []string {
	names := append(folderFile.FindAllString(string(readme), -1), "firmware/README.md")
	slices.Sort(names)
	return slices.Compact(names)
}

// command is a program with the builder's environment.
func (b *builder) command(ctx context.Context, name string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Env = b.environ
	return cmd
}

// pages are the manual pages, one a command.
func (b *builder) pages(ctx context.Context, self string) (files []file, err error) {
	folder := filepath.Join(b.work, "man")
	if err := os.Mkdir(folder, 0o755); err != nil {
		return nil, err
	}
	if out, err := b.command(ctx, self, "man", folder, "--date", b.day.Format("2006-01-02")).CombinedOutput(); err != nil {
		return nil, fmt.Errorf("manual pages: %w: %s", err, out)
	}
	entries, err := os.ReadDir(folder) // in the order of their names
	for _, entry := range entries {
		body, err := os.ReadFile(filepath.Join(folder, entry.Name()))
		if err != nil {
			return nil, err
		}
		files = append(files, file{path.Join("man/man1", entry.Name()), body, 0o644})
	}
	return files, err
}

// sums is the name of the file of checksums, as sha256sum writes and checks it.
const sums = "SHA256SUMS"

func (b *builder) sums(made []string) error {
	var lines []byte
	for _, name := range slices.Sorted(slices.Values(made)) {
		body, err := os.ReadFile(filepath.Join(b.out, name))
		if err != nil {
			return err
		}
		lines = fmt.Appendf(lines, "%x  %s\n", sha256.Sum256(body), name)
	}
	return os.WriteFile(filepath.Join(b.out, sums), lines, 0o644)
}
