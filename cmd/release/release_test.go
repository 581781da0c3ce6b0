package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/firmware/images"
	"chipassay/vectors/sample"
)

func TestNewest(t *testing.T) {
	r, err := newest("# What\n\ntext\n\n## 1.10.2, 2027-03-01\n\n- a\n\n## 1.9.0, 2026-11-29\n")
	require.NoError(t, err)
	require.Equal(t, release{"1.10.2", time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)}, r)
	for _, text := range []string{"", "# 1.0.0, 2026-11-29\n", "## 1.0, 2026-11-29\n", "## 1.0.0, 29 November\n", "## 1.0.0, 2026-11-31\n"} {
		_, err := newest(text)
		require.Error(t, err, text)
	}
	_, err = newest(changelog)
	require.NoError(t, err)
}

func TestTargets(t *testing.T) {
	all, err := choose("")
	require.NoError(t, err)
	require.Len(t, all, 6)
	two, err := choose("windows/arm64,linux/amd64")
	require.NoError(t, err)
	require.Equal(t, []target{{"windows", "arm64"}, {"linux", "amd64"}}, two)
	_, err = choose("plan9/amd64")
	require.ErrorContains(t, err, "darwin/arm64")
}

// A folder with something in it is left alone.
func TestFolderMustBeEmpty(t *testing.T) {
	folder := t.TempDir()
	require.NoError(t, emptyFolder(filepath.Join(folder, "a", "b")))
	require.ErrorContains(t, emptyFolder(folder), "not empty")
}

// host is what this computer runs: Linux, on one of the two processors.
func host(t *testing.T) target {
	t.Helper()
	at := target{runtime.GOOS, runtime.GOARCH}
	if at.os != "linux" || !slices.Contains(targets, at) {
		t.Skipf("the archive for Linux cannot be tried on %v", at)
	}
	return at
}

// made builds targets from sources, with an environment, and gives the folder of what was made.
func made(t *testing.T, from string, environ []string, targets ...target) (string, error) {
	r, err := newest(changelog)
	if err != nil {
		return "", err
	}
	b := builderOf(r, from, t.TempDir(), t.TempDir(), environ)
	return b.out, b.all(t.Context(), targets)
}

// elsewhere copies the sources to another folder.
func elsewhere(t *testing.T, from string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "another", "place")
	for _, name := range []string{"cmd", "firmware", "host", "protocol", "vectors"} {
		require.NoError(t, os.CopyFS(filepath.Join(to, name), os.DirFS(filepath.Join(from, name))))
	}
	for _, name := range []string{"go.mod", "go.sum", "LICENSE", "README.md"} {
		body, err := os.ReadFile(filepath.Join(from, name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(to, name), body, 0o600))
	}
	return to
}

// The archive of this computer is unpacked, and tests a chip where there is nothing else. Its program is
// linked from what the other tests have compiled, statically; TestAllTargets tries the one that is handed out,
// which is compiled anew with other settings (four minutes of CPU for each target).
func TestRelease(t *testing.T) {
	at := host(t)
	root, err := moduleRoot(t.Context())
	require.NoError(t, err)
	r, err := newest(changelog)
	require.NoError(t, err)
	b := builder{release: r, root: root, out: t.TempDir(), work: t.TempDir(), environ: os.Environ(),
		flags: []string{"-ldflags", "-s -w -linkmode external -extldflags -static -X main.released=" + r.version}}
	require.NoError(t, b.all(t.Context(), []target{at}))
	folder := "chipassay-" + r.version + "-linux-" + at.arch
	require.Equal(t, []string{sums, folder + ".tar.gz"}, namesIn(t, b.out))
	sumsFit(t, b.out, 1)
	program := inBareFolder(t, filepath.Join(b.out, folder+".tar.gz"), r)
	require.NoError(t, runsOn(program, at))
}

// namesIn are the names of what is in a folder.
func namesIn(t *testing.T, folder string) (names []string) {
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	for _, entry := range entries {
		names = append(names, entry.Name())
	}
	return names
}

// sumsFit checks the sums as a person does.
func sumsFit(t *testing.T, folder string, files int) {
	check := exec.Command("sha256sum", "--check", "--strict", sums)
	check.Dir = folder
	out, err := check.CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Equal(t, files, strings.Count(string(out), ": OK"))
}

