package board

import (
	"os"
	"path/filepath"
	"testing"
)

func TestWrite(t *testing.T) {
	b, err := Committed()
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range b.Files() {
		os.WriteFile(filepath.Join("/tmp/pcbout", name), []byte(text), 0o666)
	}
}
