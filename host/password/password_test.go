package password

import (
	"encoding/base64"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// What is kept has the form of the Password Hashing Competition's strings with the cost of
// RFC 9106, section 4, second option: m=65536 (64 MiB), t=3, p=4, 128 bits of salt, 256 of tag.
func TestForm(t *testing.T) {
	h, err := New("tram depot, track 4")
	if err != nil {
		t.Fatal(err)
	}
	fields := strings.Split(h.String(), "$")
	if len(fields) != 6 || fields[1] != "argon2id" || fields[2] != "v=19" || fields[3] != "m=65536,t=3,p=4" {
		t.Fatal(h)
	}
	for i, want := range map[int]int{4: 128 / 8, 5: 256 / 8} {
		if b, err := base64.RawStdEncoding.DecodeString(fields[i]); err != nil || len(b) != want {
			t.Errorf("%s: %v, want %d bytes", fields[i], err, want)
		}
	}
	other, _ := New("tram depot, track 4")
	if h.String() == other.String() {
		t.Error("two hashes of one password are the same: the salt is not random")
	}
}

// The hash is that of another implementation, the reference's command line of Debian's
// package argon2: echo -n PASSWORD | argon2 SALT -id -t 3 -k 65536 -p 4 -l 32.
func TestAgainstReference(t *testing.T) {
	if _, err := exec.LookPath("argon2"); err != nil {
		t.Fatal("apt-get install -y --no-install-recommends argon2")
	}
	c := exec.Command("argon2", "0123456789abcdef", "-id", "-t", "3", "-k", "65536", "-p", "4", "-l", "32", "-e")
	c.Stdin = strings.NewReader("seven drawers")
	out, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	h, err := Parse(string(out))
	if err != nil || !h.Is("seven drawers") || h.Is("seven drawer") {
		t.Errorf("%s: %v", out, err)
	}
}

// A password is kept in a file that its owner alone reads, and is known again; another is not.
func TestKept(t *testing.T) {
	name := filepath.Join(t.TempDir(), "chipassay", "password")
	if _, err := Read(name); !errors.Is(err, fs.ErrNotExist) {
		t.Fatal(err)
	}
	for _, p := range []string{"Straßenbahn", strings.Repeat("x", MostBytes)} {
		h, err := New(p)
		if err != nil {
			t.Fatal(err)
		}
		if err := h.Write(name); err != nil {
			t.Fatal(err)
		}
		kept, err := Read(name)
		if err != nil || !kept.Is(p) || kept.Is(p+" ") || kept.Is(p[1:]) {
			t.Errorf("%q: %v", p, err)
		}
		text, err := os.ReadFile(name)
		if err != nil || strings.Contains(string(text), p) {
			t.Errorf("%s, %v", text, err)
		}
		s, err := os.Stat(name)
		if err != nil || runtime.GOOS != "windows" && s.Mode().Perm() != 0o600 {
			t.Errorf("%v, %v", s.Mode(), err)
		}
		if files, err := os.ReadDir(filepath.Dir(name)); err != nil || len(files) != 1 {
			t.Errorf("%v, %v: something was left", files, err)
		}
	}
	if err := os.WriteFile(name, []byte("open sesame\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Read(name); !errors.Is(err, ErrDamaged) {
		t.Error(err)
	}
}

// Eight characters are the least, whatever they are (NIST SP 800-63B, 5.1.1.2, from memory);
// characters are not bytes.
func TestUnfit(t *testing.T) {
	for _, p := range []string{"", "1234567", "ßßßßßßß", strings.Repeat("x", MostBytes+1)} {
		if _, err := New(p); !errors.Is(err, ErrUnfit) {
			t.Errorf("%q: %v", p, err)
		}
	}
	if _, err := New("ßßßßßßßß"); err != nil {
		t.Error(err)
	}
}

// A hash that is empty is that of no password.
func TestZeroHash(t *testing.T) {
	if (Hash{}).Is("") || (Hash{}).Is("seven drawers") {
		t.Error("the empty hash lets in")
	}
}

// No text but a hash's own is taken for one.
func TestParse(t *testing.T) {
	h, err := New("seven drawers")
	if err != nil {
		t.Fatal(err)
	}
	whole := h.String()
	if got, err := Parse(whole + "\n"); err != nil || got.String() != whole {
		t.Fatalf("%v, %v", got, err)
	}
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.IntRange(0, len(whole)-1).Draw(t, "at")
		for _, text := range []string{whole[:i], whole[i+1:], whole[:i] + "*" + whole[i+1:], strings.Replace(whole, "m=65536", "m=8", 1)} {
			if got, err := Parse(text); err == nil && got.String() != text {
				t.Errorf("%q was read as %v", text, got)
			}
		}
	})
}
