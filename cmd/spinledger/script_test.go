package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) { testscript.Main(m, map[string]func(){"spinledger": main}) }

// TestScripts runs the program as typed, by the scripts in testdata/script, each in a
// folder of its own that holds the smallest job. "exit N spinledger ..." demands an exit code.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			for _, name := range []string{"mini.yaml", "stall.yaml", "a.csv.gz"} {
				data, err := os.ReadFile(root + "/testdata/smallest/" + name)
				if err != nil {
					return err
				}
				to := filepath.Join(e.WorkDir, "mini", name)
				if _, err := os.Stat(to); err == nil {
					continue // the script brings its own
				}
				if err := os.MkdirAll(filepath.Dir(to), 0o777); err != nil {
					return err
				}
				if err := os.WriteFile(to, data, 0o666); err != nil {
					return err
				}
			}
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){"exit": exitCode},
	})
}

func exitCode(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exit N program ...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	var failed *exec.ExitError
	switch err := ts.Exec(args[1], args[2:]...); {
	case errors.As(err, &failed):
		got = failed.ExitCode()
	case err != nil:
		ts.Fatalf("%v", err)
	}
	if got != want {
		ts.Fatalf("exit %d, want %d", got, want)
	}
}
