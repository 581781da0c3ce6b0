package report

import (
	"encoding/base64"
	"html/template"
	"time"
)

// A Photo is a picture of the chip's top, as a page shows it.
type Photo struct {
	JPEG          []byte
	SHA256        string // of it, hexadecimal
	Width, Height int    // pixels
	Added         time.Time
}

// Source is the picture as a data: URL (RFC 2397), so that the page stands alone.
func (p Photo) Source() template.URL {
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(p.JPEG))
}

// Caption says what the picture is.
func (p Photo) Caption() string {
	return "Photo added on " + p.Added.UTC().Format("2 January 2006, 15:04 UTC") + ". The test does not look at it."
}
