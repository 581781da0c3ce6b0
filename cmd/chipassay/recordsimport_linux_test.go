package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// On a terminal a person is shown what a list would add, and asked; Enter alone adds nothing.
func TestImportAsks(t *testing.T) {
	home := t.TempDir()
	list, file := filepath.Join(home, "list.csv"), filepath.Join(home, "r.db")
	require.NoError(t, os.WriteFile(list, []byte("IC;Lade\n7400;D1\n7402;D1\n"), 0o644))
	for _, answer := range []string{"\n", "n\n", "yes please\n"} {
		x := atTerminal(t, home, "records", "import", list, "--columns", "part=IC, drawer=Lade", "--records", file)
		x.sees("2 lines are 2 chips")
		x.sees("Add them?")
		x.types(answer, "nothing was added")
		require.Zero(t, x.status())
		require.NoFileExists(t, file)
	}
	x := atTerminal(t, home, "records", "import", list, "--columns", "part=IC, drawer=Lade", "--records", file)
	x.sees("Add them?")
	x.types("Y\n", "2 chips added")
	require.Zero(t, x.status())
	require.FileExists(t, file)
}
