package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"debug/elf"
	"debug/macho"
	"debug/pe"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// unpacked are the files of a target's archive, by their names in its folder.
func unpacked(t *testing.T, out string, r release, at target) map[string][]byte {
	t.Helper()
	folder := "chipassay-" + r.version + "-" + at.name() + "-" + at.arch
	files := map[string][]byte{}
	add := func(name string, from io.Reader) {
		body, err := io.ReadAll(from)
		require.NoError(t, err)
		name, ok := strings.CutPrefix(name, folder+"/")
		require.True(t, ok, name)
		files[name] = body
	}
	if at.os == "windows" {
		z, err := zip.OpenReader(filepath.Join(out, folder+".zip"))
		require.NoError(t, err)
		defer z.Close()
		for _, f := range z.File {
			from, err := f.Open()
			require.NoError(t, err)
			add(f.Name, from)
		}
		return files
	}
	f, err := os.Open(filepath.Join(out, folder+".tar.gz"))
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	for tape := tar.NewReader(z); ; {
		h, err := tape.Next()
		if err == io.EOF {
			return files
		}
		require.NoError(t, err)
		add(h.Name, tape)
	}
}

// runsOn reads from a program's header for which system and processor it is: the System V ABI
// (ELF header, e_machine), Apple's loader.h (magic, cputype), and the Microsoft PE format
// (signature, Machine, Subsystem).
func runsOn(program []byte, at target) error {
	r := bytes.NewReader(program)
	var processor any
	var want map[string]any
	switch at.os {
	case "linux":
		f, err := elf.NewFile(r)
		if err != nil {
			return err
		}
		if libraries, err := f.ImportedLibraries(); err == nil && len(libraries) > 0 {
			return fmt.Errorf("it needs %v", libraries)
		}
		processor, want = f.Machine, map[string]any{"amd64": elf.EM_X86_64, "arm64": elf.EM_AARCH64}
	case "darwin":
		f, err := macho.NewFile(r)
		if err != nil {
			return err
		}
		if f.Type != macho.TypeExec {
			return errors.New("it is no program")
		}
		// LC_CODE_SIGNATURE of loader.h: Apple's arm64 runs nothing without one; the linker makes it.
		signed := func(l macho.Load) bool { return f.ByteOrder.Uint32(l.Raw()) == 0x1D }
		if f.Cpu == macho.CpuArm64 && !slices.ContainsFunc(f.Loads, signed) {
			return errors.New("it is not signed, not even by its linker")
		}
		processor, want = f.Cpu, map[string]any{"amd64": macho.CpuAmd64, "arm64": macho.CpuArm64}
	case "windows":
		f, err := pe.NewFile(r)
		if err != nil {
			return err
		}
		header, ok := f.OptionalHeader.(*pe.OptionalHeader64)
		if !ok || header.Subsystem != pe.IMAGE_SUBSYSTEM_WINDOWS_CUI {
			return errors.New("it is no program for a console")
		}
		processor, want = f.Machine, map[string]any{"amd64": uint16(pe.IMAGE_FILE_MACHINE_AMD64), "arm64": uint16(pe.IMAGE_FILE_MACHINE_ARM64)}
	}
	if processor != want[at.arch] {
		return fmt.Errorf("it is for %v, and not for %v", processor, at)
	}
	return nil
}

// A small program for each target has the header that is asked for, and no other target's.
func TestTargetsOfPrograms(t *testing.T) {
	long(t)
	folder := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "main.go"), []byte("package main\n\nfunc main() {}\n"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "go.mod"), []byte("module small\n"), 0o600))
	for _, at := range targets {
		name := filepath.Join(folder, at.os+at.arch)
		command := exec.Command("go", "build", "-trimpath", "-o", name, ".")
		command.Dir = folder
		command.Env = append(os.Environ(), "GOOS="+at.os, "GOARCH="+at.arch, "CGO_ENABLED=0", "GOWORK=off")
		out, err := command.CombinedOutput()
		require.NoError(t, err, "%s", out)
		program, err := os.ReadFile(name)
		require.NoError(t, err)
		for _, other := range targets {
			if err := runsOn(program, other); (err == nil) != (other == at) {
				t.Errorf("built for %v, asked for %v: %v", at, other, err)
			}
		}
	}
}
