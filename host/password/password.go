// Package password keeps a password as a hash that does not give it away: Argon2id
// (RFC 9106) with a random salt, in the string format of the Password Hashing Competition,
//
//	$argon2id$v=19$m=65536,t=3,p=4$SALT$HASH
//
// whose salt and hash are base64 without padding.
package password

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
)

// The cost is the second recommended option of RFC 9106, section 4, for where 2 GiB are
// too much: 64 MiB, three passes, four lanes, a salt of 128 bits and a hash of 256. It is
// above the least that OWASP's Password Storage Cheat Sheet asks for (19 MiB, two passes, one
// lane; from memory).
const (
	memoryKiB = 64 << 10
	passes    = 3
	lanes     = 4
	saltBytes = 16
	hashBytes = 32
)

// What a password may be: 8 characters are the least of NIST SP 800-63B, 5.1.1.2 (from
// memory). There is no rule of what is in it.
const (
	LeastCharacters = 8
	MostBytes       = 1024
)

// What can be wrong, for errors.Is.
var (
	ErrUnfit   = errors.New("not fit for a password")
	ErrDamaged = errors.New("not the hash of a password")
)

// A Hash is what is kept of a password.
type Hash struct{ salt, sum []byte }

// New hashes a password, or refuses it with ErrUnfit and the reason.
func New(password string) (Hash, error) {
	switch {
	case utf8.RuneCountInString(password) < LeastCharacters:
		return Hash{}, fmt.Errorf("%w: it needs at least %d characters; some words in a row are best", ErrUnfit, LeastCharacters)
	case len(password) > MostBytes:
		return Hash{}, fmt.Errorf("%w: it is longer than %d bytes", ErrUnfit, MostBytes)
	}
	h := Hash{salt: make([]byte, saltBytes)}
	rand.Read(h.salt) // never fails: crypto/rand
	h.sum = key(password, h.salt)
	return h, nil
}

func key(password string, salt []byte) []byte {
	return argon2.IDKey([]byte(password), salt, passes, memoryKiB, lanes, hashBytes)
}

// Is reports whether the hash is that of a password. It takes some 0.1 s and 64 MiB.
func (h Hash) Is(password string) bool {
	return len(h.sum) == hashBytes && len(password) <= MostBytes && subtle.ConstantTimeCompare(key(password, h.salt), h.sum) == 1
}

// prefix says how a hash was made.
var prefix = fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$", argon2.Version, memoryKiB, passes, lanes)

func (h Hash) String() string {
	e := base64.RawStdEncoding
	return prefix + e.EncodeToString(h.salt) + "$" + e.EncodeToString(h.sum)
}

// Parse reads what String wrote; anything else is ErrDamaged.
func Parse(text string) (Hash, error) {
	rest, ours := strings.CutPrefix(strings.TrimSpace(text), prefix)
	salt, sum, two := strings.Cut(rest, "$")
	if !ours || !two {
		return Hash{}, ErrDamaged
	}
	var h Hash
	var errSalt, errSum error
	h.salt, errSalt = base64.RawStdEncoding.Strict().DecodeString(salt)
	h.sum, errSum = base64.RawStdEncoding.Strict().DecodeString(sum)
	if errSalt != nil || errSum != nil || len(h.salt) != saltBytes || len(h.sum) != hashBytes {
		return Hash{}, ErrDamaged
	}
	return h, nil
}

// Read reads a file that Write wrote. One that is not there is fs.ErrNotExist.
func Read(name string) (Hash, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return Hash{}, err
	}
	h, err := Parse(string(text))
	if err != nil {
		return Hash{}, fmt.Errorf("%s: %w", name, err)
	}
	return h, nil
}

// Write writes the hash to a file that only its owner reads, in the place of what was
// there, whole or not at all.
func (h Hash) Write(name string) (err error) {
	dir := filepath.Dir(name)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	file, err := os.CreateTemp(dir, filepath.Base(name)+".*") // mode 0600
	if err != nil {
		return err
	}
	_, err = file.WriteString(h.String() + "\n")
	err = errors.Join(err, file.Sync(), file.Close())
	if err == nil {
		err = os.Rename(file.Name(), name)
	}
	if err != nil {
		return errors.Join(err, ignoreMissing(os.Remove(file.Name())))
	}
	return nil
}

func ignoreMissing(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}
