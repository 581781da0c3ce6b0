package main

import (
	"database/sql"
	"os"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"chipassay": func() {
		if size, err := strconv.ParseUint(os.Getenv("LARGEST_FILE"), 10, 64); err == nil {
			if err := limitFiles(size); err != nil {
				panic(err)
			}
		}
		os.Exit(run())
	}})
}

// The scripts run the program as a person types it; each is one story.
func TestScripts(t *testing.T) {
	t.Cleanup(stopBrowser)
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("XDG_CONFIG_HOME", env.WorkDir+"/config")
			env.Setenv("HOME", env.WorkDir)
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){"exits": exits, "tamper": tamper, "prints": prints, "reads": reads, "draws": draws, "postgres": postgres},
	})
}

// exits STATUS COMMAND... runs a command and wants its exit status.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits STATUS COMMAND ARGUMENT...")
	}
	err := ts.Exec(args[1], args[2:]...)
	got := "0"
	if status, ok := err.(interface{ ExitCode() int }); ok {
		got = string(rune('0' + status.ExitCode()))
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if got != args[0] {
		ts.Fatalf("exit status %s, want %s", got, args[0])
	}
}

// tamper FILE STATEMENT... runs SQL on a file of records, with the triggers taken away
// and put back: what somebody who knows the program can do to it.
func tamper(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: tamper FILE STATEMENT...")
	}
	db, err := sql.Open("sqlite", ts.MkAbs(args[0]))
	ts.Check(err)
	defer db.Close()
	rows, err := db.Query("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
	ts.Check(err)
	var statements, create []string
	for rows.Next() {
		var name, text string
		ts.Check(rows.Scan(&name, &text))
		statements, create = append(statements, "DROP TRIGGER "+name), append(create, text)
	}
	ts.Check(rows.Err())
	for _, statement := range append(append(statements, args[1:]...), create...) {
		_, err := db.Exec(statement)
		ts.Check(err)
	}
}
