package main

import (
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"path"

	"github.com/spf13/cobra"

	"spinledger/pipeline"
	"spinledger/pipeline/store"
	"spinledger/reports"
	"spinledger/stages/kit/spin"
)

func triageCommand(stdout io.Writer) *cobra.Command {
	var root, bench string
	var polePairs int
	var asJSON, all bool
	c := &cobra.Command{
		Use:   "triage RECORDING|FOLDER|JOB",
		Short: "Judge recordings just made, while the rotor is still mounted",
		Long: `triage looks at one recording and says whether it can be used and what to change at
the bench; at a folder that is being filled, or a job file whose recordings are not
all there, and says whether each rotor may come off. A recording that no job
declares is read by its headings; with --bench by the bench file. Nothing is written.

Exit codes: 0 usable; 1 record again, or a rotor must stay on; 2 the files or the call are wrong.`,
		Example: "  spinledger triage rec/bare-a.csv\n  spinledger triage rec --bench benches/loft.yaml --pole-pairs 7\n  spinledger triage jobs/weir-1104.yaml",
		Args:    cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			r, err := store.OpenRoot(root)
			if err != nil {
				return err
			}
			defer r.Close()
			t, err := triageOf(r, root, args[0], bench, polePairs)
			if err != nil {
				return err
			}
			if asJSON {
				e := json.NewEncoder(stdout)
				e.SetIndent("", "  ")
				err = e.Encode(t)
			} else {
				err = t.Write(stdout, all)
			}
			if err != nil {
				return err
			}
			if unready(t) {
				return &exitError{1}
			}
			return nil
		},
	}
	c.Flags().StringVar(&root, "root", ".", "folder that nothing is read outside of")
	c.Flags().StringVar(&bench, "bench", "", "bench file that describes the columns; absent: guessed from headings")
	c.Flags().IntVar(&polePairs, "pole-pairs", 0, "pole pairs of the motor, where the speed is electrical")
	c.Flags().BoolVar(&asJSON, "json", false, "everything as JSON on stdout")
	c.Flags().BoolVar(&all, "all", false, "every item of every recording")
	return c
}

// triageOf tells a recording, a folder and a job file apart.
func triageOf(r *store.Root, root, arg, bench string, polePairs int) (*reports.Triage, error) {
	name, err := below(root, arg)
	if err != nil {
		return nil, err
	}
	opt, err := known(root, bench, polePairs)
	if err != nil {
		return nil, err
	}
	info, err := fs.Stat(r, name)
	if err != nil {
		return nil, fmt.Errorf("%s: got nothing of that name; want a recording, a folder of them or a job file", arg)
	}
	switch ext := path.Ext(name); {
	case info.IsDir():
		files, err := pipeline.RecordingFiles(r, name)
		if err != nil {
			return nil, err
		}
		return pipeline.TriageFiles(r, files, true, opt)
	case ext == ".yaml" || ext == ".yml":
		return pipeline.TriageJob(r, name)
	default:
		return pipeline.TriageFiles(r, []string{name}, false, opt)
	}
}

func unready(t *reports.Triage) bool {
	for _, r := range t.Rotors {
		if !r.MayComeOff {
			return true
		}
	}
	for _, r := range t.Recordings {
		if r.Judgement.Verdict == spin.RecordAgain {
			return true
		}
	}
	return false
}
