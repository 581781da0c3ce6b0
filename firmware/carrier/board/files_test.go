package board

import (
	"encoding/xml"
	"errors"
	"io"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"chipassay/firmware/carrier"
)

func committed(t *testing.T) *Board {
	t.Helper()
	b, err := Committed(carrier.New())
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestFilesRepeat(t *testing.T) {
	files, err := committed(t).Files()
	if err != nil {
		t.Fatal(err)
	}
	again, _ := committed(t).Files()
	if !maps.Equal(files, again) {
		t.Error("the files differ from one time to the next")
	}
	if dir := os.Getenv("BOARD_OUT"); dir != "" { // to look at them
		for name, text := range files {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
				t.Error(err)
			}
		}
	}
	for name, text := range files {
		if !strings.HasSuffix(name, ".svg") {
			continue
		}
		for d := xml.NewDecoder(strings.NewReader(text)); ; {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
	}
}

func TestFaultyBoardHasNoFiles(t *testing.T) {
	b := committed(t)
	b.Tracks = b.Tracks[1:]
	if files, err := b.Files(); err == nil || files != nil {
		t.Error("a board that lacks a track is offered")
	}
}