// Where a Debian package puts the files: Debian Policy 9.1 (the FHS), 12.1, 12.5 and 12.7.
func TestInstalledFiles(t *testing.T) {
	var common []file
	for _, name := range []string{"LICENSE", "README.md", "CHANGELOG.md", "completions/chipassay.bash", "completions/_chipassay", "completions/chipassay.fish",
		"completions/chipassay.ps1", "firmware/README.md", "firmware/atmega2560.hex", "man/man1/chipassay.1", "udev/70-chipassay.rules"} {
		common = append(common, file{name, []byte("text"), 0o644})
	}
	var names []string
	for _, f := range (&builder{}).installed([]byte("program"), common) {
		names = append(names, f.name)
		packed := bytes.HasPrefix(f.body, []byte{0x1f, 0x8b}) // RFC 1952, 2.3.1
		require.Equal(t, strings.HasSuffix(f.name, ".gz"), packed, f.name)
		require.Equal(t, strings.Contains(f.name, "/bin/"), f.mode&0o111 != 0, f.name)
	}
	const doc, share = "/usr/share/doc/chipassay/", "/usr/share/"
	require.Equal(t, []string{"/usr/bin/chipassay", doc + "copyright", doc + "README.md", doc + "changelog.gz", share + "bash-completion/completions/chipassay",
		share + "zsh/vendor-completions/_chipassay", share + "fish/vendor_completions.d/chipassay.fish", doc + "firmware/README.md",
		share + "chipassay/firmware/atmega2560.hex", share + "man/man1/chipassay.1.gz", doc + "examples/70-chipassay.rules"}, names)
}

// inBareFolder unpacks an archive with tar and runs its program, which it gives, where no other
// file is.
func inBareFolder(t *testing.T, archive string, r release) []byte {
	folder := t.TempDir()
	out, err := exec.Command("tar", "-xzf", archive, "-C", folder, "--strip-components=1").CombinedOutput()
	require.NoError(t, err, "%s", out)
	for _, name := range []string{"LICENSE", "README.md", "CHANGELOG.md", "completions/_chipassay", "completions/chipassay.bash",
		"completions/chipassay.fish", "completions/chipassay.ps1", "man/man1/chipassay.1", "man/man1/chipassay-adapter-flash.1", "udev/70-chipassay.rules"} {
		info, err := os.Stat(filepath.Join(folder, name))
		require.NoError(t, err)
		require.NotZero(t, info.Size(), name)
		require.Equal(t, r.day, info.ModTime().UTC(), name)
	}
	hex, err := os.ReadFile(filepath.Join(folder, "firmware/atmega2560.hex"))
	require.NoError(t, err)
	require.Equal(t, images.ATmega2560HEX, hex)
	page, err := os.ReadFile(filepath.Join(folder, "man/man1/chipassay.1"))
	require.NoError(t, err)
	require.Contains(t, string(page), `.TH "CHIPASSAY" "1"`)
	require.Contains(t, string(page), "chipassay "+r.version)

	for _, name := range []string{"firmware/README.md", "firmware/carrier/README.md", "host/record/README.md", "vectors/README.md", "cmd/chipassay/demo.tray"} {
		require.FileExists(t, filepath.Join(folder, name), "README.md sends its reader there")
	}

	bare := t.TempDir()
	require.NoError(t, os.Rename(filepath.Join(folder, "cmd"), filepath.Join(bare, "cmd")))
	require.NoError(t, os.Rename(filepath.Join(folder, "chipassay"), filepath.Join(bare, "chipassay")))
	tried(t, bare, "/chipassay", versionOf(r), trials)
	program, err := os.ReadFile(filepath.Join(bare, "chipassay"))
	require.NoError(t, err)
	return program
}

