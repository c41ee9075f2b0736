package pipeline

import (
	"encoding/json"
	"io"
	"strings"

	"spinledger/pipeline/ledger"
	"spinledger/pipeline/store"
	"spinledger/reports"
	"spinledger/stages/crosscheck"
)

// Outcome is what a run left.
type Outcome struct {
	// Failed is true when a gating check failed without a waiver.
	Failed bool
	// Computed counts the jobs that were not as an earlier run left them.
	Computed int
	out      *store.Output
	receipts []*receipt
	together *receipt
}

// Close gives the output folder free.
func (o *Outcome) Close() error { return o.out.Close() }

// Summary writes the jobs' summaries, one after another, in the order of their files, then
// that of the catalogue step where it has something to say.
func (o *Outcome) Summary(w io.Writer, all bool) error {
	for i, r := range o.receipts {
		text := r.text
		if all {
			j, err := published(o.out, r)
			if err != nil {
				return err
			}
			var b strings.Builder
			if err := reports.Summary(&b, []reports.Job{j.Job}, true); err != nil {
				return err
			}
			text = b.String()
		}
		if i > 0 {
			text = "\n" + text
		}
		if _, err := io.WriteString(w, text); err != nil {
			return err
		}
	}
	if o.together.text == "" {
		return nil
	}
	_, err := io.WriteString(w, "\n"+o.together.text)
	return err
}

// JSON writes numbers, checks and warnings of all jobs, a job at a time, and of the catalogue step.
func (o *Outcome) JSON(w io.Writer) error {
	between := "[\n  "
	write := func(j reports.Job) error {
		j.Curves = nil // pages draw them
		data, err := json.MarshalIndent(j, "  ", "  ")
		if err != nil {
			return err
		}
		_, err = io.WriteString(w, between+string(data))
		between = ",\n  "
		return err
	}
	for _, r := range o.receipts {
		j, err := published(o.out, r)
		if err == nil {
			err = write(j.Job)
		}
		if err != nil {
			return err
		}
	}
	if o.together.text != "" {
		var all crosscheck.CatalogueOutput
		data, _, err := o.out.Read(ledger.CatalogueResults, maxLog)
		if err == nil {
			err = json.Unmarshal(data, &all)
		}
		if err != nil {
			return err
		}
		j, _ := shown(all)
		if err := write(j); err != nil {
			return err
		}
	}
	_, err := io.WriteString(w, "\n]\n")
	return err
}
