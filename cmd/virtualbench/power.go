package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"regexp"

	"spinledger/cmd/virtualbench/campaign"
	"spinledger/cmd/virtualbench/rig"
)

// power measures the checks: how often each fails without its disturbance, and at 1, 2 and 3 limits.
func power(args []string, stdout io.Writer) error {
	set := flag.NewFlagSet("power", flag.ContinueOnError)
	sessions := set.Int("sessions", 20, "of each size")
	seed := set.Uint64("seed", 1, "of the first one")
	class := set.String("class", "22 mm", "regular expression on motor classes")
	check := set.String("check", "", "regular expression on checks; empty: all")
	hz := set.Float64("hz", 2000, "sampling rate")
	to := set.String("json", "", "file for the rows, one JSON object a line")
	if err := set.Parse(args); err != nil {
		return err
	}
	classes, err := regexp.Compile(*class)
	if err != nil {
		return err
	}
	checks, err := regexp.Compile(*check)
	if err != nil {
		return err
	}
	var lines []byte
	fmt.Fprintln(stdout, campaign.PowerHead)
	for _, c := range rig.Classes() {
		for _, d := range campaign.Dials() {
			if !classes.MatchString(c.Name) || !checks.MatchString(d.Check) {
				continue
			}
			p := campaign.MeasurePower(c, *hz, d, *seed, *sessions, 6)
			p.Print(stdout, d.Show)
			line, err := json.Marshal(p)
			if err != nil {
				return err
			}
			lines = append(append(lines, line...), '\n')
			if *to != "" {
				if err := os.WriteFile(*to, lines, 0o644); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
