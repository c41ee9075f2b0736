// Package attest states in the words of open standards which files a run wrote and
// which it read, and signs that statement.
//
// The statement is an in-toto Statement v1 whose predicate is SLSA Provenance v1. The rules
// that Read holds it to are those of the published texts (in-toto attestation
// framework, spec/v1: statement.md, resource_descriptor.md, digest_set.md; SLSA v1.0,
// provenance.md), field by field:
//
//	_type                                     required, "https://in-toto.io/Statement/v1"
//	subject                                   required, an array; each element MUST have digest set; names SHOULD be unique
//	predicateType                             required, a URI; here "https://slsa.dev/provenance/v1"
//	predicate.buildDefinition.buildType       required, a URI
//	predicate.buildDefinition.externalParameters  required, an object
//	predicate.buildDefinition.internalParameters  optional, left out: methods stand in the logs, which are attested
//	predicate.buildDefinition.resolvedDependencies  optional, an array of resource descriptors
//	predicate.runDetails.builder.id           required, a URI
//	predicate.runDetails.builder.version      optional, texts by name
//	resource descriptor                       at least one of uri, digest, content; digests in lower-case hexadecimal
//	unknown fields                            ignored, by the parsing rules
//
// Nothing of time, host or platform is in it, so that equal runs are attested by
// equal bytes; SLSA's optional metadata block, which holds times, is left out.
//
// The envelope is DSSE 1.0: payload type "application/vnd.in-toto+json", signature over
// PAE(type, payload).
package attest

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strings"

	"spinledger/stages/kit/positioned"
)

// The types of the standards, and names of our own: they are names, nothing answers there.
const (
	StatementType = "https://in-toto.io/Statement/v1"
	PredicateType = "https://slsa.dev/provenance/v1"
	PayloadType   = "application/vnd.in-toto+json"

	buildType = "https://spinledger.example/run/1"
	builderID = "https://spinledger.example/local"
)

// Statement binds outputs to inputs.
type Statement struct {
	Type          string     `json:"_type"`
	Subject       []Resource `json:"subject"`
	PredicateType string     `json:"predicateType"`
	Predicate     Predicate  `json:"predicate"`
}

// Predicate is SLSA provenance.
type Predicate struct {
	BuildDefinition BuildDefinition `json:"buildDefinition"`
	RunDetails      RunDetails      `json:"runDetails"`
}

// BuildDefinition is what was asked for and all that entered.
type BuildDefinition struct {
	BuildType            string              `json:"buildType"`
	ExternalParameters   map[string][]string `json:"externalParameters"`
	ResolvedDependencies []Resource          `json:"resolvedDependencies,omitempty"`
}

// RunDetails say what computed.
type RunDetails struct {
	Builder Builder `json:"builder"`
}

// Builder is a program run on somebody's own computer: it claims no SLSA level.
type Builder struct {
	ID      string            `json:"id"`
	Version map[string]string `json:"version,omitempty"`
}

// Resource is a file or module.
type Resource struct {
	Name    string            `json:"name,omitempty"`
	URI     string            `json:"uri,omitempty"`
	Digest  map[string]string `json:"digest,omitempty"`
	Content string            `json:"content,omitempty"`
}

// File is a file with its SHA-256 in hexadecimal.
type File struct{ Name, SHA256 string }

// Module is a dependency of the program; Sum as go.sum has it, or empty.
type Module struct{ Path, Version, Sum string }

// Run is what is attested. Inputs are files below the root, outputs below the output folder.
type Run struct {
	Jobs            []string
	Inputs, Outputs []File
	Version         string
	Modules         []Module
}

// New states a run. Files are sorted by name, each once.
func New(r Run) Statement {
	deps := resources(r.Inputs)
	for _, m := range r.Modules {
		d := Resource{URI: "pkg:golang/" + m.Path + "@" + m.Version}
		// The hash of a module's files, by digest_set.md "dirHash": Go's h1 in hexadecimal.
		if sum, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(m.Sum, "h1:")); err == nil && len(sum) == 32 {
			d.Digest = map[string]string{"dirHash": hex.EncodeToString(sum)}
		}
		deps = append(deps, d)
	}
	s := Statement{Type: StatementType, PredicateType: PredicateType, Subject: resources(r.Outputs)}
	s.Predicate.BuildDefinition = BuildDefinition{
		BuildType:            buildType,
		ExternalParameters:   map[string][]string{"jobs": sorted(r.Jobs)},
		ResolvedDependencies: deps,
	}
	s.Predicate.RunDetails.Builder = Builder{ID: builderID, Version: map[string]string{"spinledger": r.Version}}
	return s
}

