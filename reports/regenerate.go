package reports

import (
	"fmt"
	"io"
	"slices"
	"strings"
)

// Regenerated is what came of computing jobs again from their logs.
type Regenerated struct {
	Jobs []RegeneratedJob `json:"jobs"`
}

// Same is true where every job came out byte for byte as it was.
func (r Regenerated) Same() bool {
	return !slices.ContainsFunc(r.Jobs, func(j RegeneratedJob) bool { return j.First != nil })
}

// RegeneratedJob is one job computed again.
type RegeneratedJob struct {
	Job string `json:"job"`
	// Steps and Files that were compared: results of the log, and files below the job's folder.
	Steps int `json:"steps"`
	Files int `json:"files"`
	// First difference, nil where there is none, and how many steps and files differ in all.
	First   *Difference `json:"first,omitempty"`
	Differs int         `json:"differs"`
}

// Difference is the first thing that came out otherwise.
type Difference struct {
	// Where: a step "fit of weir-1104/disk-a (step 40)", or a file.
	Where string `json:"where"`
	// Field of its result or "column c, row n" of a table, with the values before and now.
	Field string `json:"field,omitempty"`
	Was   string `json:"was,omitempty"`
	Is    string `json:"is,omitempty"`
	// Because: "inputs", "options", "program", "platform", or "unknown" where none of them
	// differs; Why says it in words.
	Because string `json:"because"`
	Why     string `json:"why"`
}

// RegeneratedText writes the comparison for a terminal of 80 columns.
func RegeneratedText(w io.Writer, r Regenerated) error {
	b := &strings.Builder{}
	for _, j := range r.Jobs {
		if j.First == nil {
			fmt.Fprintf(b, "%s: the same bytes, %d steps and %d files\n", j.Job, j.Steps, j.Files)
			continue
		}
		fmt.Fprintf(b, "%s: DIFFERS in %d of %d steps and files\n", j.Job, j.Differs, j.Steps+j.Files)
		d := j.First
		paragraph(b, "  first: ", "    ", d.Where)
		if d.Field != "" {
			paragraph(b, "    ", "      ", d.Field)
		}
		if d.Was != "" || d.Is != "" {
			paragraph(b, "    was ", "      ", d.Was)
			paragraph(b, "    is  ", "      ", d.Is)
		}
		paragraph(b, "  because: ", "    ", d.Because+": "+d.Why)
	}
	_, err := io.WriteString(w, b.String())
	return err
}