// inFreshRoot installs a package where nothing is installed. Its program is that of the
// archive, byte for byte, and starts there.
func inFreshRoot(t *testing.T, deb string, r release, program []byte) {
	root := t.TempDir()
	for _, folder := range []string{"info", "updates"} {
		require.NoError(t, os.MkdirAll(filepath.Join(root, "var/lib/dpkg", folder), 0o755))
	}
	require.NoError(t, os.WriteFile(filepath.Join(root, "var/lib/dpkg/status"), nil, 0o600))
	out, err := exec.Command("dpkg", "--root="+root, "--force-not-root", "--install", deb).CombinedOutput()
	require.NoError(t, err, "%s", out)
	out, err = exec.Command("dpkg-query", "--admindir="+filepath.Join(root, "var/lib/dpkg"), "-W", "-f", "${Status} ${Version} ${Depends}", "chipassay").CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Equal(t, "install ok installed "+r.version+"-1 ", string(out))
	for _, name := range []string{"usr/share/man/man1/chipassay-test.1.gz", "usr/share/doc/chipassay/changelog.gz", "usr/share/doc/chipassay/copyright",
		"usr/share/bash-completion/completions/chipassay", "usr/share/chipassay/firmware/atmega2560.hex", "usr/share/doc/chipassay/firmware/carrier/README.md"} {
		require.FileExists(t, filepath.Join(root, name))
	}
	installed, err := os.ReadFile(filepath.Join(root, "usr/bin/chipassay"))
	require.NoError(t, err)
	require.True(t, bytes.Equal(program, installed), "the package has another program than the archive")
	tried(t, root, "/usr/bin/chipassay", versionOf(r), nil)
}

// A trial is a command line, its exit status and what it says.
type trial struct {
	args   []string
	status int
	says   string
}

func versionOf(r release) trial {
	return trial{[]string{"--version"}, 0, "chipassay version " + r.version + ", firmware " + images.Version}
}

// trials: a good chip, a bad one, practice with a drawer as the README has it, and no adapter.
var trials = []trial{
	{[]string{"test", "7400", "--adapter", "virtual"}, 0, "PASS"},
	{[]string{"test", "7410", "--adapter", "virtual", "--defect", "2 open"}, 1, "FAIL"},
	{[]string{"drawer", "D3", "--tray", "cmd/chipassay/demo.tray"}, 0, "12 chips: 7 pass, 4 fail, 1 not tested"},
	{[]string{"adapter", "info"}, 3, "there is no serial port of a USB device"},
}

// tried runs a program with a folder as its whole file system, an empty environment and
// nobody else's home.
func tried(t *testing.T, root, program string, version trial, more []trial) {
	t.Helper()
	for _, c := range append([]trial{version}, more...) {
		command := exec.Command(program, c.args...)
		command.Env = []string{"HOME=/"}
		command.Dir = "/"
		command.SysProcAttr = rootedAt(root)
		out, err := command.CombinedOutput()
		if command.ProcessState == nil {
			require.NoError(t, err)
		}
		require.Equal(t, c.status, command.ProcessState.ExitCode(), "%s: %s", c.args, out)
		require.Contains(t, string(out), c.says, c.args)
	}
}

// The two forms of archives, read back.
func TestArchivesHoldTheirFiles(t *testing.T) {
	at := time.Date(2026, 11, 29, 0, 0, 0, 0, time.UTC)
	files := []file{{"a/run", []byte("program"), 0o755}, {"a/text", bytes.Repeat([]byte("word "), 1000), 0o644}}
	packed, err := tarred(files, at)
	require.NoError(t, err)
	z, err := gzip.NewReader(bytes.NewReader(packed))
	require.NoError(t, err)
	tape := tar.NewReader(z)
	for _, f := range files {
		h, err := tape.Next()
		require.NoError(t, err)
		body, err := io.ReadAll(tape)
		require.NoError(t, err)
		require.Equal(t, f, file{h.Name, body, h.FileInfo().Mode()})
		require.Equal(t, at, h.ModTime.UTC())
		require.Zero(t, h.Uid+h.Gid)
	}
	_, err = tape.Next()
	require.Equal(t, io.EOF, err)

	packed, err = zipped(files, at)
	require.NoError(t, err)
	archive, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	require.NoError(t, err)
	require.Len(t, archive.File, len(files))
	for i, f := range archive.File {
		r, err := f.Open()
		require.NoError(t, err)
		body, err := io.ReadAll(r)
		require.NoError(t, err)
		require.Equal(t, files[i], file{f.Name, body, f.Mode()})
		require.Equal(t, at, f.Modified.UTC())
	}
}

