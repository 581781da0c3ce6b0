package main

import (
	"bytes"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"chipassay/host/record"
)

// A list has as many records as are asked for, whatever the number is; only where
// none is given is it cut, and says so.
func TestLogLimit(t *testing.T) {
	name := filepath.Join(t.TempDir(), "records.db")
	s, err := record.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	for range newest + 10 {
		if _, err := s.Append(t.Context(), record.Record{Type: "7400", Verdict: "pass"}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for limit, want := range map[int]int{2: 2, newest: newest, newest + 1: newest + 1, newest + 9: newest + 9, 0: newest + 10, -1: newest} {
		arguments := []string{"log", "--records", name}
		if limit >= 0 {
			arguments = append(arguments, "--limit", strconv.Itoa(limit))
		}
		var out, said bytes.Buffer
		root := rootCommand()
		root.SetArgs(arguments)
		root.SetOut(&out)
		root.SetErr(&said)
		if err := root.ExecuteContext(t.Context()); err != nil {
			t.Fatal(err)
		}
		if rows := strings.Count(out.String(), "\n") - 1; rows != want { // less the header
			t.Errorf("limit %d: %d records, want %d", limit, rows, want)
		}
		if cut := said.Len() > 0; cut != (limit < 0) {
			t.Errorf("limit %d: said %q", limit, said.String())
		}
	}
}
