package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"spinledger/pipeline"
	"spinledger/reports"
)

func auditCommand(stdout, stderr io.Writer) *cobra.Command {
	var root, of, in, book string
	var asJSON, page bool
	c := &cobra.Command{
		Use:   "audit NUMBER",
		Short: "Where a number comes from, down to the bytes; or what rests on an input",
		Long: `audit follows a number through the log of its job down to the files that were read
and the lines that declare what enters, and reads every byte on the way again: what
no longer matches is named first. With --of it is turned round: every number that rests on
a file, a line of one (parts/disks.yaml:7), a part, a bench, a calibration (loft/2026-03-02), a
recording (weir-1104/disk-a), a session or mounting (weir-1104/session:spring), or a source of
uncertainty. --in names an output folder, whose inputs lie below --root, or an archive.

Exit codes: 0 all matches; 1 something does not; 2 the call is wrong.`,
		Example: "  spinledger audit weir-1104/prop-3x2.A/inertia\n  spinledger audit weir-1104/prop-3x2.A/inertia --page > audit.html\n  spinledger audit --of weir-1104-disk",
		Args: func(_ *cobra.Command, args []string) error {
			if (of == "") != (len(args) == 1) || len(args) > 1 {
				return errors.New("audit: got no single question; want one NUMBER, or --of INPUT")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			e, done, err := openEvidence(in, root)
			if err != nil {
				return err
			}
			defer done()
			if e.Ledger, err = ledgerFor(e, root, book); err != nil {
				return err
			}
			if of != "" {
				d, err := e.Dependents(of)
				if err != nil {
					return broken(stderr, err)
				}
				return answer(stdout, asJSON, d, func() error { return reports.DependentsText(stdout, d) })
			}
			a, err := e.Audit(args[0])
			if err != nil {
				return broken(stderr, err)
			}
			text := reports.AuditText
			if page {
				text = reports.WriteAudit
			}
			if err := answer(stdout, asJSON, a, func() error { return text(stdout, a) }); err != nil {
				return err
			}
			if len(a.Faults) > 0 {
				return &exitError{1}
			}
			return nil
		},
	}
	c.Flags().StringVar(&in, "in", "out", "output folder, or an archive (folder or zip file)")
	c.Flags().StringVar(&root, "root", ".", "folder that the inputs of an output folder lie below")
	c.Flags().StringVar(&of, "of", "", "an input: name every number that rests on it")
	c.Flags().StringVar(&book, "ledger", defaultLedger, "the ledger file, below --root")
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON on stdout")
	c.Flags().BoolVar(&page, "page", false, "a NUMBER's audit as a page of HTML on stdout")
	return c
}

// broken says which of the two an error is: evidence that does not match itself, or a wrong call.
func broken(stderr io.Writer, err error) error {
	var b *pipeline.Mismatch
	if errors.As(err, &b) {
		fmt.Fprintln(stderr, err)
		return &exitError{1}
	}
	return err
}

// answer writes v as JSON or as text.
func answer(w io.Writer, asJSON bool, v any, text func() error) error {
	if !asJSON {
		return text()
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(v)
}
