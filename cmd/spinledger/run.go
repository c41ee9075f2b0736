package main

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"spinledger/pipeline"
	"spinledger/pipeline/job"
	"spinledger/pipeline/store"
)

// tree is the root that everything is read below, and the jobs named on the command line.
type tree struct {
	root *store.Root
	jobs []*job.Job
}

// openTree opens the root and reads all jobs; the error is the user's.
func openTree(root string, args []string) (*tree, error) {
	r, names, err := findJobs(root, args)
	if err != nil {
		return nil, err
	}
	jobs, err := pipeline.ReadJobs(r, names)
	if err != nil {
		r.Close()
		return nil, err
	}
	return &tree{r, jobs}, nil
}

// findJobs opens the root and lists the job files that args mean.
func findJobs(root string, args []string) (*store.Root, []string, error) {
	r, err := store.OpenRoot(root)
	if err != nil {
		return nil, nil, err
	}
	var names []string
	for _, a := range args {
		rel, err := below(root, a)
		if err != nil {
			r.Close()
			return nil, nil, err
		}
		found, err := pipeline.FindJobs(r, rel)
		if err != nil {
			r.Close()
			return nil, nil, err
		}
		names = append(names, found...)
	}
	return r, names, nil
}

// below is a path as the root's tree names it.
func below(root, name string) (string, error) {
	absRoot, err := filepath.Abs(root)
	if err != nil {
		return "", err
	}
	abs, err := filepath.Abs(name)
	if err != nil {
		return "", err
	}
	rel, err := filepath.Rel(absRoot, abs)
	if err != nil || !fs.ValidPath(filepath.ToSlash(rel)) {
		return "", fmt.Errorf("%s: got a path outside the root %s; want one below it (see --root)", name, root)
	}
	return filepath.ToSlash(rel), nil
}

func runCommand(disk store.Disk, stdout, stderr io.Writer) *cobra.Command {
	var root, out, book string
	var workers int
	var asJSON, all, rehash bool
	c := &cobra.Command{
		Use:   "run JOB|FOLDER...",
		Short: "Compute jobs: recordings to checked inertias",
		Long: `run reads the job files named, or those directly in the folders named, computes
them, writes one folder of tables and logs a job below --out, and prints the numbers
with their release state, then what failed and why. What did not change since the
last run into the same folder is not computed again; what is lost or damaged there is
made again. The catalogue's page compares the numbers with the ledger, which is only read.

Exit codes: 0 all gating checks pass; 1 one failed; 2 the files or the call are wrong.`,
		Example: "  spinledger run jobs\n  spinledger run jobs/weir-1104.yaml --out out --all",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			r, names, err := findJobs(root, args)
			if err != nil {
				return err
			}
			defer r.Close()
			// The usual ledger is that of the root, wherever the program was called.
			with := defaultLedger
			if book != "" {
				if with, err = below(root, book); err != nil {
					return err
				}
				if _, err := fs.Stat(r, with); err != nil {
					return fmt.Errorf("%s: got no such file; want a ledger", book)
				}
			}
			done, err := pipeline.Run(r, names, out, disk, pipeline.RunOptions{Ledger: with, Workers: workers, Rehash: rehash, Progress: progress(stderr)})
			if err != nil {
				fmt.Fprintln(stderr, err)
				if pipeline.IsUserError(err) {
					return &exitError{2}
				}
				return &exitError{1}
			}
			defer done.Close()
			if asJSON {
				err = done.JSON(stdout)
			} else {
				err = done.Summary(stdout, all)
			}
			if err != nil {
				return err
			}
			if done.Failed {
				return &exitError{1}
			}
			return nil
		},
	}
	c.Flags().StringVar(&root, "root", ".", "folder that nothing is read outside of")
	c.Flags().StringVar(&out, "out", "out", "folder for tables and logs; never one that holds inputs")
	c.Flags().StringVar(&book, "ledger", "", "the ledger file, below the root; without it "+defaultLedger+" there, if it exists")
	c.Flags().IntVar(&workers, "workers", runtime.GOMAXPROCS(0), "recordings read at once; changes no result")
	c.Flags().BoolVar(&rehash, "rehash", false, "read every recording and output instead of trusting size, times and inode")
	c.Flags().BoolVar(&asJSON, "json", false, "numbers and checks as JSON on stdout")
	c.Flags().BoolVar(&all, "all", false, "also direct numbers, warnings, informing checks and what cannot be told")
	return c
}

// progress draws a bar on a terminal and nothing elsewhere.
func progress(stderr io.Writer) func(done, total int) {
	f, ok := stderr.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil
	}
	var bar *progressbar.ProgressBar
	return func(done, total int) {
		if bar == nil {
			bar = progressbar.NewOptions(total, progressbar.OptionSetWriter(f), progressbar.OptionSetDescription("recordings"), progressbar.OptionClearOnFinish(), progressbar.OptionSetWidth(30))
		}
		_ = bar.Set(done)
	}
}
