package certificate

import (
	"fmt"
	"strings"

	"rsc.io/qr"

	"chipassay/host/report"
)

// quiet is the light margin around a QR code, in modules: ISO/IEC 18004 asks for 4.
const quiet = 4

// A code is a QR code.
type code struct{ *qr.Code }

// QR is the code of the current record: its number and digest.
func (c Certificate) QR() (code, error) {
	q, err := qr.Encode(fmt.Sprintf("CHIPASSAY RECORD %d %s", c.Serial(), strings.ToUpper(c.Record.Digest)), qr.M)
	return code{q}, err
}

// Side is the width and height with the quiet zone, in modules.
func (c code) Side() int { return c.Size + 2*quiet }

// Path draws the dark modules in SVG, one unit a module, the quiet zone left free.
func (c code) Path() string {
	return report.Cells(c.Side(), c.Side(), func(x, y int) bool { return c.Black(x-quiet, y-quiet) })
}
