// Command virtualbench writes the demonstration catalogue from the simulator.
//
//	virtualbench demo [-seed N] [-to FOLDER]
//	virtualbench campaign [-sessions N] [-seed N]
package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"spinledger/cmd/virtualbench/demo"
)

func main() {
	if len(os.Args) >= 2 && os.Args[1] == "campaign" {
		campaign(os.Args[2:])
		return
	}
	if len(os.Args) < 2 || os.Args[1] != "demo" {
		fmt.Fprintln(os.Stderr, "usage: virtualbench demo [-seed N] [-to FOLDER]\n       virtualbench campaign [-sessions N] [-seed N]")
		os.Exit(2)
	}
	set := flag.NewFlagSet("demo", flag.ExitOnError)
	seed := set.Uint64("seed", 1, "of everything that is random")
	to := set.String("to", ".", "folder to write jobs/ and testdata/demo/ into")
	_ = set.Parse(os.Args[2:])
	if err := write(*seed, *to); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// campaign counts how often stated intervals hold the truth over many
// catalogues, every systematic error drawn anew in each.
func campaign(args []string) {
	set := flag.NewFlagSet("campaign", flag.ExitOnError)
	sessions := set.Int("sessions", 200, "catalogues to build and compute")
	seed := set.Uint64("seed", 1, "of the first one")
	_ = set.Parse(args)
	hits := map[string]int{}
	pooled, all := 0, 0
	for i := range *sessions {
		held, n, err := demo.Coverage(*seed + uint64(i))
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		for id, ok := range held {
			if _, known := hits[id]; !known {
				hits[id] = 0
			}
			if ok {
				hits[id]++
				pooled++
			}
		}
		all += n
	}
	for _, id := range slices.Sorted(maps.Keys(hits)) {
		fmt.Printf("%-36s %d of %d\n", id, hits[id], *sessions)
	}
	fmt.Printf("%-36s %d of %d, %.2f %%\n", "pooled", pooled, all, 100*float64(pooled)/float64(all))
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
