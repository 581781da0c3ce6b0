package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"strings"
)

// nfpm makes the package. It is run at a fixed version, and not imported: as a library it
// would bring some forty modules into go.mod, and the program needs none of them.
const nfpm = "github.com/goreleaser/nfpm/v2/cmd/nfpm@v2.45.2"

// maintainer of the package: Debian Policy 5.6.2 wants a name and an address, and there is none
// to write to (RFC 2606, 2: a name in .invalid is no name). Who hands packages out puts theirs.
const maintainer = "The chipassay project <nobody@chipassay.invalid>"

// debian makes a target's package and gives its name.
func (b *builder) debian(ctx context.Context, t target, program []byte, common []file) (string, error) {
	folder := filepath.Join(b.work, "deb-"+t.arch)
	config := map[string]any{
		"name": "chipassay", "arch": t.arch, "platform": "linux", "version": b.version, "release": "1",
		"section": "electronics", "priority": "optional", "license": "see /usr/share/doc/chipassay/copyright",
		"maintainer":  maintainer,
		"description": "test vintage logic chips\nWith an ATmega2560 adapter that you build yourself, or with a virtual one.",
		"mtime":       b.day.Format("2006-01-02T15:04:05Z"),
	}
	var contents []map[string]any
	for i, f := range b.installed(program, common) {
		source := filepath.Join(folder, fmt.Sprint(i))
		if err := os.MkdirAll(folder, 0o755); err != nil {
			return "", err
		}
		if err := os.WriteFile(source, f.body, 0o600); err != nil {
			return "", err
		}
		contents = append(contents, map[string]any{"src": source, "dst": f.name,
			"file_info": map[string]any{"mode": int(f.mode), "owner": "root", "group": "root", "mtime": config["mtime"]}})
	}
	config["contents"] = contents
	text, err := json.MarshalIndent(config, "", "  ") // JSON is YAML
	if err != nil {
		return "", err
	}
	configFile := filepath.Join(folder, "nfpm.yaml")
	if err := os.WriteFile(configFile, text, 0o600); err != nil {
		return "", err
	}
	name := fmt.Sprintf("chipassay_%s-1_%s.deb", b.version, t.arch)
	out, err := filepath.Abs(filepath.Join(b.out, name))
	if err != nil {
		return "", err
	}
	_, err = b.gotool(ctx, []string{"GOFLAGS=-mod=mod"}, "run", nfpm, "package", "--packager", "deb", "--config", configFile, "--target", out)
	return name, err
}

// installed are the files where Debian has them (Debian Policy 4.6, 9.1, 12.1, 12.5 and
// 12.7): manual pages and the list of changes packed. The udev rule is an example: the
// group dialout is what Debian gives.
func (b *builder) installed(program []byte, common []file) []file {
	files := []file{{"/usr/bin/chipassay", program, 0o755}}
	const doc = "/usr/share/doc/chipassay/"
	for _, f := range common {
		switch {
		case f.name == "LICENSE":
			f.name = doc + "copyright"
		case f.name == "CHANGELOG.md":
			f.name, f.body = doc+"changelog.gz", packed(f.body)
		case strings.HasPrefix(f.name, "man/"):
			f.name, f.body = "/usr/share/"+f.name+".gz", packed(f.body)
		case f.name == "completions/chipassay.bash":
			f.name = "/usr/share/bash-completion/completions/chipassay"
		case f.name == "completions/_chipassay":
			f.name = "/usr/share/zsh/vendor-completions/_chipassay"
		case f.name == "completions/chipassay.fish":
			f.name = "/usr/share/fish/vendor_completions.d/chipassay.fish"
		case strings.HasPrefix(f.name, "completions/"):
			continue
		case strings.HasPrefix(f.name, "firmware/") && path.Base(f.name) != "README.md":
			f.name = "/usr/share/chipassay/" + f.name
		case strings.HasPrefix(f.name, "udev/"):
			f.name = doc + "examples/" + path.Base(f.name)
		default:
			f.name = doc + f.name
		}
		files = append(files, f)
	}
	return files
}

// packed is gzip without a name and a time (Debian Policy 12.1).
func packed(body []byte) []byte {
	var packed bytes.Buffer
	z, _ := gzip.NewWriterLevel(&packed, gzip.BestCompression) // the level is one
	_, _ = z.Write(body)                                       // a buffer takes all
	_ = z.Close()
	return packed.Bytes()
}
