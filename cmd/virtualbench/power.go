package main

import (
	"flag"
	"fmt"
	"io"

	"spinledger/cmd/virtualbench/campaign"
	"spinledger/cmd/virtualbench/rig"
)

// power measures the checks: how often each fails without its disturbance, and at 1, 2 and 3 limits.
func power(args []string, stdout, stderr io.Writer) error {
	set := flag.NewFlagSet("power", flag.ContinueOnError)
	set.SetOutput(stderr)
	sessions := set.Int("sessions", 20, "of each size")
	seed := set.Uint64("seed", 1, "of the first one")
	class := expression(set, "class", "22 mm", "regular expression on motor classes")
	check := expression(set, "check", "", "regular expression on checks; empty: all")
	hz := set.Float64("hz", 2000, "sampling rate")
	var rows lines
	set.StringVar(&rows.name, "json", "", "file for the rows, one JSON object a line")
	if err := set.Parse(args); err != nil {
		return err
	}
	fmt.Fprintln(stdout, campaign.PowerHead)
	for _, c := range rig.Classes() {
		for _, d := range campaign.Dials() {
			if !class.MatchString(c.Name) || !check.MatchString(d.Check) {
				continue
			}
			p := campaign.MeasurePower(c, *hz, d, *seed, *sessions, 6)
			p.Print(stdout, d.Show)
			if err := rows.add(p); err != nil {
				return err
			}
		}
	}
	return nil
}
