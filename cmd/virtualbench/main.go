// Command virtualbench writes the demonstration catalogue from the simulator.
//
//	virtualbench demo [-seed N] [-to FOLDER]
package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"spinledger/cmd/virtualbench/demo"
)

func main() {
	if len(os.Args) < 2 || os.Args[1] != "demo" {
		fmt.Fprintln(os.Stderr, "usage: virtualbench demo [-seed N] [-to FOLDER]")
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
