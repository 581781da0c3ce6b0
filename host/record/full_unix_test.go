//go:build unix

package record

import (
	"os/signal"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// limitFiles bounds the size of every file that this program writes, in bytes.
func limitFiles(args []string) error {
	if len(args) == 0 {
		return nil
	}
	size, err := strconv.ParseUint(args[0], 10, 64)
	if err != nil {
		return err
	}
	signal.Ignore(syscall.SIGXFSZ) // so that the write fails, as on a full disk
	return syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: size, Max: size})
}

// The limit on a file's size (RLIMIT_FSIZE) makes the writes of SQLite fail at
// some byte, as a full disk does, without the rights that a small disk asks for.
func TestDiskFull(t *testing.T) {
	path := filepath.Join(t.TempDir(), "records.sqlite")
	for i := range 5 {
		c, out := child(t, path, "1000", "3000", strconv.Itoa(400_000+i*77_777))
		records, said := acknowledged(t, out, func(int) {})
		require.Contains(t, said, "error append to records: ")
		require.Error(t, c.Wait())
		require.NotEmpty(t, records)
		s, err := Open(path)
		require.NoError(t, err)
		for serial, digest := range records {
			require.Equal(t, digest, mustGet(t, s, serial).Digest)
		}
		var have int
		require.NoError(t, s.db.QueryRow("SELECT count(*) FROM record").Scan(&have))
		verified(t, s, have)
		appended(t, s, nand()) // there is room again
		require.NoError(t, s.Close())
	}
}
