package main

import (
	"encoding/json"
	"fmt"
	"io"
	"path"
	"runtime"

	"github.com/spf13/cobra"

	"spinledger/pipeline"
	"spinledger/pipeline/job"
	"spinledger/reports"
)

func raceCommand(stdout io.Writer) *cobra.Command {
	var root, of string
	var workers int
	var asJSON, all bool
	var supplies, onto []string
	keys := []struct{ flag, key, doc, value string }{
		{flag: "duty", key: "duty", doc: "throttle that is stepped to, such as '70 %'"},
		{flag: "ramp", key: "ramp", doc: "time in which the throttle rises"},
		{flag: "speed", key: "speed", doc: "from one speed to another, such as '8000 rpm -> 20000 rpm'"},
		{flag: "thrust", key: "thrust", doc: "from one thrust to another, such as '1.2 N -> 4.5 N'"},
		{flag: "from", key: "from", doc: "first speed, with --to-final"},
		{flag: "to-final", key: "to_final", doc: "to this share of the final speed, such as '90 %'"},
		{flag: "added-load", key: "added_load", doc: "constant torque that brakes besides"},
		{flag: "extrapolate", key: "extrapolate", doc: "yes: also outside the recordings"},
	}
	c := &cobra.Command{
		Use:   "race JOB... [PART...]",
		Short: "Which spins up quicker: propellers, motors or supplies",
		Long: `race computes the jobs and sets times against each other: what the job files ask
under respond:, requests of one name together, or what the flags ask. Parts compare
propellers, several jobs compare motors, several --supply compare supplies. With --onto
the parts are put on the motors of other jobs: inertia and load of that motor's own bell,
and what the parts added to the bell they were measured on. Errors that both share are
taken out of a difference. Nothing is written.

Exit codes: 0 compared; 1 fewer than two have an answer; 2 the files or the call are wrong.`,
		Example: `  spinledger race jobs/sluice-4006.yaml --of punch
  spinledger race jobs/sluice-4006.yaml prop-13x4/A prop-13x5/A --supply '22.2 V' --duty '70 %' --speed '2600 rpm -> 3700 rpm'
  spinledger race jobs/weir-1104.yaml prop-3x2/A --onto jobs/penstock-2207.yaml --onto jobs/weir-1104.yaml --supply '14.8 V' --duty '55 %' --speed '9300 rpm -> 11100 rpm' --extrapolate yes`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			var files, parts []string
			for _, a := range args {
				if ext := path.Ext(a); ext == ".yaml" || ext == ".yml" || len(files) == 0 {
					files = append(files, a)
				} else {
					parts = append(parts, a)
				}
			}
			t, err := openTree(root, files)
			if err != nil {
				return err
			}
			defer t.root.Close()
			q := pipeline.Question{Parts: parts, Supplies: supplies}
			for _, k := range keys {
				if k.value != "" {
					q.Keys = append(q.Keys, job.Asked{Key: k.key, Value: k.value})
				}
			}
			entries, err := entriesOf(t.jobs, q, of)
			if err != nil {
				return err
			}
			motors, err := jobsOf(root, onto)
			if err != nil {
				return err
			}
			heats, err := pipeline.Race(t.root, entries, motors, workers)
			if err != nil {
				return err
			}
			return showRace(stdout, heats, asJSON, all)
		},
	}
	for i := range keys {
		c.Flags().StringVar(&keys[i].value, keys[i].flag, "", keys[i].doc)
	}
	c.Flags().StringArrayVar(&supplies, "supply", nil, "supply voltage at no load, such as '14.8 V'; several are compared")
	c.Flags().StringArrayVar(&onto, "onto", nil, "job on whose motor the parts are put; several are compared")
	c.Flags().StringVar(&of, "of", "", "only requests of this name")
	c.Flags().StringVar(&root, "root", ".", "folder that nothing is read outside of")
	c.Flags().IntVar(&workers, "workers", runtime.GOMAXPROCS(0), "recordings read at once; changes no result")
	c.Flags().BoolVar(&asJSON, "json", false, "everything as JSON on stdout")
	c.Flags().BoolVar(&all, "all", false, "every two of a set, not only neighbours")
	return c
}

// jobsOf are the jobs of files below the root.
func jobsOf(root string, files []string) ([]*job.Job, error) {
	if len(files) == 0 {
		return nil, nil
	}
	t, err := openTree(root, files)
	if err != nil {
		return nil, err
	}
	defer t.root.Close()
	return t.jobs, nil
}

// entriesOf are the job files' own requests, or what the flags ask.
func entriesOf(jobs []*job.Job, q pipeline.Question, of string) ([]pipeline.Entry, error) {
	if len(q.Keys) > 0 || len(q.Supplies) > 0 {
		if len(q.Parts) == 0 {
			return nil, fmt.Errorf("got a question and no part; want the parts to compare after the job files")
		}
		return q.Enter(jobs)
	}
	var out []pipeline.Entry
	for _, j := range jobs {
		if list := pipeline.Named(j, of, q.Parts); len(list) > 0 {
			out = append(out, pipeline.Entry{Job: j, Requests: list})
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("got no request that fits; want one under respond: in a job file, or parts with --supply, --duty and --speed")
	}
	return out, nil
}

func showRace(w io.Writer, heats []pipeline.Heat, asJSON, all bool) error {
	if asJSON {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		if err := e.Encode(heats); err != nil {
			return err
		}
	} else {
		for i, h := range heats {
			if i > 0 {
				fmt.Fprintln(w)
			}
			if err := reports.Race(w, reports.Heat{Name: h.Name, Responses: h.Responses, Ranks: h.Ranks, Duels: h.Duels, Without: h.Without}, all); err != nil {
				return err
			}
		}
	}
	for _, h := range heats {
		if len(h.Responses) >= 2 {
			return nil
		}
	}
	return &exitError{1}
}
