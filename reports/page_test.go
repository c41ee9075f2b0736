package reports

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"spinledger/stages/kit/figure"
	"spinledger/stages/kit/spin"
	"spinledger/stages/kit/uncertain"
)

// hostile texts that a user, or somebody he got a file from, may have written.
var hostile = []string{
	`<script>alert(1)</script>`, `"><img src=x onerror=alert(2)>`, `</style></title><b>`, `javascript:alert(3)`,
	"\u202eright to left\u2066", "😀👩‍🔧 emoji", strings.Repeat("long-", 300), `'; alert(4) //`, "-->", "{{.Job}}",
}

// hostilePage has a hostile text in every place that takes one.
func hostilePage() Page {
	all := strings.Join(hostile, " ")
	v := uncertain.New(3e-6, 1e-8, 0, all)
	p := Page{Job: "j", File: all, Motor: all, Sessions: []Session{{all, all, all, all, all, all, all, all}}}
	for _, h := range hostile {
		id := "j/" + h + "/inertia"
		p.Numbers = append(p.Numbers, spin.Number{ID: id, Job: "j", Subject: h, Quantity: spin.Inertia, Value: v, Scale: h, Blocked: []string{h}})
		p.Checks = append(p.Checks, spin.Check{Name: h, Subject: h, Verdict: spin.Fail, Gates: true, Value: 3, Limit: 1, Unit: h, Text: h, Numbers: []string{id},
			Suspects: []spin.Suspect{{Source: h, Sigmas: 3, Place: h, Written: h}}, WaivedBecause: ""})
		p.Warnings = append(p.Warnings, spin.Warning{Stage: h, Code: h, Subject: h, Text: h})
		p.Waivers = append(p.Waivers, Waiver{h, h, h, h, h, h})
		p.Inputs = append(p.Inputs, File{h, h, 1})
		p.Steps = append(p.Steps, Step{1, h, h, h, h, nil})
		p.Parts = append(p.Parts, spin.Part{ID: h, Shape: "disk", Role: h, Layers: []spin.Layer{{OuterM: 0.04, ThicknessM: 0.003}}})
		p.Recordings = append(p.Recordings, spin.Recording{Declared: spin.Declared{Job: "j", Name: h, Kind: spin.Kind(h), Rotor: spin.Rotor{ID: h}}})
		p.Choice.Runs = append(p.Choice.Runs, spin.RunChoice{Run: h, Sources: []spin.TorqueSource{{Kind: h, For: []string{h}, But: []string{h}}}})
		for _, kind := range []string{figure.Recording, figure.Load, figure.Plane, figure.Runs} {
			p.Figures = append(p.Figures, figure.Figure{ID: kind + "/" + h, Kind: kind, Subject: "j/" + h, See: h, Panels: []figure.Panel{{
				Name: h, X: figure.Axis{Name: h, Unit: h}, Y: figure.Axis{Name: h, Rows: []string{h}},
				Series: []figure.Series{{Name: h, Mark: figure.Dots, Role: figure.Measured, X: []float64{1, 2}, Y: []float64{0, 0}, Labels: []string{h, h}}},
			}}})
		}
	}
	return p
}

var ids = regexp.MustCompile(` id="([^"]*)"`)

func TestHostileTextIsText(t *testing.T) {
	var b bytes.Buffer
	if err := WriteJob(&b, hostilePage()); err != nil {
		t.Fatal(err)
	}
	html := b.String()
	for _, bad := range []string{"<script>alert", "<img", "</style></title>", `href="javascript:`, "<b> "} {
		if strings.Contains(html, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	if n := strings.Count(html, "<script>"); n != 1 {
		t.Errorf("%d scripts, want the page's own", n)
	}
	if !strings.Contains(html, "&lt;script&gt;alert(1)") || !strings.Contains(html, "😀") {
		t.Error("texts are lost")
	}
	seen := map[string]bool{}
	for _, m := range ids.FindAllStringSubmatch(html, -1) {
		if seen[m[1]] {
			t.Errorf("id %s twice", m[1])
		}
		seen[m[1]] = true
	}
}

func TestPageBytesAreTheSame(t *testing.T) {
	var a, b bytes.Buffer
	if err := WriteJob(&a, hostilePage()); err != nil {
		t.Fatal(err)
	}
	if err := WriteJob(&b, hostilePage()); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("the same page twice, other bytes")
	}
}

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		from, to float64
		n        int
		want     string
	}{
		{0, 10, 5, "0 2 4 6 8 10"}, {-0.031, 0.052, 4, "0.00 0.05"}, {24.9, 25.1, 4, "24.9 25.0 25.1"}, {0, 24000, 5, "0 5000 10\u2009000 15\u2009000 20\u2009000"},
		{7, 7.0001, 3, "7.00000 7.00005 7.00010"},
	} {
		at, dec := ticks(c.from, c.to, c.n)
		var got []string
		for _, v := range at {
			got = append(got, label(v, dec))
		}
		text := strings.Join(got, " ")
		if text != c.want {
			t.Errorf("%g to %g: %s, want %s", c.from, c.to, text, c.want)
		}
	}
}

func TestWordsForAShell(t *testing.T) {
	for name, want := range map[string]string{
		"jobs/parts/prop-5x4.yaml": "jobs/parts/prop-5x4.yaml", "a b": "'a b'", "$(rm x)": "'$(rm x)'", "it's": `'it'\''s'`, "-rf": "'-rf'", "": "''", "größe": "'größe'",
	} {
		if got := word(name); got != want {
			t.Errorf("%q: %s, want %s", name, got, want)
		}
	}
}

// The page of a hostile audit is text too, its command one that can be pasted.
func TestHostileAudit(t *testing.T) {
	a := Audit{Number: hostilePage().Numbers[0]}
	for _, h := range hostile {
		a.Faults, a.Notes = append(a.Faults, h), append(a.Notes, h)
		a.Causes = append(a.Causes, AuditCause{Source: h, Places: []string{h}, Written: h})
		a.Steps = append(a.Steps, AuditStep{Stage: h, Subject: h, Files: []AuditFile{{Name: h, State: h}}})
		a.Editions = append(a.Editions, AuditEdition{By: h, Because: h})
	}
	var b bytes.Buffer
	if err := WriteAudit(&b, a); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{"<script>alert", "<img", "</style></title>"} {
		if strings.Contains(b.String(), bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
}