func sorted(names []string) []string {
	if len(names) == 0 {
		return []string{}
	}
	return slices.Compact(slices.Sorted(slices.Values(names)))
}

func resources(files []File) []Resource {
	files = slices.Clone(files)
	slices.SortFunc(files, func(a, b File) int {
		return strings.Compare(a.Name+"\x00"+a.SHA256, b.Name+"\x00"+b.SHA256)
	})
	out := []Resource{}
	for _, f := range slices.Compact(files) {
		out = append(out, Resource{Name: f.Name, Digest: map[string]string{"sha256": f.SHA256}})
	}
	return out
}

// Bytes are the statement as it is written and signed.
func (s Statement) Bytes() ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	err := e.Encode(s)
	return b.Bytes(), err
}

// Read decodes a statement of this program and holds it to the rules above. The
// name is for errors, *positioned.Error each, whose Field is the path of what is wrong.
func Read(name string, data []byte) (Statement, error) {
	var s Statement
	if err := json.Unmarshal(data, &s); err != nil {
		return s, &positioned.Error{File: name, Got: "no statement: " + err.Error(), Want: "an in-toto Statement v1 with SLSA provenance v1"}
	}
	c := &checker{name: name}
	c.is("_type", s.Type, StatementType)
	c.is("predicateType", s.PredicateType, PredicateType)
	d := s.Predicate.BuildDefinition
	c.uri("predicate.buildDefinition.buildType", d.BuildType)
	c.uri("predicate.runDetails.builder.id", s.Predicate.RunDetails.Builder.ID)
	if d.ExternalParameters == nil {
		c.add("predicate.buildDefinition.externalParameters", "nothing", "an object")
	}
	if s.Subject == nil {
		c.add("subject", "nothing", "an array of resources")
	}
	seen := map[string]bool{}
	for i, r := range s.Subject {
		at := fmt.Sprintf("subject.%d", i)
		if len(r.Digest) == 0 {
			c.add(at+".digest", "nothing", "at least one digest")
		}
		if r.Name != "" && seen[r.Name] {
			c.add(at+".name", r.Name+" a second time", "names that are unique")
		}
		seen[r.Name] = true
		c.resource(at, r)
	}
	for i, r := range d.ResolvedDependencies {
		c.resource(fmt.Sprintf("predicate.buildDefinition.resolvedDependencies.%d", i), r)
	}
	return s, c.faults.Err()
}

type checker struct {
	name   string
	faults positioned.List
}

func (c *checker) add(field, got, want string) {
	c.faults.Add(&positioned.Error{File: c.name, Field: field, Got: got, Want: want})
}

func (c *checker) is(field, got, want string) {
	if got != want {
		c.add(field, fmt.Sprintf("%q", got), fmt.Sprintf("%q", want))
	}
}

func (c *checker) uri(field, got string) {
	if u, err := url.Parse(got); err != nil || u.Scheme == "" {
		c.add(field, fmt.Sprintf("%q", got), "a URI")
	}
}

func (c *checker) resource(at string, r Resource) {
	if r.URI == "" && len(r.Digest) == 0 && r.Content == "" {
		c.add(at, "neither uri nor digest nor content", "at least one of them")
	}
	if r.URI != "" {
		c.uri(at+".uri", r.URI)
	}
	for alg, v := range r.Digest {
		raw, err := hex.DecodeString(v)
		if err != nil || v != strings.ToLower(v) || len(raw) == 0 || alg == "sha256" && len(raw) != 32 {
			c.add(at+".digest."+alg, fmt.Sprintf("%q", v), "lower-case hexadecimal digits of that hash")
		}
	}
}

// SHA256 is the digest of a resource, or empty.
func (r Resource) SHA256() string { return r.Digest["sha256"] }
