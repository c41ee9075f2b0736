package reports

import (
	"fmt"
	"html/template"
	"io"
	"slices"
)

// auditView is an audit arranged for its template.
type auditView struct {
	Audit
	jobWords
	Style  template.CSS
	Script template.JS
	Rows   []auditRow
	// Names of the files read.
	Names []string
}

type auditRow struct {
	AuditCause
	Contribution, Share string
}

// WriteAudit writes the page of one number: one file, nothing fetched.
func WriteAudit(w io.Writer, a Audit) error {
	v := auditView{Audit: a, Style: style(), Script: script("script.js")}
	for _, c := range a.Causes {
		v.Rows = append(v.Rows, auditRow{c, fmt.Sprintf("%+.2g", c.Contribution/gcm2), fmt.Sprintf("%.1f", 100*c.Share)})
	}
	for _, s := range a.Steps {
		for _, f := range s.Files {
			if !slices.Contains(v.Names, f.Name) {
				v.Names = append(v.Names, f.Name)
			}
		}
	}
	return pages.ExecuteTemplate(w, "audit.html", v)
}
