package certificate

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
)

// ErrKey is the error for what is no key of this kind.
var ErrKey = errors.New("not an Ed25519 key")

// A Key is an Ed25519 key (RFC 8032). Private is nil where only the public half is known.
type Key struct {
	Public  ed25519.PublicKey
	Private ed25519.PrivateKey
}

// NewKey makes a key from the system's random numbers.
func NewKey() (Key, error) {
	public, private, err := ed25519.GenerateKey(rand.Reader)
	return Key{public, private}, err
}

// The blocks of PEM in which keys are kept.
const (
	privateBlock = "PRIVATE KEY" // PKCS #8, RFC 5958, not encrypted
	publicBlock  = "PUBLIC KEY"  // SubjectPublicKeyInfo of PKIX, RFC 8410
)

// PEM is the private and the public key as files.
func (k Key) PEM() (private, public []byte, err error) {
	p8, err1 := x509.MarshalPKCS8PrivateKey(k.Private)
	pkix, err2 := x509.MarshalPKIXPublicKey(k.Public)
	return pem.EncodeToMemory(&pem.Block{Type: privateBlock, Bytes: p8}),
		pem.EncodeToMemory(&pem.Block{Type: publicBlock, Bytes: pkix}), errors.Join(err1, err2)
}

// ReadKey reads a private or a public key from what Key.PEM wrote.
func ReadKey(file []byte) (Key, error) {
	block, _ := pem.Decode(file)
	if block == nil {
		return Key{}, fmt.Errorf("%w: there is no PEM block in it", ErrKey)
	}
	var key any
	var err error
	switch block.Type {
	case privateBlock:
		key, err = x509.ParsePKCS8PrivateKey(block.Bytes)
	case publicBlock:
		key, err = x509.ParsePKIXPublicKey(block.Bytes)
	default:
		err = fmt.Errorf("its PEM block is %q, not %q or %q", block.Type, privateBlock, publicBlock)
	}
	if err != nil {
		return Key{}, fmt.Errorf("%w: %w", ErrKey, err)
	}
	switch key := key.(type) {
	case ed25519.PrivateKey:
		return Key{key.Public().(ed25519.PublicKey), key}, nil
	case ed25519.PublicKey:
		return Key{Public: key}, nil
	}
	return Key{}, fmt.Errorf("%w: it is of another kind (%T)", ErrKey, key)
}

// Fingerprint names the key: the SHA-256 of the 32 bytes of the public key, in
// hexadecimal.
func (k Key) Fingerprint() string {
	sum := sha256.Sum256(k.Public)
	return hex.EncodeToString(sum[:])
}
