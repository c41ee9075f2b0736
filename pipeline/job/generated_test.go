package job

import (
	"bytes"
	"go/format"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"gopkg.in/yaml.v3"
)

var schemaFiles = map[string]string{JobFile: "job.schema.json", BenchFile: "bench.schema.json", PartsFile: "parts.schema.json",
	LedgerFile: "ledger.schema.json", MovesFile: "moves.schema.json"}

// The schemas, KEYS.md and doc.go are what the table of keys makes them.
func TestGeneratedFiles(t *testing.T) {
	comment, err := format.Source(packageComment())
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][]byte{"KEYS.md": Manual(), "doc.go": comment}
	for _, kind := range FileKinds() {
		want[schemaFiles[kind]] = Schema(kind)
	}
	for name, text := range want {
		if *update {
			if err := os.WriteFile(name, text, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if got, err := os.ReadFile(name); err != nil || !bytes.Equal(got, text) {
			t.Errorf("%s is not what keys.go makes it (%v): run go test ./pipeline/job -update", name, err)
		}
	}
}

// Every key has a doc sentence, every block that is named exists, and every default is
// what its own type can read.
func TestTableOfKeys(t *testing.T) {
	used := map[string]bool{}
	for _, kind := range FileKinds() {
		used[kind] = true
	}
	for _, b := range blocks {
		if b.Doc == "" {
			t.Errorf("%s has no doc", b.Name)
		}
		for _, k := range b.Keys {
			if !strings.HasSuffix(k.Doc, ".") {
				t.Errorf("%s.%s: doc %q is no sentence", b.Name, k.Name, k.Doc)
			}
			if k.Block != "" {
				used[block(k.Block).Name] = true
			}
			if k.Default != "" {
				f := &file{errs: &newReader(nil, "").errs}
				v := &value{file: f, key: &k, text: k.Default, node: &yaml.Node{Kind: yaml.ScalarNode, Value: k.Default}}
				if f.scalar(v); v.bad {
					t.Errorf("%s.%s: default %q cannot be read", b.Name, k.Name, k.Default)
				}
			}
		}
		if b.Rest != nil {
			used[block(b.Rest.Block).Name] = true
		}
		for _, g := range b.OneOf {
			for _, name := range g.Keys {
				if b.key(name) == nil {
					t.Errorf("%s: a group names %q", b.Name, name)
				}
			}
		}
	}
	for _, b := range blocks {
		if !used[b.Name] {
			t.Errorf("block %s is used nowhere", b.Name)
		}
	}
}

// plain is a YAML tree as an editor that reads YAML 1.2 hands it to a schema: core schema
// scalars, no dates, no yes and no.
func plain(n *yaml.Node) any {
	switch n.Kind {
	case yaml.DocumentNode:
		return plain(n.Content[0])
	case yaml.MappingNode:
		m := map[string]any{}
		for i := 0; i+1 < len(n.Content); i += 2 {
			m[n.Content[i].Value] = plain(n.Content[i+1])
		}
		return m
	case yaml.SequenceNode:
		l := []any{}
		for _, c := range n.Content {
			l = append(l, plain(c))
		}
		return l
	}
	if n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) != 0 {
		return n.Value
	}
	if i, err := strconv.ParseInt(n.Value, 10, 64); err == nil {
		return i
	}
	if x, err := strconv.ParseFloat(n.Value, 64); err == nil {
		return x
	}
	switch n.Value {
	case "true", "false":
		return n.Value == "true"
	case "", "~", "null":
		return nil
	}
	return n.Value
}

func compile(t *testing.T, kind string) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema(kind)))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource("schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A general validator finds the good files good by the published schemas.
func TestSchemaTakesGoodFiles(t *testing.T) {
	folders := map[string]string{JobFile: "jobs", BenchFile: "benches", PartsFile: "parts", LedgerFile: "ledgers", MovesFile: "moves"}
	for _, kind := range FileKinds() {
		s := compile(t, kind)
		names, _ := filepath.Glob(filepath.Join(testdata, "good", folders[kind], "*.yaml"))
		if len(names) < 2 {
			t.Fatalf("%d good files of kind %s", len(names), kind)
		}
		for _, name := range names {
			if err := validate(t, s, name); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
}

func validate(t *testing.T, s *jsonschema.Schema, name string) error {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var n yaml.Node
	if err := yaml.Unmarshal(data, &n); err != nil {
		t.Fatal(err)
	}
	return s.Validate(plain(&n))
}

// And the faults that a schema can see, bad.
func TestSchemaRefusesBadFiles(t *testing.T) {
	kinds := map[string]*jsonschema.Schema{"job": compile(t, JobFile), "bench": compile(t, BenchFile), "parts": compile(t, PartsFile)}
	for _, what := range []string{
		"job-no-map", "job-null", "job-empty-value", "job-list-for-map", "job-map-for-text", "job-format-unknown", "job-format-missing",
		"job-unknown-key", "job-unknown-key-far", "job-key-missing", "job-name-capital", "job-choice", "job-hash",
		"job-file-and-files", "job-neither-file", "job-both-sessions", "job-empty-map", "job-unit-missing", "job-dimension", "job-unit-unknown",
		"job-comma", "job-inf", "job-leading-zero-quantity", "job-quantity-negative", "job-quantity-uncertain", "job-command-unit",
		"job-part-twice", "job-exclude-no-run", "job-exclude-no-reason", "job-waiver-bare",
		"bench-gravity-missing", "bench-channel-unknown", "bench-unit-dimension", "bench-unit-unknown", "bench-torque-and-force",
		"bench-converter", "bench-converter-unknown", "bench-calibration-name", "bench-calibration-two-readings",
		"parts-id-form", "parts-two-shapes", "parts-ratio-bare", "parts-null", "parts-yes-no",
	} {
		s := kinds[strings.SplitN(what, "-", 2)[0]]
		if err := validate(t, s, filepath.Join(testdata, what+".bad.yaml")); err == nil {
			t.Errorf("%s passes the schema", what)
		}
	}
}
