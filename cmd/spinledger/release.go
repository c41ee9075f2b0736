package main

import (
	"fmt"
	"io"
	"io/fs"
	"strings"

	"github.com/spf13/cobra"

	"spinledger/pipeline"
	"spinledger/pipeline/job"
	"spinledger/pipeline/ledger"
	"spinledger/pipeline/store"
)

// defaultLedger is where the ledger lies unless told otherwise.
const defaultLedger = "jobs/" + pipeline.LedgerName

// booking is what release and withdraw have in common.
type booking struct {
	root, ledger string
	act          ledger.Act
	write        bool
}

func (b *booking) flags(c *cobra.Command, because string) {
	c.Flags().StringVar(&b.root, "root", ".", "folder that nothing is read outside of")
	c.Flags().StringVar(&b.ledger, "ledger", defaultLedger, "the ledger file, below the root")
	c.Flags().StringVar(&b.act.By, "by", "", "who answers for it")
	c.Flags().StringVar(&b.act.Day, "day", "", "day of the act, YYYY-MM-DD")
	c.Flags().StringVar(&b.act.Because, "because", "", because)
	c.Flags().BoolVar(&b.write, "write", false, "add the lines to the ledger; without it they are only printed")
	for _, name := range []string{"by", "day"} {
		if err := c.MarkFlagRequired(name); err != nil {
			panic(err)
		}
	}
}

// open opens the root and the ledger below it.
func (b *booking) open() (*store.Root, *ledger.Ledger, error) {
	if !job.IsDate(b.act.Day) {
		return nil, nil, fmt.Errorf("--day: got %q; want a date such as 2026-03-05", b.act.Day)
	}
	r, err := store.OpenRoot(b.root)
	if err != nil {
		return nil, nil, err
	}
	name, err := below(b.root, b.ledger)
	if err == nil {
		var l *ledger.Ledger
		if l, err = ledger.Open(r, name); err == nil {
			return r, l, nil
		}
	}
	r.Close()
	return nil, nil, err
}

// book prints the lines and adds them where that was asked for.
func (b *booking) book(disk store.Disk, stdout, stderr io.Writer, r *store.Root, l *ledger.Ledger, add []ledger.Addition) error {
	if err := l.Check(add); err != nil {
		return err
	}
	for _, a := range add {
		fmt.Fprintln(stdout, "  - "+a.Line)
	}
	if !b.write {
		if len(add) > 0 {
			fmt.Fprintf(stderr, "%d lines proposed for %s; --write adds them\n", len(add), l.Name)
		}
		return nil
	}
	if err := l.Append(r, disk, add); err != nil {
		return err
	}
	fmt.Fprintf(stderr, "%d lines added to %s\n", len(add), l.Name)
	return nil
}

func releaseCommand(disk store.Disk, stdout, stderr io.Writer) *cobra.Command {
	var b booking
	var out string
	c := &cobra.Command{
		Use:   "release JOB|NUMBER...",
		Short: "Propose ledger lines for numbers that are fit for release",
		Long: `release reads the numbers of a run's output folder and prints the ledger lines that would
release them: of the numbers named, or of all numbers of the jobs named (by id, or by job
file or folder as for run). It reads the bytes of every recording and file that the run
read, and refuses when one has changed since. A number that is not fit for release is
refused when it was named, and left out when its job was.

Editions count up. A number released before gets a new edition only where its result has
changed, and then the reason must be given. Lines are written into the ledger only with
--write; what stands there is never changed. The numbers themselves are kept beside the
ledger in released/: commit both.

Exit codes: 0 all named numbers may be released; 1 one may not; 2 the files or the call are wrong.`,
		Example: "  spinledger release jobs --by KA --day 2026-03-10\n  spinledger release weir-1104/bare/inertia --by KA --day 2026-03-10 --write",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			r, l, err := b.open()
			if err != nil {
				return err
			}
			defer r.Close()
			folder, err := store.OpenRoot(out)
			if err != nil {
				return err
			}
			defer folder.Close()
			found, err := ledger.ReadOutput(folder, out)
			if err != nil {
				return err
			}
			names, err := jobIDs(r, b.root, found, args)
			if err != nil {
				return err
			}
			results, unknown := found.Select(names)
			if len(unknown) > 0 {
				return fmt.Errorf("%s: got no number or job %s in it; want one of the jobs %s or of their numbers", out, strings.Join(unknown, ", "), strings.Join(found.Jobs(), ", "))
			}
			if err := ledger.Verify(r, results); err != nil {
				return err
			}
			add, left, err := l.Propose(results, b.act)
			if err != nil {
				return err
			}
			refused, unsaid := tell(stderr, left, names)
			switch {
			case unsaid:
				return fmt.Errorf("got no reason for new editions; want --because")
			case refused:
				return &exitError{1}
			}
			return b.book(disk, stdout, stderr, r, l, add)
		},
	}
	b.flags(c, "why editions are replaced")
	c.Flags().StringVar(&out, "out", "out", "output folder of the run")
	return c
}

// tell prints what is left out, and says whether a number that was named is among it and
// whether a reason is missing.
func tell(stderr io.Writer, left []ledger.Left, named []string) (refused, unsaid bool) {
	for _, x := range left {
		fmt.Fprintf(stderr, "%s: %s\n", x.Number, x.Why)
		unsaid = unsaid || x.Kind == ledger.Unsaid
		for _, n := range named {
			refused = refused || x.Kind == ledger.Unfit && n == x.Number
		}
	}
	return refused, unsaid
}

// jobIDs replaces arguments that the output knows neither as number nor as job, but that
// are job files or folders of them, by the ids of those jobs.
func jobIDs(r *store.Root, root string, found *ledger.Output, args []string) ([]string, error) {
	var out []string
	for _, a := range args {
		_, unknown := found.Select([]string{a})
		rel, err := below(root, a)
		if err == nil {
			_, err = fs.Stat(r, rel)
		}
		if len(unknown) == 0 || err != nil {
			out = append(out, a)
			continue
		}
		files, err := pipeline.FindJobs(r, rel)
		if err != nil {
			return nil, err
		}
		jobs, err := pipeline.ReadJobs(r, files)
		if err != nil {
			return nil, err
		}
		for _, j := range jobs {
			out = append(out, j.ID)
		}
	}
	return out, nil
}
