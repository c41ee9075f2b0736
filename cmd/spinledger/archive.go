package main

import (
	"fmt"
	"io"
	"path"
	"strings"

	"github.com/spf13/cobra"

	"spinledger/pipeline"
	"spinledger/pipeline/archive"
	"spinledger/pipeline/store"
)

func archiveCommand(disk store.Disk, stdout, stderr io.Writer) *cobra.Command {
	var root, in, to, book string
	var opt pipeline.CrateOptions
	var check bool
	c := &cobra.Command{
		Use:   "archive [JOB...]",
		Short: "Put inputs and outputs together so that a stranger can compute them again",
		Long: `archive writes the recordings, job, bench and parts files that the logs name, with all that
was computed from them and the ledger of released numbers, as one zip file (--to NAME.zip) or folder, an RO-Crate 1.2. Every byte
is compared with the logs on the way. Without jobs the whole catalogue is archived. audit and
regenerate read archives with --in; --check holds one to the rules and to its own hashes.

Exit codes: 0 done; 1 something does not match the logs; 2 the files or the call are wrong.`,
		Example: "  spinledger archive --to catalogue.zip --license https://creativecommons.org/licenses/by/4.0/\n  spinledger archive weir-1104 --to weir-1104.zip\n  spinledger archive --check --in catalogue.zip",
		RunE: func(_ *cobra.Command, args []string) error {
			if check {
				return checkArchive(stdout, stderr, in)
			}
			e, done, err := openEvidence(in, root)
			if err != nil {
				return err
			}
			defer done()
			opt.Jobs = args
			if e.Ledger, err = ledgerFor(e, root, book); err != nil {
				return err
			}
			crate, err := e.Crate(opt)
			if err != nil {
				return broken(stderr, err)
			}
			if err := writeArchive(disk, crate, to); err != nil {
				return err
			}
			_, err = fmt.Fprintf(stdout, "%s: %d files, %d jobs\n", to, len(crate.Entries), len(crate.Actions))
			return err
		},
	}
	c.Flags().StringVar(&in, "in", "out", "output folder, or an archive")
	c.Flags().StringVar(&root, "root", ".", "folder that the inputs of an output folder lie below")
	c.Flags().StringVar(&book, "ledger", defaultLedger, "the ledger file, below the root; archived with the released numbers that are kept beside it")
	c.Flags().StringVar(&to, "to", "archive.zip", "a new file that ends in .zip, or a new or empty folder")
	c.Flags().StringVar(&opt.License, "license", "", "URL or text of the licence")
	c.Flags().StringVar(&opt.Date, "date", "", "date of publication, YYYY-MM-DD; without it that of the latest session")
	c.Flags().BoolVar(&check, "check", false, "check the archive that --in names")
	return c
}

func writeArchive(disk store.Disk, crate archive.Crate, to string) error {
	if strings.EqualFold(path.Ext(to), ".zip") {
		_, err := store.WriteNew(to, disk, crate.Zip)
		return err
	}
	o, err := store.OpenOutput(to, disk, store.OutputOptions{})
	if err != nil {
		return err
	}
	defer o.Close()
	return crate.Write(func(name string, fill func(io.Writer) error) error {
		_, err := o.Write(name, fill)
		return err
	})
}

func checkArchive(stdout, stderr io.Writer, name string) error {
	fsys, done, err := openTreeOrZip(name)
	if err != nil {
		return err
	}
	defer done()
	if err := archive.Check(fsys); err != nil {
		fmt.Fprintln(stderr, err)
		return &exitError{1}
	}
	_, err = fmt.Fprintf(stdout, "%s: an RO-Crate 1.2, every file as it states\n", name)
	return err
}
