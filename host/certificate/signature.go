package certificate

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"regexp"
	"strings"
)

// How a page is signed. A page of certificates begins with pageStart and ends with
// pageEnd. Its signature is one element, of which every byte is fixed by the public
// key and the signature; it is directly before pageEnd and nowhere else. The
// signature is that of Ed25519 (RFC 8032, section 5.1) over the domain, and after it
// every byte of the file with the element taken out.
const (
	domain    = "chipassay certificate signature 1\x00"
	pageStart = "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"generator\" content=\"chipassay certificate 1\">\n"
	pageEnd   = "</body>\n</html>\n"

	// elementStart occurs nowhere else in a page: a text's < is escaped.
	elementStart = `<section class="signature" id="signature" data-key="`
	elementText  = elementStart + `KEY" data-signature="SIGNATURE">
<style>@page { @bottom-center { content: "signed by key FINGERPRINT"; white-space: nowrap; vertical-align: top; padding-top: 2mm; font: 5.5pt monospace; color: #5a5750; } }</style>
<div><h2>Signed</h2>
<p>This page is signed by the key with the fingerprint (SHA-256 of the public key)</p>
<p class="mono">FINGERPRINT</p>
<p>Whose key that is, this page cannot prove: compare the fingerprint with one that you have from its owner. The signature is of the file, not of the print: chipassay certificate verify says whether the file is as it was signed. The Ed25519 signature is</p>
<p class="mono">SIGNATURE</p></div>
</section>
`
)

// Errors of signing and verifying.
var (
	ErrNotOurs   = errors.New("not a certificate that this program made")
	ErrSigned    = errors.New("signed already")
	ErrNotSigned = errors.New("not signed")
	ErrChanged   = errors.New("changed since it was signed")
)

// element is the signature's element.
func element(public ed25519.PublicKey, signature []byte) string {
	return strings.NewReplacer(
		"KEY", hex.EncodeToString(public), "SIGNATURE", hex.EncodeToString(signature), "FINGERPRINT", Key{Public: public}.Fingerprint(),
	).Replace(elementText)
}

// signed is what the signature is of.
func signed(page []byte) []byte { return append([]byte(domain), page...) }

// Sign gives a page of certificates with its signature in it.
func Sign(file []byte, k Key) ([]byte, error) {
	switch {
	case k.Private == nil:
		return nil, fmt.Errorf("a public key cannot sign: name the private key: %w", ErrKey)
	case bytes.Contains(file, []byte(elementStart)):
		return nil, fmt.Errorf("%w: make the certificate again to sign it with another key", ErrSigned)
	case !bytes.HasPrefix(file, []byte(pageStart)) || !bytes.HasSuffix(file, []byte(pageEnd)):
		return nil, fmt.Errorf("%w, or was changed: only unchanged ones are signed", ErrNotOurs)
	}
	body := file[:len(file)-len(pageEnd)]
	return fmt.Appendf(nil, "%s%s%s", body, element(k.Public, ed25519.Sign(k.Private, signed(file))), pageEnd), nil
}

// Verify gives the key that signed a file, if not one byte of it changed since:
// none of the page, none of the signature, none before or after. The key is the
// one that the file names: whose it is, the file does not prove.
func Verify(file []byte) (Key, error) {
	at := bytes.Index(file, []byte(elementStart))
	switch {
	case at < 0 && !bytes.HasPrefix(file, []byte(pageStart)):
		return Key{}, ErrNotOurs
	case at < 0:
		return Key{}, ErrNotSigned
	}
	m := attributes.FindSubmatch(file[at:])
	if m == nil {
		return Key{}, fmt.Errorf("%w: the signature itself was changed", ErrChanged)
	}
	key, _ := hex.DecodeString(string(m[1])) // digits
	signature, _ := hex.DecodeString(string(m[2]))
	// All behind the page's own part is fixed: another signature, and whatever was added, differ from this.
	if string(file[at:]) != element(key, signature)+pageEnd {
		return Key{}, fmt.Errorf("%w: the signature, or what follows it, was changed", ErrChanged)
	}
	page := append(bytes.Clone(file[:at]), pageEnd...)
	if !bytes.HasPrefix(page, []byte(pageStart)) || !ed25519.Verify(key, signed(page), signature) {
		return Key{}, ErrChanged
	}
	return Key{Public: key}, nil
}

// attributes are the public key of 32 bytes and the signature of 64, in hexadecimal, at the
// start of a signature's element.
var attributes = regexp.MustCompile(`^` + elementStart + `([0-9a-f]{64})" data-signature="([0-9a-f]{128})">`)
