//go:build unix

package main

import (
	"io"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// A page that is sent to a pipe, as to /dev/null, goes into it and does not take its place
// (common practice of programs that write files).
func TestAPipeIsWrittenToAndStays(t *testing.T) {
	name := filepath.Join(t.TempDir(), "pipe")
	require.NoError(t, syscall.Mkfifo(name, 0o600))
	read := make(chan string)
	go func() {
		text, _ := os.ReadFile(name)
		read <- string(text)
	}()
	require.NoError(t, writeFile(name, func(w io.Writer) error {
		_, err := io.WriteString(w, "a page")
		return err
	}))
	require.Equal(t, "a page", <-read)
	there, err := os.Stat(name)
	require.NoError(t, err)
	require.NotZero(t, there.Mode()&os.ModeNamedPipe)
}
