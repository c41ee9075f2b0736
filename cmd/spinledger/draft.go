package main

import (
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"spinledger/pipeline"
	"spinledger/pipeline/store"
)

func draftCommand(stdout, stderr io.Writer) *cobra.Command {
	var root, bench, to, name string
	var polePairs int
	c := &cobra.Command{
		Use:   "draft FOLDER",
		Short: "Write a job file for a folder of recordings, to be settled by hand",
		Long: `draft looks at every recording of a folder: its columns (by the bench file, or by the
headings), its kind, supply and throttle, and the rotor by the file's name and by the
inertia, and writes a job file, a parts file where parts turn, and a bench file where none
is given. Whatever is uncertain is marked "settle". Existing files are never touched.

Exit codes: 0 written, and check accepts it; 1 written, and only a person can fill in the
rest; 2 the files or the call are wrong, nothing written.`,
		Example: "  spinledger draft rec/weir --to jobs --bench jobs/benches/loft.yaml --pole-pairs 6",
		Args:    cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			r, err := store.OpenRoot(root)
			if err != nil {
				return err
			}
			defer r.Close()
			folder, err := below(root, args[0])
			if err != nil {
				return err
			}
			opt, err := known(root, bench, polePairs)
			if err != nil {
				return err
			}
			opt.Name = name
			if opt.To, err = below(root, to); err != nil {
				return err
			}
			files, err := pipeline.RecordingFiles(r, folder)
			if err != nil {
				return err
			}
			d, err := pipeline.DraftJob(r, files, opt)
			if err != nil {
				return err
			}
			var paths []string
			data := map[string][]byte{}
			for _, n := range d.Names {
				p := filepath.Join(root, filepath.FromSlash(n))
				paths = append(paths, p)
				data[p] = d.Files[n]
			}
			if err := store.CreateAll(paths, func(p string) []byte { return data[p] }); err != nil {
				return err
			}
			for _, p := range paths {
				fmt.Fprintln(stdout, p)
			}
			for _, l := range d.Left {
				fmt.Fprintln(stderr, "left out:", l)
			}
			for _, e := range d.Faults {
				fmt.Fprintln(stderr, e)
			}
			if len(d.Left) > 0 || len(d.Faults) > 0 {
				return &exitError{1}
			}
			return nil
		},
	}
	c.Flags().StringVar(&root, "root", ".", "folder that nothing is read outside of")
	c.Flags().StringVar(&bench, "bench", "", "bench file that describes the columns; absent: one is drafted")
	c.Flags().StringVar(&to, "to", ".", "folder to write into, below the root")
	c.Flags().StringVar(&name, "name", "", "name of the job; absent: the folder's")
	c.Flags().IntVar(&polePairs, "pole-pairs", 0, "pole pairs of the motor, where the speed is electrical")
	return c
}

// known is what the call says beside the recordings.
func known(root, bench string, polePairs int) (opt pipeline.DraftOptions, err error) {
	opt.PolePairs = polePairs
	if bench != "" {
		opt.Bench, err = below(root, bench)
	}
	return opt, err
}