// long skips what an ordinary run has no time for.
func long(t *testing.T) {
	t.Helper()
	if !sample.Long() {
		t.Skip("it builds for all targets: CHIPASSAY_LONG=1")
	}
}

// All six twice, the second time in another place and as another person: the same bytes, what each of them
// has for a program, and what none may lack. This computer's is tried, compiled a third time from nothing; its package
// is installed, and the Windows program starts.
func TestAllTargets(t *testing.T) {
	long(t)
	root, err := moduleRoot(t.Context())
	require.NoError(t, err)
	first := elsewhere(t, root) // twice from the sources as they are now: the builds take half an hour
	copied := elsewhere(t, first)
	out, err := made(t, first, os.Environ(), targets...)
	require.NoError(t, err)
	sumsFit(t, out, 8)
	sum, err := os.ReadFile(filepath.Join(out, sums))
	require.NoError(t, err)
	another := append(os.Environ(), "TZ=Pacific/Chatham", "USER=another", "LANG=fr_FR.UTF-8", "GOFLAGS=-v")
	again, err := made(t, copied, another, targets...)
	require.NoError(t, err)
	twice, err := os.ReadFile(filepath.Join(again, sums))
	require.NoError(t, err)
	require.Equal(t, string(sum), string(twice))
	r, _ := newest(changelog)
	here := host(t)
	fresh, err := made(t, copied, append(another, "GOCACHE="+t.TempDir()), here)
	require.NoError(t, err)
	for _, name := range namesIn(t, fresh) {
		if name != sums {
			same(t, filepath.Join(out, name), filepath.Join(fresh, name))
		}
	}
	program := inBareFolder(t, filepath.Join(out, "chipassay-"+r.version+"-linux-"+here.arch+".tar.gz"), r)
	inFreshRoot(t, filepath.Join(out, "chipassay_"+r.version+"-1_"+here.arch+".deb"), r, program)
	for _, at := range targets {
		files := unpacked(t, out, r, at)
		require.NoError(t, runsOn(files[at.program()], at))
		for _, name := range []string{"LICENSE", "README.md", "CHANGELOG.md", "completions/_chipassay", "completions/chipassay.bash", "completions/chipassay.fish",
			"completions/chipassay.ps1", "firmware/atmega2560.elf", "firmware/atmega2560.hex", "firmware/virtual.wasm", "man/man1/chipassay.1", "man/man1/chipassay-adapter-flash.1"} {
			require.NotEmpty(t, files[name], "%v: %s", at, name)
		}
		require.Equal(t, at.os == "linux", files["udev/70-chipassay.rules"] != nil)
	}
	startsUnderWine(t, filepath.Join(out, "chipassay-"+r.version+"-windows-amd64.zip"), r)
}

// same fails where two files differ.
func same(t *testing.T, a, b string) {
	one, err := os.ReadFile(a)
	require.NoError(t, err)
	other, err := os.ReadFile(b)
	require.NoError(t, err)
	require.True(t, bytes.Equal(one, other), "%s is not the same from nothing", filepath.Base(a))
}

