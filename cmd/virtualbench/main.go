// Command virtualbench writes the demonstration catalogue from the simulator,
// and measures the pipeline on sessions whose truth is known.
//
//	virtualbench demo      writes jobs/ and testdata/demo/
//	virtualbench coverage  counts how often intervals hold over catalogues like the demo's
//	virtualbench response  how often predicted spin-up times hold, and how true the probabilities of a race are
//	virtualbench power     how often each check fails when a disturbance moves it to 1, 2 and 3 times its limit
//	virtualbench campaign  motor classes × faults: bias, scatter, coverage, refusals, wrong numbers fit for release, checks
package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"spinledger/cmd/virtualbench/demo"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

const usage = `usage: virtualbench demo [-seed N] [-to FOLDER]
       virtualbench coverage [-sessions N] [-seed N]
       virtualbench campaign [-sessions N] [-seed N] [-class RE] [-fault RE] [-hz F] [-plateaus 2|3] [-json FILE]
       virtualbench power [-sessions N] [-seed N] [-class RE] [-check RE] [-hz F] [-json FILE]
       virtualbench response [-sessions N] [-seed N] [-class RE] [-runs N] [-hz F]`

func run(args []string) error {
	verb := ""
	if len(args) > 0 {
		verb = args[0]
	}
	switch verb {
	case "demo":
		set := flag.NewFlagSet("demo", flag.ContinueOnError)
		seed := set.Uint64("seed", 1, "of everything that is random")
		to := set.String("to", ".", "folder to write jobs/ and testdata/demo/ into")
		if err := set.Parse(args[1:]); err != nil {
			return err
		}
		return write(*seed, *to)
	case "coverage":
		return coverage(args[1:], os.Stdout, os.Stderr)
	case "response":
		return responses(args[1:], os.Stdout, os.Stderr)
	case "power":
		return power(args[1:], os.Stdout, os.Stderr)
	case "campaign":
		return measure(args[1:], os.Stdout, os.Stderr)
	}
	return errors.New(usage)
}

func write(seed uint64, to string) error {
	c, err := demo.Build(seed)
	if err != nil {
		return err
	}
	truth, err := json.MarshalIndent(c.Truth, "", "  ")
	if err != nil {
		return err
	}
	c.Files["testdata/demo/truth.json"] = append(truth, '\n')
	for name, data := range c.Files {
		path := filepath.Join(to, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(path, data, 0o644); err != nil {
			return err
		}
	}
	return nil
}
