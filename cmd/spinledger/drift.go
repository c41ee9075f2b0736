package main

import (
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"math"

	"github.com/spf13/cobra"

	"spinledger/pipeline"
	"spinledger/pipeline/job"
	"spinledger/pipeline/ledger"
	"spinledger/pipeline/store"
	"spinledger/reports"
)

func driftCommand(stdout, stderr io.Writer) *cobra.Command {
	opt := pipeline.DefaultDrift()
	var root, book, accept string
	var asJSON bool
	c := &cobra.Command{
		Use:   "drift [BEFORE] AFTER",
		Short: "What moved: an output against the ledger, or two outputs",
		Long: `drift compares the numbers of an output folder or archive (AFTER) with the released ones of the
ledger, or with another output folder or archive (BEFORE), and says which were added, are
gone, or moved, by how much, and why: recording, job file, method version, program.

Where the recordings are the same, the shift is given in % and in units of U, and the limit
is --limit, for the change of U too. Where they were made anew, the difference is compared with the expanded
uncertainty of the difference, what both share (weights, arm, disk, inflow) taken out; the limit is
--limit-remeasured. A released number that is gone, or no longer fit for release, is above
any limit. A file of accepted moves (--accept) covers what is meant; one that accepts nothing is an error.
Several causes at once are computed one at a time where both sides hold their inputs, as archives do.

Exit codes: 0 nothing above its limit; 1 something is; 2 the files or the call are wrong.`,
		Example: "  spinledger drift out\n  spinledger drift out --limit 0.05 --accept jobs/accepted/moves.yaml\n  spinledger drift last-week.zip out",
		Args:    cobra.RangeArgs(1, 2),
		RunE: func(_ *cobra.Command, args []string) error {
			for name, v := range map[string]float64{"--limit": opt.Limit, "--limit-remeasured": opt.LimitRemeasured} {
				if !(v >= 0) || math.IsInf(v, 0) {
					return fmt.Errorf("%s: got %g; want a number of at least 0", name, v)
				}
			}
			r, err := store.OpenRoot(root)
			if err != nil {
				return err
			}
			defer r.Close()
			if accept != "" {
				name, err := below(root, accept)
				if err != nil {
					return err
				}
				if opt.Moves, err = job.ReadMoves(r, name); err != nil {
					return err
				}
			}
			after, err := openOutput(args[len(args)-1])
			if err != nil {
				return err
			}
			defer after.close()
			var before []pipeline.Earlier
			was := &pipeline.Inputs{Tree: r}
			if len(args) == 2 {
				b, err := openOutput(args[0])
				if err != nil {
					return err
				}
				defer b.close()
				before = pipeline.FromOutput(b.found)
				was.Archives = []fs.FS{b.fsys}
			} else if before, err = released(r, root, book); err != nil {
				return err
			}
			moved, unused := pipeline.Drift(before, after.found, opt)
			pipeline.Separate(moved, before, after.found, was, &pipeline.Inputs{Tree: r, Archives: []fs.FS{after.fsys}})
			if err := showDrift(stdout, moved, asJSON); err != nil {
				return err
			}
			for _, u := range unused {
				fmt.Fprintln(stderr, u)
			}
			if pipeline.Drifted(moved) || len(unused) > 0 {
				return &exitError{1}
			}
			return nil
		},
	}
	c.Flags().StringVar(&root, "root", ".", "folder that nothing is read outside of, but for outputs and archives")
	c.Flags().StringVar(&book, "ledger", defaultLedger, "the ledger file, below the root")
	c.Flags().StringVar(&accept, "accept", "", "file of accepted moves, below the root")
	c.Flags().Float64Var(&opt.Limit, "limit", opt.Limit, "largest shift of a number recomputed from the same recordings, in units of its U")
	c.Flags().Float64Var(&opt.LimitRemeasured, "limit-remeasured", opt.LimitRemeasured, "largest difference of a number measured anew, in units of the U of the difference")
	c.Flags().BoolVar(&asJSON, "json", false, "all numbers as JSON on stdout")
	return c
}

// released are the released numbers of the ledger.
func released(r *store.Root, root, book string) ([]pipeline.Earlier, error) {
	name, err := below(root, book)
	if err != nil {
		return nil, err
	}
	l, err := ledger.Read(r, name)
	if err != nil {
		return nil, err
	}
	return pipeline.FromLedger(r, l)
}

// output is an output folder or an archive, open.
type output struct {
	fsys  fs.FS
	found *ledger.Output
	close func() error
}

func openOutput(name string) (*output, error) {
	fsys, closer, err := store.OpenPacked(name)
	if err != nil {
		return nil, err
	}
	found, err := ledger.ReadOutput(fsys, name)
	if err != nil {
		closer()
		return nil, err
	}
	return &output{fsys, found, closer}, nil
}

func showDrift(w io.Writer, moved []reports.Moved, asJSON bool) error {
	if !asJSON {
		return reports.Drift(w, moved)
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(moved)
}
