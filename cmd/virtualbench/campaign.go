package main

import (
	"flag"
	"fmt"
	"io"
	"maps"
	"slices"

	"spinledger/cmd/virtualbench/campaign"
	"spinledger/cmd/virtualbench/demo"
	"spinledger/cmd/virtualbench/rig"
)

// measure runs the grid of faults over the motor classes and prints every cell.
func measure(args []string, stdout, stderr io.Writer) error {
	set := flag.NewFlagSet("campaign", flag.ContinueOnError)
	set.SetOutput(stderr)
	sessions := set.Int("sessions", 20, "of each cell")
	seed := set.Uint64("seed", 1, "of the first one")
	class := expression(set, "class", "", "regular expression; empty: all three motor classes")
	fault := expression(set, "fault", "", "regular expression on fault and severity; empty: the whole grid")
	hz := set.Float64("hz", 2000, "sampling rate of the nominal bench")
	plateaus := set.Int("plateaus", 3, "3: back to idle after each step; 2: stopped when settled")
	table := set.Bool("table", false, "print rows of a Markdown table")
	var cells lines
	set.StringVar(&cells.name, "json", "", "file for the cells, one JSON object a line")
	if err := set.Parse(args); err != nil {
		return err
	}
	if *table {
		fmt.Fprintln(stdout, campaign.RowHead)
	}
	for _, f := range campaign.Faults() {
		for _, level := range f.Levels {
			for _, c := range rig.Classes() {
				if !class.MatchString(c.Name) || !fault.MatchString(f.Name+" "+level.Name) {
					continue
				}
				s := campaign.Nominal(c, *hz)
				s.TwoPlateaus = *plateaus == 2
				level.Apply(&s)
				cell := campaign.Summarise(campaign.Cell{Class: c.Name, Hz: s.Bench.Clock.SampleHz, Plateaus: *plateaus, Fault: f.Name, Severity: level.Name},
					campaign.Measure(s, *seed, *sessions))
				if *table {
					fmt.Fprintln(stdout, cell.Row())
				} else {
					cell.Print(stdout)
				}
				if err := cells.add(cell); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// coverage counts how often stated intervals hold the truth over many demonstration
// catalogues, every systematic error drawn anew in each.
func coverage(args []string, stdout, stderr io.Writer) error {
	set := flag.NewFlagSet("coverage", flag.ContinueOnError)
	set.SetOutput(stderr)
	sessions := set.Int("sessions", 200, "catalogues to build and compute")
	seed := set.Uint64("seed", 1, "of the first one")
	if err := set.Parse(args); err != nil {
		return err
	}
	hits := map[string]int{}
	pooled, all := 0, 0
	for i := range *sessions {
		held, n, err := demo.Coverage(*seed + uint64(i))
		if err != nil {
			return err
		}
		for id, ok := range held {
			hits[id] += 0
			if ok {
				hits[id]++
				pooled++
			}
		}
		all += n
	}
	for _, id := range slices.Sorted(maps.Keys(hits)) {
		fmt.Fprintf(stdout, "%-36s %d of %d\n", id, hits[id], *sessions)
	}
	fmt.Fprintf(stdout, "%-36s %d of %d, %.2f %%\n", "pooled", pooled, all, 100*float64(pooled)/float64(all))
	return nil
}
