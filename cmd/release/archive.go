package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// archive writes a target's archive and gives its name: a zip file for Windows, and tar
// with gzip elsewhere. All is in one folder of the archive's name.
func (b *builder) archive(t target, program []byte, common []file) (string, error) {
	folder := fmt.Sprintf("chipassay-%s-%s-%s", b.version, t.name(), t.arch)
	files := []file{{t.program(), program, 0o755}}
	for _, f := range common {
		if strings.HasPrefix(f.name, "udev/") && t.os != "linux" {
			continue
		}
		files = append(files, f)
	}
	slices.SortFunc(files, func(a, b file) int { return strings.Compare(a.name, b.name) })
	for i := range files {
		files[i].name = folder + "/" + files[i].name
	}
	name, pack := folder+".tar.gz", tarred
	if t.os == "windows" {
		name, pack = folder+".zip", zipped
	}
	packed, err := pack(files, b.day)
	if err != nil {
		return "", err
	}
	return name, os.WriteFile(filepath.Join(b.out, name), packed, 0o644)
}

// tarred packs files, all of one time and of nobody in particular.
func tarred(files []file, at time.Time) ([]byte, error) {
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed) // the best compression takes 4 s more for 0.3 %
	w := tar.NewWriter(z)
	for _, f := range files {
		h := &tar.Header{Name: f.name, Size: int64(len(f.body)), Mode: int64(f.mode), ModTime: at, Format: tar.FormatUSTAR}
		if err := w.WriteHeader(h); err != nil {
			return nil, err
		}
		if _, err := w.Write(f.body); err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return packed.Bytes(), nil
}

// zipped packs files likewise.
func zipped(files []file, at time.Time) ([]byte, error) {
	var packed bytes.Buffer
	w := zip.NewWriter(&packed)
	for _, f := range files {
		h := &zip.FileHeader{Name: f.name, Method: zip.Deflate, Modified: at}
		h.SetMode(f.mode)
		p, err := w.CreateHeader(h)
		if err != nil {
			return nil, err
		}
		if _, err := p.Write(f.body); err != nil {
			return nil, err
		}
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return packed.Bytes(), nil
}
