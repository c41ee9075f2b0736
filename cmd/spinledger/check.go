package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"spinledger/pipeline"
)

func checkCommand(stdout, stderr io.Writer) *cobra.Command {
	var root string
	c := &cobra.Command{
		Use:   "check JOB|FOLDER...",
		Short: "Check files and names; compute nothing",
		Long: `check reads the job, bench and parts files, looks whether every recording is there,
lists what is still a guess (unsettled), and compares declared top speeds with the speed at which reference disks would yield.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			t, err := openTree(root, args)
			if err != nil {
				return err
			}
			defer t.root.Close()
			bad := false
			for _, j := range t.jobs {
				fmt.Fprintf(stdout, "%s: %s: %d recordings, %d parts, files good\n", j.File, j.ID, len(j.Recordings), len(j.Parts))
				for _, x := range j.Unsettled {
					fmt.Fprintf(stdout, "%s: %s: a guess: %s\n", x.File, x.Key, x.Why)
				}
				for _, w := range pipeline.SpinCheck(j) {
					fmt.Fprintf(stderr, "%s: %s\n", w.Subject, w.Text)
					bad = true
				}
			}
			if bad {
				return &exitError{1}
			}
			return nil
		},
	}
	c.Flags().StringVar(&root, "root", ".", "folder that nothing is read outside of")
	return c
}