// startsUnderWine runs the Windows program under wine, which needs no screen for it. Debian 12's wine
// has no bcryptprimitives.dll, from which Go's runtime takes random numbers: one is made.
func startsUnderWine(t *testing.T, archive string, r release) {
	const wine = "/usr/lib/wine/wine64"
	if _, err := os.Stat(wine); err != nil {
		t.Fatal("wine is missing: apt-get install -y --no-install-recommends wine64")
	}
	folder := t.TempDir()
	z, err := zip.OpenReader(archive)
	require.NoError(t, err)
	defer z.Close()
	require.NoError(t, os.CopyFS(folder, z))
	program := filepath.Join(folder, strings.TrimSuffix(filepath.Base(archive), ".zip"), "chipassay.exe")
	prefix := filepath.Join(t.TempDir(), "prefix")
	run := func(name string, args ...string) (string, error) {
		ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
		defer cancel()
		command := exec.CommandContext(ctx, name, args...)
		command.Env = append(os.Environ(), "WINEPREFIX="+prefix, "WINEDEBUG=-all", "DISPLAY=")
		command.Dir = folder
		out, err := command.CombinedOutput()
		return string(out), err
	}
	_, _ = run(wine, "wineboot") // makes the folders of a Windows; that it lacks a screen is no matter
	const source = `__declspec(dllexport) int ProcessPrng(unsigned char *p, unsigned long long n) {
		static unsigned long long x = 88172645463325252ULL; /* xorshift: for a test, and no secret */
		while (n--) { x ^= x << 13; x ^= x >> 7; x ^= x << 17; *p++ = x; }
		return 1;
	}`
	require.NoError(t, os.WriteFile(filepath.Join(folder, "prng.c"), []byte(source), 0o600))
	text, err := run("clang", "--target=x86_64-pc-windows-msvc", "-O1", "-ffreestanding", "-c", "prng.c", "-o", "prng.obj")
	require.NoError(t, err, text)
	text, err = run("lld-link", "/dll", "/noentry", "/out:"+filepath.Join(prefix, "drive_c/windows/system32/bcryptprimitives.dll"), "prng.obj")
	require.NoError(t, err, text)

	text, err = run(wine, program, "--version")
	require.NoError(t, err, text)
	require.Contains(t, text, "chipassay version "+r.version)
	text, err = run(wine, program, "test", "7400", "--adapter", "virtual")
	require.NoError(t, err, text)
	require.Contains(t, text, "PASS")
}

// What only Windows or macOS compiles is vetted too.
func TestVetOfTheOtherSystems(t *testing.T) {
	long(t)
	for _, system := range []string{"windows", "darwin"} {
		command := exec.Command("go", "vet", "chipassay/...")
		command.Env = append(os.Environ(), "GOOS="+system, "CGO_ENABLED=0")
		out, err := command.CombinedOutput()
		require.NoError(t, err, "%s: %s", system, out)
	}
}

// go.mod asks for a Go without a patch level, and for the libc that sqlite is made for: with
// another it may go wrong without a word (modernc.org/sqlite, doc.go, "Fragile modernc.org/libc
// dependency").
func TestModules(t *testing.T) {
	root, err := moduleRoot(t.Context())
	require.NoError(t, err)
	ours, err := os.ReadFile(filepath.Join(root, "go.mod"))
	require.NoError(t, err)
	require.Regexp(t, `(?m)^go [0-9]+\.[0-9]+$`, string(ours))
	require.NotRegexp(t, `(?m)^toolchain`, string(ours))
	out, err := exec.CommandContext(t.Context(), "go", "list", "-m", "-f", "{{.GoMod}}", "modernc.org/sqlite").Output()
	require.NoError(t, err)
	theirs, err := os.ReadFile(strings.TrimSpace(string(out)))
	require.NoError(t, err)
	libc := regexp.MustCompile(`modernc\.org/libc (v\S+)`)
	require.Equal(t, libc.FindString(string(theirs)), libc.FindString(string(ours)))
}

// An archive has what README.md points to.
func TestPointed(t *testing.T) {
	require.Equal(t, []string{"firmware/README.md", "vectors/README.md"}, pointed([]byte("see vectors/README.md, vectors/README.md.")))
	require.Equal(t, []string{"cmd/x/demo.tray", "firmware/README.md", "host/a/README.md"}, pointed([]byte("`--tray cmd/x/demo.tray` (host/a/README.md), README.md")))
}

// The version stands in the list of changes alone; what the README has a person type is that one.
func TestReadmeNamesTheVersion(t *testing.T) {
	root, err := moduleRoot(t.Context())
	require.NoError(t, err)
	text, err := os.ReadFile(filepath.Join(root, "README.md"))
	require.NoError(t, err)
	r, err := newest(changelog)
	require.NoError(t, err)
	named := regexp.MustCompile(`chipassay[-_]([0-9]+\.[0-9]+\.[0-9]+)`).FindAllStringSubmatch(string(text), -1)
	require.NotEmpty(t, named)
	for _, found := range named {
		require.Equal(t, r.version, found[1], found[0])
	}
}
