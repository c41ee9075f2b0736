package main

import (
	"io"
	"os"
	"runtime"

	"github.com/spf13/cobra"

	"spinledger/pipeline"
	"spinledger/pipeline/store"
	"spinledger/reports"
)

func regenerateCommand(disk store.Disk, stdout, stderr io.Writer) *cobra.Command {
	var root, in, keep string
	var workers int
	var asJSON bool
	c := &cobra.Command{
		Use:   "regenerate [JOB...]",
		Short: "Compute again from the log alone, and compare byte for byte",
		Long: `regenerate copies the files that the logs name into a clean place, runs the program over
them there, and compares every result of the log and every file with what the run
left. The first difference is named, as step and field or as table, column and row, and
whether inputs, options, the program or the platform differ. --in names an output folder,
whose inputs lie below --root, or an archive.

Exit codes: 0 the same bytes; 1 something differs; 2 the files or the call are wrong.`,
		Example: "  spinledger regenerate\n  spinledger regenerate weir-1104 --in catalogue.zip",
		RunE: func(_ *cobra.Command, args []string) error {
			e, done, err := openEvidence(in, root)
			if err != nil {
				return err
			}
			defer done()
			dir := keep
			if dir == "" {
				if dir, err = os.MkdirTemp("", "spinledger-"); err != nil {
					return err
				}
				defer os.RemoveAll(dir)
			}
			r, err := e.Regenerate(dir, disk, pipeline.RegenerateOptions{Jobs: args, Workers: workers})
			if err != nil {
				return broken(stderr, err)
			}
			err = answer(stdout, asJSON, r, func() error { return reports.RegeneratedText(stdout, r) })
			if err == nil && !r.Same() {
				err = &exitError{1}
			}
			return err
		},
	}
	c.Flags().StringVar(&in, "in", "out", "output folder, or an archive (folder or zip file)")
	c.Flags().StringVar(&root, "root", ".", "folder that the inputs of an output folder lie below")
	c.Flags().StringVar(&keep, "keep", "", "a new or empty folder to compute in and leave; without it a temporary one")
	c.Flags().IntVar(&workers, "workers", runtime.GOMAXPROCS(0), "recordings read at once; changes no result")
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON on stdout")
	return c
}
