// Command spinledger derives moments of inertia from bench recordings by job
// files, and writes tables and a provenance log.
//
// Results go to stdout or files, everything else to stderr; a progress bar only when
// stderr is a terminal. Exit codes: 0 all good; 1 a computation or a gating check
// failed; 2 the files or the call are wrong.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"spinledger/pipeline/store"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// exitError carries an exit code; its message, if any, was printed already.
type exitError struct{ code int }

func (e *exitError) Error() string { return fmt.Sprintf("exit %d", e.code) }

// run is the program: arguments in, streams out, exit code back.
func run(args []string, stdout, stderr io.Writer) int {
	return runOn(store.RealDisk(), args, stdout, stderr)
}

// runOn is run with the disk that output goes to.
func runOn(disk store.Disk, args []string, stdout, stderr io.Writer) int {
	root := &cobra.Command{
		Use:   "spinledger",
		Short: "Moments of inertia from bench recordings, by job files, traceably",
		Long: `spinledger computes moments of inertia of small motors' rotors, disks and propellers
from reaction-torque recordings that job files declare, checks them, and writes
Parquet tables and a provenance log.

Spinning disks and propellers can injure: use a guard and eye protection, keep
disks well below their yield speed, store and charge lithium packs as their maker
says. Local codes and qualified people decide.`,
		SilenceUsage: true, SilenceErrors: true,
	}
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	root.AddCommand(
		runCommand(disk, stdout, stderr),
		checkCommand(stdout, stderr),
		auditCommand(stdout, stderr),
		regenerateCommand(disk, stdout, stderr),
		archiveCommand(disk, stdout, stderr),
		attestCommand(disk, stdout, stderr),
		triageCommand(stdout),
		raceCommand(stdout),
		draftCommand(stdout, stderr),
		releaseCommand(disk, stdout, stderr),
		withdrawCommand(disk, stdout, stderr),
		driftCommand(stdout, stderr),
	)
	err := root.Execute()
	var exit *exitError
	switch {
	case err == nil:
		return 0
	case errors.As(err, &exit):
		return exit.code
	default:
		fmt.Fprintln(stderr, err)
		return 2
	}
}
