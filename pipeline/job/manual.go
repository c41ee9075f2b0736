package job

import (
	"fmt"
	"strings"

	"spinledger/stages/kit/quantity"
)

// Manual is the reference of every key in Markdown, made from the table of keys:
// KEYS.md of this folder.
func Manual() []byte {
	var b strings.Builder
	b.WriteString(`# Keys of job, bench, parts, ledger and moves files

Made from the table of keys in keys.go; a test keeps the two equal. Files are YAML, read strictly: unknown
and repeated keys, empty values, anchors, tags, merge keys and second documents are errors. File names are relative
to the file that names them, use /, and stay below the root folder.

A quantity is a number with its unit, and with its uncertainty where it has one:

| written | means |
|---|---|
| ` + "`14.8 V`" + ` | exact |
| ` + "`40.00(2) mm`, `40.00(0.02) mm`" + ` | standard uncertainty 0.02 mm |
| ` + "`12.31 ± 0.02 g (k=2)`" + ` | expanded uncertainty; standard uncertainty 0.01 g |
| ` + "`40.00 ± 0.02 mm (limits)`" + ` | anywhere between the limits; standard uncertainty 0.02 mm/√3 |
| ` + "`9.92(1) g (dof=12)`" + ` | with its degrees of freedom |

` + "`+/-` and `+-` stand for ±. A bare ± is an error, as is a number without a unit; a ratio takes `%` or `1`." + `
Where a key takes an uncertainty, the column "value" says so; elsewhere one is an error, since it would be lost.
`)
	for _, kind := range FileKinds() {
		for _, block := range reachable(kind) {
			level, title := "##", strings.ToUpper(block.Name[:1])+block.Name[1:]
			if block.Name != kind {
				level = "###"
			}
			if kind != JobFile && block.Name == "air" {
				continue
			}
			fmt.Fprintf(&b, "\n%s %s\n\n%s\n\n| key | value | | default | meaning |\n|---|---|---|---|---|\n", level, title, block.Doc)
			for i := range block.Keys {
				b.WriteString(block.Keys[i].row())
			}
			if block.Rest != nil {
				fmt.Fprintf(&b, "| any other | %s: keys of %s | | | %s |\n", block.Rest.Form.What, block.Rest.Block, block.Rest.Doc)
			}
			for _, g := range block.OneOf {
				how := "At most one of"
				if g.Required {
					how = "Exactly one of"
				}
				fmt.Fprintf(&b, "\n%s `%s`.\n", how, strings.Join(g.Keys, "`, `"))
			}
		}
	}
	b.WriteString(unitsTable())
	return []byte(b.String())
}

// row of the Markdown table.
func (k *Key) row() string {
	must, def := "", ""
	if k.Required {
		must = "required"
	}
	if k.Default != "" {
		def = "`" + k.Default + "`"
	}
	return fmt.Sprintf("| `%s` | %s | %s | %s | %s |\n", k.Name, k.kind(), must, def, k.Doc)
}

// kind of value, in words for the reference.
func (k *Key) kind() string {
	switch k.Type {
	case Map:
		return "keys of " + k.Block
	case Named:
		return "map: " + k.Form.What + ", to keys of " + k.Block
	case Reasons:
		return "map: " + k.Form.What + ", to the reason"
	case List:
		return "list, each with keys of " + k.Block
	case OneOrList:
		return "keys of " + k.Block + ", or a list of such"
	case Names:
		return "list: " + k.Form.What
	case Paths:
		return "list of file names"
	case Choice:
		return "`" + strings.Join(k.Choices, "`, `") + "`"
	case Quantity:
		w := strings.Replace(k.wantScalar(), k.example(), "`"+k.example()+"`", 1)
		if k.Uncertain {
			w += "; takes an uncertainty"
		}
		return w
	}
	return k.wantScalar()
}

// unitsTable lists every unit with its spellings.
func unitsTable() string {
	var b strings.Builder
	b.WriteString("\n## Units\n\n| kind | unit | also written | in SI units | source |\n|---|---|---|---|---|\n")
	for _, u := range quantity.Units(quantity.Any) {
		offset := ""
		if u.Offset != 0 {
			offset = fmt.Sprintf(", 0 in SI is %g", u.Offset)
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %.9g%s | %s |\n", u.Dim, u.Name, strings.Join(u.Aliases, ", "), u.Factor, offset, u.Source)
	}
	return b.String()
}

// packageComment is doc.go: the same reference in brief, for those who read Go documentation.
func packageComment() []byte {
	var b strings.Builder
	b.WriteString(`// Package job reads the files a user writes: a job file and the bench and parts files
// it names. Read gives a Job in SI, or every fault of every file with file, line, column, key,
// what was given and what is allowed.
//
// One table of keys (keys.go) drives the parser, the JSON Schemas beside it, KEYS.md and this
// comment; a test keeps them equal. Order of work: load.go (bytes to a strict YAML tree), walk.go and
// scalar.go (the tree against the table), bench.go, parts.go, sessions.go, recordings.go, requests.go
// (what refers to what), ledger.go (the two files that stand alone), where.go (from a key or a source of uncertainty back to its line).
//
// The smallest job:
//
//	format: 1
//	job: mini
//	motor: {pole_pairs: 7}
//	session: {bench: mini-bench.yaml, date: 2026-03-05}
//	mountings: {bare: {}}
//	recordings:
//	  a: {mounting: bare, file: a.csv, kind: step}
`)
	for i := range blocks {
		block := &blocks[i]
		fmt.Fprintf(&b, "//\n// # Keys of %s\n//\n// %s\n//\n", block.Name, block.Doc)
		for _, k := range block.Keys {
			must := ""
			if k.Required {
				must = " (required)"
			}
			if k.Default != "" {
				must = " (default " + k.Default + ")"
			}
			fmt.Fprintf(&b, "//   - %s%s: %s\n", k.Name, must, k.Doc)
		}
		if block.Rest != nil {
			fmt.Fprintf(&b, "//   - any other: %s\n", block.Rest.Doc)
		}
	}
	b.WriteString("package job\n")
	return []byte(b.String())
}
