package main

import (
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"chipassay": func() { os.Exit(run()) }})
}

// The scripts run the program as a person types it; each is one story.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("XDG_CONFIG_HOME", env.WorkDir+"/config")
			env.Setenv("HOME", env.WorkDir)
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){"exits": exits},
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
