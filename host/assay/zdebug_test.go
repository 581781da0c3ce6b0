package assay_test

import (
	"chipassay/vectors/library"
	"fmt"
	"github.com/stretchr/testify/require"
	"os"
	"strings"
	"testing"
)

func TestZDebug(t *testing.T) {
	for _, pair := range strings.Fields(os.Getenv("ZP")) {
		a, b, _ := strings.Cut(pair, ":")
		typed, err := library.Open(a)
		require.NoError(t, err)
		in, err := library.Open(b)
		require.NoError(t, err)
		r := assayWrong(t, wrongPart{typed, in})
		fmt.Println("====", pair, r.Verdict, r.OtherPart, r.Reason, "\n", strings.Join(r.Findings, "\n   "))
	}
}
