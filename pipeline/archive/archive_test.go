package archive

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"spinledger/stages/kit/positioned"
)

// sample is a crate with awkward names, over a tree in memory.
func sample() Crate {
	tree := fstest.MapFS{}
	c := Crate{Name: "n", Description: "d", Date: "2026-03-05", License: "https://creativecommons.org/licenses/by/4.0/", People: []string{"KA", "Ö. 100 %"}, Version: "0.1"}
	for _, name := range []string{"inputs/rec/b 50%.csv", "inputs/jobs/a.yaml", "outputs/a:1/ä<b>.parquet"} {
		data := []byte("bytes of " + name)
		tree[name] = &fstest.MapFile{Data: data}
		c.Entries = append(c.Entries, Entry{Name: name, From: tree, Path: name, SHA256: fmt.Sprintf("%x", sha256.Sum256(data)), Size: int64(len(data)), Role: "r"})
	}
	c.Actions = []Action{{Job: "a", Objects: []string{"inputs/rec/b 50%.csv", "inputs/jobs/a.yaml"}, Results: []string{"outputs/a:1/ä<b>.parquet"}}}
	return c
}

// folder writes a crate into memory.
func folder(t *testing.T, c Crate) fstest.MapFS {
	t.Helper()
	out := fstest.MapFS{}
	err := c.Write(func(name string, fill func(io.Writer) error) error {
		var b bytes.Buffer
		err := fill(&b)
		out[name] = &fstest.MapFile{Data: b.Bytes()}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestFolderAndZip(t *testing.T) {
	c := sample()
	f := folder(t, c)
	if err := Check(f); err != nil {
		t.Fatal(err)
	}
	var a, b bytes.Buffer
	if err := c.Zip(&a); err != nil {
		t.Fatal(err)
	}
	slices.Reverse(c.Entries)
	if err := c.Zip(&b); err != nil || !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Errorf("two zip files of the same entries differ: %v", err)
	}
	z, err := zip.NewReader(bytes.NewReader(a.Bytes()), int64(a.Len()))
	if err != nil {
		t.Fatal(err)
	}
	if err := Check(z); err != nil || !Is(z) || len(z.File) != len(f) {
		t.Errorf("%v, %d files", err, len(z.File))
	}
	for _, e := range z.File {
		if e.Method != zip.Store || !e.Modified.Equal(stamp) {
			t.Errorf("%s: method %d, date %v", e.Name, e.Method, e.Modified)
		}
	}
	_, in, err := Split(z)
	if err != nil {
		t.Fatal(err)
	}
	if h, err := in.Open("jobs/a.yaml"); err != nil {
		t.Error(err)
	} else {
		h.Close()
	}
}

// Every rule of the published text that the package comment lists is broken once.
func TestRules(t *testing.T) {
	good := string(folder(t, sample())[MetadataFile].Data)
	for from, c := range map[string]struct{ to, want string }{
		`"@context": "` + contextURI: {`"@context": "https://schema.org`, `@context: got https://schema.org; want https://w3id.org/ro/crate/1.2/context`},
		`"@type": "Person"`:          {`"kind": "Person"`, `@graph.3: got no @id or no @type; want both`},
		`"@id": "#person-KA",`:       {`"@id": "#spinledger",`, `got a second #spinledger; want each entity once`},
		`"` + MetadataFile + `"`:     {`"metadata.json"`, `ro-crate-metadata.json: got no such entity; want the metadata descriptor, a CreativeWork`},
		`"@id": "` + specURI:         {`"@id": "https://w3id.org/ro/crate/1.1`, `ro-crate-metadata.json.conformsTo: got "https://w3id.org/ro/crate/1.1"; want https://w3id.org/ro/crate/1.2`},
		`"Dataset"`:                  {`"Thing"`, `ro-crate-metadata.json.about: got "./"; want ./, a Dataset`},
		`"name": "n",`:               {``, `./.name: got nothing; want a text`},
		`"description": "d",`:        {``, `./.description: got nothing; want a text`},
		`"2026-03-05"`:               {`"5 March"`, `./.datePublished: got 5 March; want one ISO 8601 date`},
		`"license": {`:               {`"licence": {`, `./.license: got nothing; want a reference or a text`},
		`"hasPart"`:                  {`"parts"`, `inputs/jobs/a.yaml: got a file that the root does not reach; want hasPart from the root`},
		`"@id": "#spinledger",`:      {`"@id": "#other",`, `#run-a.instrument: got #spinledger; want an entity that is described`},
		`"contentSize": "27"`:        {`"contentSize": "28"`, `inputs/jobs/a.yaml: got 27 bytes; want 28, as ro-crate-metadata.json states`},
	} {
		f := folder(t, sample())
		text := strings.Replace(good, from, c.to, 1)
		f[MetadataFile] = &fstest.MapFile{Data: []byte(text)}
		found := ""
		for _, e := range positioned.All(Check(f)) {
			found += e.Error() + "\n"
		}
		if text == good || !strings.Contains(found, c.want) {
			t.Errorf("%s -> %s: got\n%swant %s", from, c.to, found, c.want)
		}
	}
	f := folder(t, sample())
	f["inputs/jobs/a.yaml"] = &fstest.MapFile{Data: []byte("bytes of inputs/jobs/b.yaml")}
	delete(f, "inputs/rec/b 50%.csv")
	err := Check(f)
	if all := positioned.All(err); len(all) != 2 || all[0].File != "inputs/jobs/a.yaml" || !strings.HasPrefix(all[0].Got, "SHA-256 ") || all[1].Error() != "inputs/rec/b 50%.csv: got no such file; want an existing one" {
		t.Error(err)
	}
}

// Bytes that change between two looks are refused.
func TestChangedMeanwhile(t *testing.T) {
	c := sample()
	c.Entries[0].SHA256 = strings.Repeat("0", 64)
	if err := c.Zip(io.Discard); err == nil || !strings.HasPrefix(err.Error(), "inputs/rec/b 50%.csv: got other bytes (SHA-256 ") {
		t.Error(err)
	}
}
